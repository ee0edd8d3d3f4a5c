"""By what targets are worked out besides units and images: times, sets, pins, decisions."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from benchday.domain.bench import Pin
from benchday.domain.plan import DayPlan
from benchday.domain.playbook import Playbook, StepName, Together
from benchday.domain.releases import Image
from benchday.domain.sets import SetChoice
from benchday.planning.durations import Load, steps_on_battery
from benchday.planning.line_rates import line_of


@dataclass(frozen=True, slots=True)
class Rules:
    """By what targets are worked out; without any, a set has one release throughout and all writes take alike."""

    write_us: Callable[[str, Image], int] | None = None
    """Expected time of a write with restart and verify, microseconds, by model and image; None: not reckoned."""
    together: Sequence[Together] = ()
    """Which releases may stand in one set, besides equal ones: of all playbooks."""
    pins: Sequence[Pin] = ()
    choices: Mapping[str, SetChoice] = field(default_factory=dict)
    """Crew -> what a person chose for its set; a crew that is not here has no choice made."""
    erases: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Model -> what a write erases."""


PLAIN = Rules()
"""No times, no pins, nothing decided."""


def rules_of(plan: DayPlan, choices: Mapping[str, SetChoice] | None = None) -> Rules:
    """Return the rules of a day.

    Args:
        plan: the day's inputs; pins that are not in force are left out when the targets are asked for a day.
        choices: crew -> what a person chose for its set today.
    """
    books = {model: playbook for playbook in reversed(plan.playbooks) for model in playbook.models}

    def write_us(model: str, image: Image) -> int:
        playbook = books.get(model)
        return 0 if playbook is None else expected_write_us(playbook, image)

    return Rules(
        write_us=write_us,
        together=tuple(group for playbook in plan.playbooks for group in playbook.works_together),
        pins=plan.day.pins,
        choices=choices or {},
        erases={model: playbook.step(StepName.WRITE).erases for model, playbook in books.items()},
    )


def expected_write_us(playbook: Playbook, image: Image) -> int:
    """Return the expected time of writing an image: the means of write, restart and verify, microseconds."""
    line = line_of(playbook)
    load = Load((image.bytes,), 0, None if line is None else line.bytes_per_second)
    return round(sum(step.points.mean for step in steps_on_battery(playbook, load, {})))
