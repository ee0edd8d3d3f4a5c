"""Trying a playbook on a unit, reading only."""

from benchday.devices.transcript import Noted
from benchday.devices.trying import FAILS, WORKS, Tried

__all__ = ["FAILS", "WORKS", "Noted", "Tried"]
