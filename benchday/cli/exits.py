"""Exit statuses: outsiders rely on them; they are never renumbered."""

from __future__ import annotations

from enum import IntEnum


class Exit(IntEnum):
    """How a command ended."""

    DONE = 0
    FAILED = 1
    INPUT = 2
    HELD = 3
    NOBODY = 4
    UNPROVED = 5
    INTERRUPTED = 130


MEANINGS = {
    Exit.DONE: "done (the demo: the day reached its end, held units or not)",
    Exit.FAILED: "could not finish (device, disk, database)",
    Exit.INPUT: "wrong usage or input",
    Exit.HELD: "done, with units held or findings that stop",
    Exit.NOBODY: "a person's decision is needed and nobody is there to ask",
    Exit.UNPROVED: "the record does not prove",
    Exit.INTERRUPTED: "interrupted",
}


def listed() -> str:
    """Return the statuses as they stand below the help; lone feeds keep its lines apart."""
    lines = "\n".join(f"  {status:>3}  {meaning}" for status, meaning in MEANINGS.items())
    return f"\b\nExit status:\n{lines}"
