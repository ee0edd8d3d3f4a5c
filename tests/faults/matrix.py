"""Trouble by kind, moment and model: generated from what the simulators say can befall them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from random import Random

from benchday_simulators.trouble_kinds import KINDS, moments_of, troubles_of
from tests.faults.cases import Case
from tests.faults.days import OF_MODEL, write_troubles

ENDS_IT = ("stuck", "wrong serial")
"""What leaves a unit held for good, most often before anything else befell it: in the matrix, not in a storm."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One kind of trouble, at one moment, of one model."""

    model: str
    what: str
    when: str


@cache
def cells() -> tuple[Cell, ...]:
    """Return every cell: each kind that a model can suffer, at each moment at which that can be."""
    return tuple(
        Cell(model, kind.what, when)
        for model in OF_MODEL
        for kind in troubles_of(model)
        for when in moments_of(model, kind.what)
    )


def of_model(model: str) -> list[Cell]:
    """Return the cells of one model."""
    return [cell for cell in cells() if cell.model == model]


def one_cell(case: Case, cell: Cell, draw: Random) -> None:
    """Let one trouble befall the first unit of a day."""
    write_troubles(case.folder, [_trouble(OF_MODEL[cell.model], cell, draw, times=draw.choice((1, 1, 2, 3)))])
    case.run()


def storm(case: Case, draw: Random, models: Sequence[str]) -> None:
    """Let many troubles befall all units of a day."""
    told = [
        _trouble(OF_MODEL[model], cell, draw, times=draw.randrange(1, 6))
        for model in models
        for cell in draw.sample([c for c in of_model(model) if c.what not in ENDS_IT], draw.randrange(4, 13))
    ]
    write_troubles(case.folder, told)
    case.run()


def _trouble(serial: str, cell: Cell, draw: Random, *, times: int) -> dict[str, object]:
    told: dict[str, object] = {"unit": serial, "when": cell.when, "what": cell.what, "times": times}
    if cell.when in ("send", "image", "flash"):
        told["percent"] = draw.choice((0, 0, 20, 50, 80, 97))
    drawn = {
        "seconds": draw.choice((0.05, 0.3, 1.0, 2.5)),
        "factor": draw.choice((2, 8)),
        "restarts": draw.choice((1, 2, 3)),
    }
    return told | {name: drawn[name] for name in KINDS[cell.what].takes}
