"""The stages of one unit's service, as the dispatch policy's usual unit has them.

    late, charge      take no station
    connect           takes the station, hands
    identify          takes the cable or adapter; check and preserve follow without a gap
    confirm           hands
    write, restart    without a gap; the write carries the guard
    verify            frees the cable or adapter
    last look         hands; frees the station

A route of several writes goes from verify back to check, and nothing is left to preserve then. A unit that stays on its
release goes from check to verify.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from benchday.domain.playbook import Occupies, Playbook, StepName
from benchday.domain.releases import Image
from benchday.planning import line_rates
from benchday.planning.durations import (
    Load,
    Pert,
    points_us,
    rest_of_way,
    steps_to_verify,
)
from benchday.planning.gates import STATION
from benchday.planning.laws import Fixed, Law
from benchday.planning.model import Stage
from benchday.planning.wording import MINUTE_US

TECHNICIAN = "technician"
"""The pool of hands."""
ALWAYS_ATTENDED = (StepName.CONNECT, StepName.CONFIRM, StepName.LAST_LOOK)
"""Steps in which a person acts, whatever a playbook says; in others only where it occupies hands."""
SET_ASIDE = Pert(0.5, 1, 3)
"""Minutes to take a unit off its station and set it aside; common practice, no source."""
AT_ONCE = Fixed(1e-6)
"""The shortest that a model can hold."""

LawsOf = Callable[[str, Playbook, Load], Mapping[StepName, Law]]
"""How long the steps of a model take by its playbook and what has to pass the line, minutes."""
Records = Mapping[str, Mapping[str, Sequence[int]]]
"""Model -> step -> durations of earlier days, microseconds."""


def playbook_laws(_: str, playbook: Playbook, load: Load) -> Mapping[StepName, Law]:
    """Return the laws that the playbook's three points make, none faster than the line."""
    with_image = Load(load.images_bytes[:1] or (0,), load.recordings_bytes, load.bytes_per_second,
                      load.block_bytes, load.round_trip_us)  # fmt: skip
    points = {StepName(s.step): s.points for s in steps_to_verify(playbook, StepName.CONNECT, with_image, {})}
    points[StepName.LAST_LOOK] = points_us(playbook.step(StepName.LAST_LOOK).minutes)
    return {name: in_minutes(law) for name, law in points.items()}


def in_minutes(law: Pert) -> Pert:
    """Return a law in microseconds as one in minutes."""
    return Pert(law.shortest / MINUTE_US, law.usual / MINUTE_US, law.longest / MINUTE_US)


def load_of(playbook: Playbook, images: Sequence[Image], recordings_bytes: int) -> Load:
    """Return what has to pass the line, and how fast it goes where that is known."""
    return line_rates.load_of(playbook, tuple(image.bytes for image in images), recordings_bytes)


def joined_by(playbook: Playbook) -> str | None:
    """Return the pool of the cable or adapter; None where nothing joins the unit."""
    if playbook.connector is not None:
        return f"cable:{playbook.connector}"
    return "adapter" if playbook.wifi else None


@dataclass(frozen=True, slots=True)
class Service:
    """What is still to be done on a unit."""

    model: str
    playbook: Playbook
    images: tuple[Image, ...]
    """Still to be written, in order."""
    recordings_bytes: int
    """Still to be copied off."""
    laws: LawsOf
    records: Records
    seed: int = 1
    """For the guard's draws."""
    waits_for: str | None = None
    """Gate before which it asks for no station."""
    opens: Mapping[str, str] | None = None
    """Release -> gate that opens when its write is verified."""
    sooner: float = 0.0
    """Minutes before closing by which its crew wants it back."""
    stops: bool = False
    """It will be set aside after the checks."""
    after_check: Stage | None = None
    """What follows the first check besides."""

    @property
    def joined_by(self) -> str | None:
        """The pool of its cable or adapter."""
        return joined_by(self.playbook)

    def stages(self, begin: StepName = StepName.CONNECT) -> tuple[Stage, ...]:
        """Return the stages from a step on, as if nothing were held yet by a unit that connects."""
        return tuple(self._stages(begin))

    def _stages(self, begin: StepName) -> Iterator[Stage]:
        steps = list(StepName)
        for name, number in self._steps():
            if number or steps.index(name) >= steps.index(begin):
                yield self._stage(name, number)
                if name is StepName.CHECK and number == 0 and self.after_check is not None:
                    yield self.after_check
        if self.stops:
            frees = tuple(pool for pool in (TECHNICIAN, self.joined_by, STATION) if pool is not None)
            yield Stage("set aside", (TECHNICIAN,), frees, SET_ASIDE)

    def _steps(self) -> Iterator[tuple[StepName, int]]:
        """Yield the steps, each with the number of its image."""
        yield from ((name, 0) for name in (StepName.CONNECT, StepName.IDENTIFY, StepName.CHECK))
        if self.stops:
            return
        if self.images:
            yield StepName.PRESERVE, 0
        for number in range(len(self.images)):
            if number:
                yield StepName.CHECK, number
            again = (StepName.CONFIRM, StepName.WRITE, StepName.RESTART, StepName.VERIFY)
            yield from ((name, number) for name in again)
        if not self.images:
            yield StepName.VERIFY, 0
        yield StepName.LAST_LOOK, len(self.images)

    def _stage(self, name: StepName, number: int) -> Stage:
        attended = name in ALWAYS_ATTENDED or Occupies.HANDS in self.playbook.step(name).occupies
        hands = (TECHNICIAN,) if attended else ()
        last = number >= len(self.images) - 1
        cable = (self.joined_by,) if self.joined_by is not None else ()
        takes = {StepName.CONNECT: (STATION,), StepName.IDENTIFY: cable}.get(name, ())
        frees = {StepName.VERIFY: cable if last else (), StepName.LAST_LOOK: (STATION,)}.get(name, ())
        return Stage(
            name=name.value,
            takes=(*takes, *hands),
            frees=(*hands, *frees),
            law=self._law(name, number),
            guard=self.guard(number) if name is StepName.WRITE else 0.0 if name is StepName.CONNECT else None,
            opens=self._opens(number) if name is StepName.VERIFY else None,
            waits_for=self.waits_for if name is StepName.CONNECT else None,
        )

    def _law(self, name: StepName, number: int) -> Law:
        recordings = self.recordings_bytes if number == 0 else 0
        load = load_of(self.playbook, self.images[number : number + 1], recordings)
        return self.laws(self.model, self.playbook, load)[name]

    def _opens(self, number: int) -> str | None:
        return (self.opens or {}).get(self.images[number].release) if number < len(self.images) else None

    def guard(self, number: int) -> float:
        """Return the minutes that must be left when the write of an image begins: 99 of 100 are verified by then."""
        load = load_of(self.playbook, self.images[number:], 0)
        steps = steps_to_verify(self.playbook, StepName.WRITE, load, self.records.get(self.model, {}))
        return rest_of_way(steps, self.seed).p99_us / MINUTE_US + self.sooner
