"""Entries: the append-only record of the day, from which everything shown is computed.

The canonical bytes (RFC 8785) of the whole entry are what is hashed and stored; nobody ever serialises an entry anew to
verify it. Facts hold strings, integers with a unit in their name, booleans, lists and objects; never floats.
The closed list of kinds with their facts is in ``kinds``.
"""

from __future__ import annotations

import hashlib
import json
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Self

import rfc8785

GENESIS = bytes(32)
"""What stands as the digest before a bench's first entry."""


_SHARED_UP_TO = 40
"""Characters of a text that is kept once for all entries that hold it."""


def _shared(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Make an object whose names and short texts are kept once, however many entries of a day hold them."""
    intern = sys.intern
    return {
        intern(name): intern(value) if type(value) is str and len(value) <= _SHARED_UP_TO else value
        for name, value in pairs
    }


_READER = json.JSONDecoder(object_pairs_hook=_shared)


@dataclass(frozen=True, slots=True)
class Draft:
    """An entry to be: everything but its place in the chain and its times."""

    kind: str
    facts: Mapping[str, Any]
    unit: str | None = None
    """Serial of the unit it is about, as checked in (read off the label)."""
    station: str | None = None
    operator: str | None = None
    v: int = 1


@dataclass(frozen=True, slots=True)
class Times:
    """The three times of an entry, integer microseconds."""

    at_us: int
    """Day time since 1970 UTC."""
    wall_us: int
    """The bench PC's clock since 1970 UTC."""
    mono_us: int
    """The bench PC's monotonic clock, for durations."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One link of a bench's chain."""

    bench: str
    seq: int
    """Counted from 1 in each bench."""
    at_us: int
    wall_us: int
    mono_us: int
    kind: str
    v: int
    unit: str | None
    station: str | None
    operator: str | None
    body: bytes = field(repr=False)
    """The canonical bytes that were hashed."""
    prev: bytes = field(repr=False)
    digest: bytes = field(repr=False)
    """SHA-256(prev, then body)."""
    facts: Mapping[str, Any] = field(compare=False, repr=False, default_factory=dict)

    @classmethod
    def forge(cls, draft: Draft, *, bench: str, seq: int, times: Times, prev: bytes) -> Self:
        """Make the entry that follows the one whose digest is ``prev``.

        Raises:
            ValueError: the facts hold something that canonical JSON or our rules refuse (floats, NaN, 2**53 and up).
        """
        _refuse_floats(draft.facts)
        body = rfc8785.dumps(
            {
                "bench": bench,
                "seq": seq,
                "at_us": times.at_us,
                "wall_us": times.wall_us,
                "mono_us": times.mono_us,
                "kind": draft.kind,
                "v": draft.v,
                "unit": draft.unit,
                "station": draft.station,
                "operator": draft.operator,
                "facts": dict(draft.facts),
            }
        )
        return cls.from_stored(bench, seq, body, prev, digest_of(prev, body))

    @classmethod
    def from_stored(cls, bench: str, seq: int, body: bytes, prev: bytes, digest: bytes) -> Self:
        """Read an entry from its stored bytes.

        Raises:
            ValueError: the body is no entry, or speaks of another bench or number.
        """
        told = _READER.decode(body.decode())
        if told["bench"] != bench or told["seq"] != seq:
            raise ValueError(f"entry {bench}/{seq} holds the body of {told['bench']}/{told['seq']}")

        return cls(
            bench=bench,
            seq=seq,
            at_us=told["at_us"],
            wall_us=told["wall_us"],
            mono_us=told["mono_us"],
            kind=told["kind"],
            v=told["v"],
            unit=told["unit"],
            station=told["station"],
            operator=told["operator"],
            body=body,
            prev=prev,
            digest=digest,
            facts=told["facts"],
        )


def digest_of(prev: bytes, body: bytes) -> bytes:
    """Return SHA-256(prev, then body) (FIPS 180-4)."""
    return hashlib.sha256(prev + body).digest()


def _refuse_floats(value: object, at: str = "facts") -> None:
    if isinstance(value, float):
        raise ValueError(f"{at} is a floating-point number; entries hold integers with units, or strings")  # noqa: TRY004
    if isinstance(value, Mapping):
        for name, inner in value.items():
            _refuse_floats(inner, f"{at}.{name}")
    elif isinstance(value, (list, tuple)):
        for number, inner in enumerate(value):
            _refuse_floats(inner, f"{at}[{number}]")
