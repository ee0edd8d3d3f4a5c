"""Which face people get: the full screen where a terminal can show it, plain lines elsewhere."""

from __future__ import annotations

import os
import sys

from benchday.cli.lines import LineReader
from benchday.cli.stopping import Interruptible
from benchday.cli.terminal.plain import PlainLines


def full_screen(*, quiet: bool) -> bool:
    """Tell whether this terminal can show the full screen."""
    terminal = sys.stdin.isatty() and sys.stdout.isatty() and os.environ.get("TERM", "") != "dumb"
    return terminal and not quiet


def face_for(operator: str, *, quiet: bool) -> Interruptible:
    """Return the face for this terminal, at which signals to stop are heard and told.

    Args:
        operator: who acts first.
        quiet: standard output is for a document; plain lines go to standard error.
    """
    if full_screen(quiet=quiet):
        from benchday.cli.terminal.screen import Screen

        screen = Screen(operator)
        return Interruptible(screen, screen.say)
    # What a program types is no person's confirmation, whatever it says.
    by = "person" if sys.stdin.isatty() else "pipe"
    out = sys.stderr if quiet else sys.stdout
    lines = LineReader(sys.stdin.fileno())
    return Interruptible(PlainLines(operator, lines, by, lambda text: print(text, file=out, flush=True)))
