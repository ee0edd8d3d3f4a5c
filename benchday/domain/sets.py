"""What a crew's set may do when one of its units does not come along."""

from __future__ import annotations

from enum import StrEnum


class SetChoice(StrEnum):
    """What a person may choose."""

    WAIT = "wait"
    """Nothing of the set is written before the unit is there again, or this is decided anew."""
    KEEP = "keep"
    """All stay on, or end on, a release that works with the one on which the unit stays."""
    BACK = "back"
    """As keep, and the units that were written already go back to it, where their routes allow that."""
    SPLIT = "split"
    """The others go on without it; the set is left split."""
    TOGETHER = "together"
    """Not chosen but found: all come along again, and nothing is left to choose."""
