"""Playbooks in a hurry: what they declare, with time limits so small that a test need not wait for them."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from benchday.domain.playbook import Playbook

_SECONDS = ("seconds", "every_seconds")


def hurried(book: Playbook, seconds: float, *, longer: Mapping[str, float] | None = None) -> Playbook:
    """Return a playbook whose dialogue waits for so long at most, wherever it says how long.

    Args:
        book: declares a dialogue.
        seconds: for each wait.
        longer: section of the dialogue -> seconds, where a unit takes longer than that with nothing wrong.
    """
    assert book.dialogue is not None
    told = book.dialogue.model_dump()
    for name, section in told.items():
        told[name] = _shortened(section, Decimal(str((longer or {}).get(name, seconds))))
    dialogue = type(book.dialogue).model_validate(told)
    return book.model_copy(update={"dialogue": dialogue})


def _shortened(part: Any, seconds: Decimal) -> Any:
    if isinstance(part, Mapping):
        return {
            name: min(Decimal(value), seconds) if name in _SECONDS else _shortened(value, seconds)
            for name, value in part.items()
        }
    if isinstance(part, list | tuple):
        return tuple(_shortened(one, seconds) for one in part)
    return part
