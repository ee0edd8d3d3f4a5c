"""How long steps take: three points as a PERT law, the line's physics, and the rest of a unit's way.

One function (``rest_of_way``) gives the 99th percentile of the rest of the way, for power and for closing time alike.
It draws the sum of the steps; percentiles are never added.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from benchday.domain.playbook import Playbook, StepName, ThreePoints
from benchday.domain.words import microseconds
from benchday.planning.wording import in_minutes, listed

DRAWS = 4_000
"""How often the sum of the steps is drawn."""
ENOUGH_RECORDS = 10
"""With fewer records of a step its own times are not trusted alone."""
WORST_SEEN_TIMES = 1.5
"""What the worst seen is multiplied by while there are few records."""

LINE_115200 = 115_200 // 10
"""Bytes a second at 115200 baud with 8 data bits, no parity, 1 stop bit: ten bits a byte (arithmetic)."""
XMODEM_1K_115200 = LINE_115200 * 1024 / (1024 + 5 + 1)
"""Bytes a second of payload, at most: 1,029 bytes out and one back for each 1,024 (Forsberg 1988, block layout)."""


@dataclass(frozen=True, slots=True)
class Pert:
    """A duration's law from three points (Malcolm, Roseboom, Clark, Fazar 1959; Clark 1962): a stretched Beta.

    The points may be in any unit; draws, mean and the root of the variance are in the same.
    """

    shortest: float
    usual: float
    longest: float

    def __post_init__(self) -> None:
        if not 0 <= self.shortest <= self.usual <= self.longest < math.inf:
            raise ValueError(f"three points must be in order and not negative, got {self}")

    @property
    def alpha(self) -> float:
        """First parameter of the Beta law."""
        return 1 + 4 * (self.usual - self.shortest) / self._span

    @property
    def beta(self) -> float:
        """Second parameter of the Beta law."""
        return 1 + 4 * (self.longest - self.usual) / self._span

    @property
    def mean(self) -> float:
        """(shortest + 4 usual + longest) / 6"""
        return (self.shortest + 4 * self.usual + self.longest) / 6

    @property
    def variance(self) -> float:
        """Variance of the Beta that is drawn from, not the classic ((longest - shortest) / 6)^2."""
        return (self.mean - self.shortest) * (self.longest - self.mean) / 7

    def draw(self, source: random.Random) -> float:
        """Draw one duration."""
        if self.longest == self.shortest:
            return self.usual
        return self.shortest + self._span * source.betavariate(self.alpha, self.beta)

    def not_under(self, least: float) -> Pert:
        """Return the law with each point raised to what physics demands."""
        return Pert(max(self.shortest, least), max(self.usual, least), max(self.longest, least))

    @property
    def _span(self) -> float:
        return self.longest - self.shortest or 1.0


@dataclass(frozen=True, slots=True)
class StepTimes:
    """What is known of one step's duration."""

    step: str
    points: Pert
    """The playbook's three points, microseconds."""
    records_us: tuple[int, ...] = ()
    """What this step took before on such units, microseconds; times of another speed or of simulators are not here."""

    @property
    def few(self) -> bool:
        """There are too few records to go by them alone."""
        return len(self.records_us) < ENOUGH_RECORDS


@dataclass(frozen=True, slots=True)
class RestOfWay:
    """The 99th percentile of what lies before a unit, and what it rests on."""

    p99_us: int
    playbook_us: int
    """Drawn from the playbook's points where records are few, from the records elsewhere."""
    seen_us: int | None
    """The same with 1.5 times the worst seen where records are few; None if none of those has been seen at all."""
    few: tuple[str, ...]
    """Steps with fewer than ten records, each once."""

    @property
    def basis(self) -> str:
        """Say what the figure rests on."""
        if not self.few:
            return "drawn from the shop's own records"
        basis = "by 1.5 times the worst seen" if self.p99_us != self.playbook_us else "by the playbook's durations"
        return f"{basis}, because fewer than ten records exist of {listed(self.few)}"

    @property
    def text(self) -> str:
        """Word it, with its basis."""
        return f"{in_minutes(self.p99_us)} in 99 of 100 cases ({self.basis})"


def quantile(values: Sequence[float], share: float) -> float:
    """Return a quantile by linear interpolation between the sorted values."""
    ordered = sorted(values)
    at = share * (len(ordered) - 1)
    below = math.floor(at)
    above = min(below + 1, len(ordered) - 1)
    return ordered[below] + (ordered[above] - ordered[below]) * (at - below)


