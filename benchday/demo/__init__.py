"""The simulated bench: instruments as processes, hands that work them, people who answer."""
