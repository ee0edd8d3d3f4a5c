"""The words everyone uses: plain frozen values and pure functions, no I/O."""
