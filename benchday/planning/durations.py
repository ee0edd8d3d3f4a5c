"""How long steps take: three points as a PERT law, the line's physics, and the rest of a unit's way.

One function (``rest_of_way``) gives the 99th percentile of the rest of the way, for power and for closing time alike.
It draws the sum of the steps; percentiles are never added.
"""

from __future__ import annotations

import math
import random
from collections import Counter
from collections.abc import Mapping, Sequence
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
XMODEM_1K_BLOCK = 1024
"""Bytes of payload in one block of XMODEM-1K (Forsberg 1988)."""
XMODEM_1K_FRAMING = 3 + 2 + 1
"""Bytes around it: three of the head, two of the CRC, and the receiver's answer of one (Forsberg 1988)."""
USUAL_ROUND_TRIP_US = 2_000
"""From the end of a block to the next, where nobody has measured it; common practice, no source."""
ROUND_TRIPS_US = (1_000, 50_000)
"""A measured round trip is believed within these bounds; common practice, no source."""


def payload_rate(line_bytes_per_second: float, block_bytes: int, framing_bytes: int) -> float:
    """Return the bytes of payload a second that blocks with this framing leave of a line's rate."""
    return line_bytes_per_second * block_bytes / (block_bytes + framing_bytes)


def xmodem_1k_rate(baud: int) -> float:
    """Return the bytes of payload a second that XMODEM-1K carries at most at this rate, ten bits a byte."""
    return payload_rate(baud / 10, XMODEM_1K_BLOCK, XMODEM_1K_FRAMING)


XMODEM_1K_115200 = xmodem_1k_rate(115_200)
"""11,453 bytes of payload a second."""


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

    def later_by(self, more: float) -> Pert:
        """Return the law with so much added to each point."""
        return Pert(self.shortest + more, self.usual + more, self.longest + more)

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
    least_us: int = 0
    """What the line needs for this load; a record that is shorter was of a smaller load, and is raised to it."""

    @property
    def raised_us(self) -> tuple[int, ...]:
        """The records, none shorter than what the line needs for this load."""
        return tuple(max(record, self.least_us) for record in self.records_us)

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
    seen: Counter[str] = Counter()
    columns = []
    for step in steps:
        columns.append(_column(step, f"{seed}/{step.step}/{seen[step.step]}"))
        seen[step.step] += 1
    playbook_us = math.ceil(quantile([sum(row) for row in zip(*columns, strict=True)], 0.99)) if columns else 0
    few = tuple(dict.fromkeys(s.step for s in steps if s.few))
    if not any(s.few and s.records_us for s in steps):
        return RestOfWay(playbook_us, playbook_us, None, few)

    drawn = [column for column, step in zip(columns, steps, strict=True) if not _worst(step)]
    worst_us = sum(_worst(step) for step in steps)
    rest_us = quantile([sum(row) for row in zip(*drawn, strict=True)], 0.99) if drawn else 0
    seen_us = math.ceil(worst_us + rest_us)
    return RestOfWay(max(playbook_us, seen_us), playbook_us, seen_us, few)


def rest_p99(steps: Sequence[StepTimes], seed: int) -> int:
    """Return the 99th percentile of the rest of the way, microseconds."""
    return rest_of_way(tuple(steps), seed).p99_us


def _worst(step: StepTimes) -> float:
    """Return 1.5 times the worst seen of a step that few records tell of, microseconds; 0 of any other."""
    return WORST_SEEN_TIMES * max(step.raised_us) if step.few and step.records_us else 0.0


def _column(step: StepTimes, source: str) -> Sequence[float]:
    """Draw one step's durations, microseconds; what it draws depends on no other step."""
    if not step.few:
        records = step.raised_us
        drawn = random.Random(source)  # noqa: S311 - reproducible, not secret
        return [float(drawn.choice(records)) for _ in range(DRAWS)]
    points = step.points
    shape = Pert(0, points.usual - points.shortest, points.longest - points.shortest)
    return [points.shortest + more for more in _above_shortest(shape, source)]


@lru_cache(maxsize=256)
def _above_shortest(shape: Pert, source: str) -> tuple[float, ...]:
    """Draw by a law that begins at 0: the same for all units of a model, whatever their images and recordings weigh."""
    drawn = random.Random(source)  # noqa: S311 - reproducible, not secret
    return tuple(shape.draw(drawn) for _ in range(DRAWS))


def transfer_us(count: int, bytes_per_second: float, block_bytes: int | None = None, round_trip_us: int = 0) -> int:
    """Return how long so many bytes take at least, microseconds.

    Args:
        count: bytes of payload.
        bytes_per_second: of payload, while a block is on the line.
        block_bytes: payload of one block; None for a stream without blocks.
        round_trip_us: from the end of each block to the next.

    Raises:
        ValueError: the rate or the block is not above 0.
    """
    if bytes_per_second <= 0:
        raise ValueError(f"a line's rate must be above 0 bytes a second, got {bytes_per_second}")
    if block_bytes is not None and block_bytes <= 0:
        raise ValueError(f"a block must be above 0 bytes, got {block_bytes}")
    blocks = math.ceil(count / block_bytes) if block_bytes is not None else 0
    return math.ceil(count * 1_000_000 / bytes_per_second) + blocks * round_trip_us


def measured_round_trip_us(took_us: int, exchange_bytes: int, baud: int) -> int:
    """Return a unit's round trip from a small question and its answer, less what their bytes take on the line.

    Args:
        took_us: from the question's first byte to the answer's last, microseconds.
        exchange_bytes: of both.
        baud: of the line, ten bits a byte.
    """
    least, most = ROUND_TRIPS_US
    return min(max(took_us - transfer_us(exchange_bytes, baud / 10), least), most)


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
    """Payload that the line carries at most; None where nobody knows (Wi-Fi, by hand)."""
    block_bytes: int | None = None
    """Payload of one block; None where nothing waits for an answer between blocks."""
    round_trip_us: int = 0
    """From the end of one block to the next."""

    def line_us(self, count: int) -> int:
        """Return how long the line needs at least for so many bytes, microseconds; 0 where nobody knows."""
        if self.bytes_per_second is None:
            return 0
        return transfer_us(count, self.bytes_per_second, self.block_bytes, self.round_trip_us)


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
    line_us = load.line_us({StepName.PRESERVE: load.recordings_bytes, StepName.WRITE: sum(images)}.get(name, 0))
    step = playbook.step(name)
    points = points_us(step.minutes).not_under(line_us)
    if step.own_minutes is not None and load.bytes_per_second is not None:
        # What the unit does by itself and what passes the line are known apart: their sum is the law.
        points = points_us(step.own_minutes).later_by(line_us)
    return StepTimes(name.value, points, tuple(records.get(name.value, ())), line_us)
