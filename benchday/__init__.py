"""Run the service day of positioning instruments: check, preserve, confirm, write, verify, hand back, and prove it."""

__version__ = "0.1.0"
