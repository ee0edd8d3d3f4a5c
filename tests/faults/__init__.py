"""Long days and days full of faults: what grows, what is left behind, what slows down."""
