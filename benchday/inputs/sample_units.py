"""Plain units for a larger sample day, drawn from a seed: nothing happens to them but their service."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass

from benchday.domain.scenario import BroughtIn, ScenarioUnit, Starts
from benchday.domain.units import Role

CUSTOMER = "Saltmere Levels Drainage Trust"
CREWS = ("Avocet", "Curlew", "Dunlin", "Godwit", "Greenshank", "Knot", "Lapwing", "Redshank", "Whimbrel")
FIRST_KHZ, STEP_KHZ = 461_025, 25
"""Each crew's channel, invented: the first one's frequency and the step to the next."""

_FIRST_NAMES = ("Ayla", "Bertrand", "Chidi", "Delphine", "Emrys", "Farida", "Goran", "Hilde", "Ivo", "Jocasta")
_LAST_NAMES = ("Abernethy", "Bagshaw", "Castellan", "Drummer", "Ekwueme", "Fairlamb", "Grzelak", "Hartigan", "Imrie")


@dataclass(frozen=True, slots=True)
class _Kind:
    model: str
    roles: tuple[Role, ...]
    hardware: tuple[str, ...]
    releases: tuple[str, ...]
    weight: int


_KINDS = (
    _Kind("Millrace", (Role.ROVER, Role.ROVER, Role.EITHER), ("B", "C"), ("2.6", "2.9", "2.9"), 5),
    _Kind("Weirstone", (Role.BASE,), ("A", "B"), ("2.6", "2.9"), 2),
    _Kind("Osier", (Role.ROVER,), ("C", "D"), ("2.6", "2.9"), 3),
    _Kind("Tiller", (Role.NONE,), ("E",), ("2.2",), 1),
)


def plain_units(count: int, seed: int, taken: frozenset[str]) -> Iterator[ScenarioUnit]:
    """Yield so many plain units, none with a serial that is taken."""
    draw = random.Random(f"{seed}:plain units")  # noqa: S311 -- reproducible, not secret
    serials = set(taken)
    for _ in range(count):
        kind = draw.choices(_KINDS, [k.weight for k in _KINDS])[0]
        serial = _serial(kind.model, draw)
        while serial in serials:
            serial = _serial(kind.model, draw)
        serials.add(serial)
        yield _unit(kind, serial, draw)


def _serial(model: str, draw: random.Random) -> str:
    if model == "Millrace":
        return f"00742155{draw.randrange(10_000):04d}"
    if model == "Weirstone":
        return f"WS-41-{draw.randrange(400, 1000):05d}"
    if model == "Osier":
        return f"OS8812-{draw.randrange(1000, 10_000)}"
    return f"TL{draw.randrange(7800, 8000)}{draw.choice('ABCDEF')}"


def _unit(kind: _Kind, serial: str, draw: random.Random) -> ScenarioUnit:
    crew = draw.choice(CREWS)
    role = draw.choice(kind.roles)
    person = f"{draw.choice(_FIRST_NAMES)} {draw.choice(_LAST_NAMES)}"
    term = f"2027-{draw.randrange(1, 13):02d}-28"
    arrives = 8 * 60 + 5 * draw.randrange(0, 42)
    promised = min(arrives + 60 * draw.randrange(3, 7), 16 * 60 + 45)
    return ScenarioUnit(
        shows="a plain unit",
        serial=serial,
        model=kind.model,
        customer=CUSTOMER,
        contact=f"{person}, 0555 01{draw.randrange(50, 100)}",
        crew=crew,
        role=role,
        arrives=_clock(arrives),
        promised=_clock(promised),
        support_until=term,
        brought_in=BroughtIn(brought_by=person),
        starts=Starts(
            release=draw.choice(kind.releases),
            hardware=draw.choice(kind.hardware),
            term=term,
            charge_percent=draw.randrange(62, 98),
            recordings=tuple(draw.randrange(20_000, 120_000) for _ in range(draw.randrange(0, 4))),
            settings=_settings(kind.model, crew, role),
        ),
    )


def _settings(model: str, crew: str, role: Role) -> dict[str, str]:
    if model == "Tiller":
        return {}
    channel = {"frequency_khz": str(FIRST_KHZ + STEP_KHZ * CREWS.index(crew))}
    return channel | ({"role": "base", "transmit": "on"} if role is Role.BASE else {})


def _clock(minutes: int) -> str:
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
