"""Whatever was read can be written into an entry and shown; or it is refused in our words."""

from __future__ import annotations

from dataclasses import asdict, is_dataclass

import rfc8785

from benchday.domain.clean import clean
from benchday.domain.recordable import recordable


def kept(told: object) -> None:
    """Hold a reading to what can be recorded, and then record and show it.

    Raises:
        Garbled: no entry could hold it.
    """
    recordable(told)
    parts = told if isinstance(told, tuple) else (told,)
    for part in parts:
        if is_dataclass(part) and not isinstance(part, type):
            text = rfc8785.dumps(asdict(part)).decode()
            assert clean(text).isprintable()


def safe(error: Exception, *, never: str | None = None) -> None:
    """See that an error can be shown, is not endless, and keeps a secret."""
    text = str(error)
    assert text.isprintable()
    assert len(text) <= 2_000
    assert never is None or never not in text
