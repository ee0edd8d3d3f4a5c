"""Real programs on real terminals and simulated units: stopped, put to sleep, left alone in the middle of a write."""