@lru_cache(maxsize=512)
def rest_of_way(steps: tuple[StepTimes, ...], seed: int) -> RestOfWay:
    """Return the 99th percentile of the sum of the steps, drawn with this seed.

    With fewer than ten records of a step it is the larger of two: the step drawn from the playbook's three points, and
    the step at 1.5 times the worst seen.
    """
    source = random.Random(seed)  # noqa: S311 - reproducible, not secret
    sums = [_draw_sums(steps, source) for _ in range(DRAWS)]
    playbook_us = math.ceil(quantile([by_playbook for by_playbook, _ in sums], 0.99))
    few = tuple(dict.fromkeys(s.step for s in steps if s.few))
    if not any(s.few and s.records_us for s in steps):
        return RestOfWay(playbook_us, playbook_us, None, few)

    seen_us = math.ceil(quantile([by_seen for _, by_seen in sums], 0.99))
    return RestOfWay(max(playbook_us, seen_us), playbook_us, seen_us, few)


def rest_p99(steps: Sequence[StepTimes], seed: int) -> int:
    """Return the 99th percentile of the rest of the way, microseconds."""
    return rest_of_way(tuple(steps), seed).p99_us


def _draw_sums(steps: Iterable[StepTimes], source: random.Random) -> tuple[float, float]:
    by_playbook = by_seen = 0.0
    for step in steps:
        drawn = float(source.choice(step.records_us)) if not step.few else step.points.draw(source)
        by_playbook += drawn
        by_seen += WORST_SEEN_TIMES * max(step.records_us) if step.few and step.records_us else drawn

    return by_playbook, by_seen


def transfer_us(count: int, bytes_per_second: float) -> int:
    """Return how long so many bytes take at this rate at least, microseconds."""
    if bytes_per_second <= 0:
        raise ValueError(f"a line's rate must be above 0 bytes a second, got {bytes_per_second}")
    return math.ceil(count * 1_000_000 / bytes_per_second)


def points_us(points: ThreePoints) -> Pert:
    """Return a playbook's three points as a law in microseconds."""
    return Pert(microseconds(points.shortest), microseconds(points.usual), microseconds(points.longest))


@dataclass(frozen=True, slots=True)
class Load:
    """What has to pass the line, and how fast it goes."""

    images_bytes: tuple[int, ...]
    """Sizes of the images to write, in the order of the route."""
    recordings_bytes: int
    """Recordings still to be copied off."""
    bytes_per_second: float | None
    """What the line carries at most; None where nobody knows (Wi-Fi, by hand)."""


AT_WRITE = (StepName.WRITE, StepName.RESTART, StepName.VERIFY)
"""The steps that each image of a route goes through, and that the battery must last for."""


def steps_to_verify(
    playbook: Playbook, begin: StepName, load: Load, records: Mapping[str, Sequence[int]]
) -> tuple[StepTimes, ...]:
    """Return the steps from this one to the last verify; after the first image the unit is checked and confirmed again.

    Args:
        playbook: whose three points hold.
        begin: the step that comes next; one after verify gives no steps.
        load: what the line has to carry; with no image to write, preserve to restart are left out.
        records: durations in microseconds by step name, for this model.
    """
    names = list(StepName)
    ahead = names[names.index(begin) : names.index(StepName.VERIFY) + 1]
    if not load.images_bytes:
        ahead = [n for n in ahead if n not in (StepName.PRESERVE, StepName.CONFIRM, StepName.WRITE, StepName.RESTART)]
    steps = [_times(playbook, name, load, records, load.images_bytes[:1]) for name in ahead]
    for size in load.images_bytes[1:]:
        again = (StepName.CHECK, StepName.CONFIRM, *AT_WRITE)
        steps += [_times(playbook, name, load, records, (size,)) for name in again]

    return tuple(steps)


def steps_on_battery(playbook: Playbook, load: Load, records: Mapping[str, Sequence[int]]) -> tuple[StepTimes, ...]:
    """Return the steps that the battery must last for: write, restart and verify of each image."""
    sizes = load.images_bytes
    return tuple(_times(playbook, name, load, records, (size,)) for size in sizes for name in AT_WRITE)


def _times(
    playbook: Playbook, name: StepName, load: Load, records: Mapping[str, Sequence[int]], images: Sequence[int]
) -> StepTimes:
    carried = {StepName.PRESERVE: load.recordings_bytes, StepName.WRITE: sum(images)}.get(name, 0)
    points = points_us(playbook.step(name).minutes)
    if load.bytes_per_second is not None:
        points = points.not_under(transfer_us(carried, load.bytes_per_second))
    return StepTimes(name.value, points, tuple(records.get(name.value, ())))
