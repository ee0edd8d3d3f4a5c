"""What is computed: who is served next, how long it takes, what a unit should get. Values in, values out, no I/O."""
