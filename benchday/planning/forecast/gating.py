"""Which unit is the first of its model and release in a model, and who waits for it.

Live, whichever unit of a model and release comes first to ask for a station is the first, and the others ask for no
station until it is verified. A model names its first beforehand: the one whose turn it is when all come as expected. It
is supposed to come, since another would take its place.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

Kind = tuple[str, str]
"""Model and release."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A unit that will be written."""

    serial: str
    model: str
    releases: tuple[str, ...]
    """To be written, the target last."""
    turn: tuple[float, ...]
    """When it is its turn to ask for a station; smaller is earlier: who comes first, then whose priority is smaller."""

    @property
    def kind(self) -> Kind:
        """Its model and the release on which it ends."""
        return (self.model, self.releases[-1])


@dataclass(frozen=True, slots=True)
class Gates:
    """The gates of a day."""

    firsts: Mapping[Kind, str]
    """Model and release -> serial of the first, where others wait for it."""

    def waits_for(self, unit: Candidate) -> str | None:
        """Return the gate that a unit waits for; None if it waits for none."""
        first = self.firsts.get(unit.kind)
        return gate_of(unit.kind) if first is not None and first != unit.serial else None

    def opens(self, unit: Candidate) -> Mapping[str, str]:
        """Return release -> gate that opens when a unit's write of it is verified; never the one that it waits for."""
        own = self.waits_for(unit)
        kinds = [(unit.model, r) for r in unit.releases if own is None or gate_of((unit.model, r)) != own]
        return {release: gate_of((model, release)) for model, release in kinds if (model, release) in self.firsts}

    def first(self, unit: Candidate) -> bool:
        """Tell whether others wait for this unit."""
        return unit.serial in self.firsts.values()


NO_GATES = Gates({})


def gate_of(kind: Kind) -> str:
    """Return the name of a gate."""
    return f"{kind[0]} {kind[1]}"


def gates_of(units: Iterable[Candidate], verified: Iterable[Kind] = ()) -> Gates:
    """Return the gates: one for each model and release that several units are to get and none has verified yet."""
    kinds: dict[Kind, list[Candidate]] = {}
    for unit in units:
        kinds.setdefault(unit.kind, []).append(unit)
    done = frozenset(verified)
    return Gates(
        {kind: _first(same) for kind, same in kinds.items() if len(same) > 1 and kind not in done},
    )


def _first(units: Sequence[Candidate]) -> str:
    return min(units, key=lambda unit: unit.turn).serial
