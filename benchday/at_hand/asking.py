"""Asking who is at a port, reading only."""

from benchday.devices.ports.asking import Heard, ask_ports, by_serial_line

__all__ = ["Heard", "ask_ports", "by_serial_line"]
