"""What is drawn for each unit from its seed: the unit itself, and how long its physics takes."""

import hashlib
import random
from datetime import date, timedelta

from .jobs import job_file
from .models import MODELS, Model
from .rinex import observation_file
from .slot_images import factory_hash
from .state import Battery, Recording, Slots, UnitState

ERASE_S = (60.0, 90.0)
FLASH_S = (8 * 60.0, 14 * 60.0)
BOOT_S = (40.0, 70.0)
SELF_TEST_S = 20.0
PAGE_USERS = {"wifi": "operator", "page": "crew"}
"""who signs in to a unit's own page"""
TERM_BEGINS = date(2026, 1, 31)


def drawer(seed: int, serial: str, purpose: str) -> random.Random:
    """Give a source of numbers that belongs to one unit and purpose."""
    return random.Random(f"{seed}:{serial}:{purpose}")


def seconds_of(span: tuple[float, float], state: UnitState, purpose: str) -> float:
    """Draw how long something takes on this unit: each time the same (seconds of physics)."""
    return drawer(state.seed, state.serial, purpose).uniform(*span)


def draw_state(model: Model, serial: str, seed: int) -> UnitState:
    """Draw a unit as it comes in from the field, without recordings."""
    draw = drawer(seed, serial, "unit")
    full = int(model.full_mwh * draw.uniform(0.78, 1.0)) // 10 * 10
    hardware, release = draw.choice(model.hardware), draw.choice(model.releases)
    return UnitState(
        serial=serial,
        model=model.name,
        hardware=hardware,
        release=release,
        seed=seed,
        options=list(model.options),
        term=(TERM_BEGINS + timedelta(days=draw.randrange(0, 900))).isoformat(),
        settings=model.factory_settings(),
        battery=Battery(full, full * draw.uniform(0.35, 0.97), max_error_percent=draw.choice((1, 3, 5))),
        slots=Slots(factory_hash(model.name, release).hex()) if model.line == "smp" else None,
        user=PAGE_USERS.get(model.line, ""),
        password=f"{draw.randrange(10**8):08d}" if model.line in PAGE_USERS else "",
    )


def draw_recordings(state: UnitState, sizes: list[int]) -> list[tuple[Recording, bytes]]:
    """Draw recordings of about the sizes asked for: observation files, and every third one opaque raw bytes."""
    made = []
    for number, size in enumerate(sizes, 1):
        seed = f"{state.seed}:{state.serial}:recording:{number}"
        if MODELS[state.model].family == "field controller":
            name, data = f"JOB{number:03d}.job", job_file(state.identity(), seed, size)
        elif number % 3 == 0:
            name, data = f"SITE{number:03d}.raw", random.Random(seed).randbytes(size)
        else:
            name = f"SITE{number:03d}.rnx"
            data = observation_file(state.identity(), state.model, state.release, seed, size)
        made.append((Recording(name, len(data), hashlib.sha256(data).hexdigest()), data))
    return made


def draw_sizes(state: UnitState, count: int | None = None) -> list[int]:
    """Draw how many recordings there are and how large."""
    draw = drawer(state.seed, state.serial, "sizes")
    many = draw.randrange(0, 5) if count is None else count
    return [draw.randrange(20_000, 160_000) for _ in range(many)]
