"""From a playbook's three points and the shop's own records to the law of what a step takes next.

Where a step's time follows from a size (preserve, write), what the line needs at least is computed and only the rest is
learnt: as minutes for each gigabyte, or as plain minutes where the records say that the size does not matter. The
chance of another try is an event of its own, because no single smooth law fits times with and without one.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from benchday.domain.playbook import Playbook, StepName
from benchday.planning.durations import Load, Pert
from benchday.planning.durations import quantile as sample_quantile
from benchday.planning.laws import Fixed, Law, Retried
from benchday.planning.learning_records import Records, StepRecords
from benchday.planning.learnt import Learnt, Points, Prior, Sums, counted, learnt
from benchday.planning.wording import MINUTE_US

RETRY_YES, RETRY_NO = 0.5, 9.5
"""The chance of another try before any record: Beta(0.5, 9.5), one in twenty."""
NEVER_AGAIN = (StepName.WRITE, StepName.RESTART)
"""Steps that are never tried again by themselves."""
DISAGREES_BY, DISAGREES_FROM = 1.5, 5
"""Records and playbook disagree when the median differs by this factor either way, from so many records on."""
GIGABYTE = 1e9
LEAST_OWN_SHARE = 0.02
"""What a step took besides the line is believed to be at least this share of all it took: a line may have been faster
than today's; common practice, no source."""
LINE_SLACK = (0.0, 0.05, 0.2)
"""Shortest, usual and longest share of the line's time that is lost on it, where the playbook's points are shorter than
what the line needs; common practice, no source."""


@dataclass(slots=True)
class Seen:
    """What was seen of one step, as sums of logarithms."""

    all: Sums = field(default_factory=Sums)
    """Of minutes, whatever was moved."""
    loaded: Sums = field(default_factory=Sums)
    """Of minutes, where something was moved."""
    rates: Sums = field(default_factory=Sums)
    """Of minutes for each gigabyte, of the same."""
    sizes: Sums = field(default_factory=Sums)
    """Of gigabytes, of the same."""
    empty: Sums = field(default_factory=Sums)
    """Of minutes, where there was nothing to move."""

    @classmethod
    def of(cls, steps: Iterable[tuple[float, int | None]]) -> Seen:
        """Sum up (minutes, bytes moved)."""
        made = cls()
        for minutes, moved in steps:
            made.add(minutes, moved)
        return made

    def add(self, minutes: float, moved_bytes: int | None) -> None:
        """Take in one step."""
        took = math.log(counted(minutes))
        self.all = self.all.and_one(took)
        if moved_bytes:
            size = math.log(moved_bytes / GIGABYTE)
            self.loaded, self.sizes = self.loaded.and_one(took), self.sizes.and_one(size)
            self.rates = self.rates.and_one(took - size)
        elif moved_bytes is not None:
            self.empty = self.empty.and_one(took)

    @property
    def by_size(self) -> bool:
        """Tell whether minutes for each gigabyte vary less than minutes; alike (one size only), size decides.

        At the usual size (the geometric mean) both ways of learning start and end at the same mean, so the one with the
        smaller sum of squares is the one that makes these records more probable (Gelman et al., 7.4, Bayes factors).
        """
        return self.rates.count > 0 and self.rates.squares <= self.loaded.squares * (1 + 1e-9)

    def learnt(self, points: Points, moved_bytes: int | None) -> Learnt:
        """Learn for a step that moves so much; None for one whose time follows from no size."""
        prior = Prior.of(points)
        if moved_bytes is None:
            return Learnt(prior, self.all)
        if not moved_bytes:
            return Learnt(prior, self.empty)
        if not self.by_size:
            return Learnt(prior, self.loaded)
        # The playbook's points are taken to speak of the usual size that comes to this shop.
        return Learnt(prior.each(self.sizes.mean), self.rates, math.log(moved_bytes / GIGABYTE))

    @property
    def usual_bytes(self) -> int | None:
        """The geometric mean of the sizes; None if nothing was ever moved."""
        return round(math.exp(self.sizes.mean) * GIGABYTE) if self.sizes.count else None


def learnt_laws(playbook: Playbook, records: Records, load: Load) -> Mapping[StepName, Law]:
    """Return what each step takes next, minutes; write is that of the first image, ``learnt_law`` gives the others."""
    return {name: learnt_law(playbook, name, records, load) for name in StepName}


def learnt_law(playbook: Playbook, name: StepName, records: Records, load: Load, image: int = 0) -> Law:
    """Return what one step takes next, minutes: learnt, never less than the line needs, with the chance of another try.

    Where the line needs a while it stands first and the rest is an extra that always comes, which model files can say.

    Args:
        playbook: whose points hold where there are no records.
        name: of the step.
        records: of this model.
        load: what the line has to carry, and how fast it goes.
        image: which of the load's images is written.
    """
    known = records.get(name, StepRecords())
    moved = _moved(name, load, image)
    line, seen = load.line_us(moved or 0) / MINUTE_US, _seen(known, load)
    usual = seen.usual_bytes if moved and seen.by_size else moved
    points = own_points(playbook, name, load.line_us(usual or 0) / MINUTE_US)
    law = _with_retries(playbook, name, known, seen.learnt(points, moved).law)
    return Retried(Fixed(line), 1.0, law) if line else law


def own_points(playbook: Playbook, name: StepName, line: float) -> Pert:
    """Return the playbook's points for what a step takes besides the line, minutes.

    Args:
        playbook: the playbook.
        name: of the step.
        line: minutes that the line needs; 0 where nobody knows, or nothing passes it: the points are for everything.
    """
    step = playbook.step(name)
    points = step.own_minutes if line and step.own_minutes is not None else step.minutes
    made = (float(points.shortest), float(points.usual), float(points.longest))
    if not line or points is step.own_minutes:
        return Pert(*made)
    return Pert(*(max(point - line, share * line) for point, share in zip(made, LINE_SLACK, strict=True)))


def _moved(name: StepName, load: Load, image: int) -> int | None:
    if name is StepName.PRESERVE:
        return load.recordings_bytes
    if name is StepName.WRITE:
        return load.images_bytes[image] if load.images_bytes else 0
    return None


def _seen(known: StepRecords, load: Load) -> Seen:
    """Return what the records took besides the line."""
    seen = Seen()
    for served in known.tries:
        line = load.line_us(served.moved_bytes or 0) / MINUTE_US
        seen.add(max(served.minutes - line, LEAST_OWN_SHARE * served.minutes), served.moved_bytes)
    return seen


def _with_retries(playbook: Playbook, name: StepName, known: StepRecords, first: Law) -> Law:
    step, lost = playbook.step(name), known.lost
    if not may_be_tried_again(playbook, name, len(lost)):
        return first
    extra = learnt(step.minutes, lost).law if lost else first
    return Retried(first, retry_chance(len(known.tries), len(lost)), extra)


def may_be_tried_again(playbook: Playbook, name: StepName, again: int) -> bool:
    """Tell whether a step may take another try: its playbook allows it, or it has happened."""
    return name not in NEVER_AGAIN and (playbook.step(name).tries > 1 or again > 0)


def retry_chance(steps: int, again: int) -> float:
    """Return the mean of Beta(0.5 + k, 9.5 + n - k): of ``steps`` that were done, ``again`` took another try."""
    if not 0 <= again <= steps:
        raise ValueError(f"of {steps} steps {again} cannot have taken another try")
    return (RETRY_YES + again) / (RETRY_YES + RETRY_NO + steps)


def disagreement(points: Points, records: Sequence[float]) -> float | None:
    """Return median record by the playbook's usual where the two disagree, else None; minutes."""
    usual = float(points.usual)
    if len(records) < DISAGREES_FROM or usual <= 0:
        return None
    factor = counted(sample_quantile(records, 0.5)) / usual
    return factor if factor >= DISAGREES_BY or factor <= 1 / DISAGREES_BY else None


__all__ = [
    "Learnt",
    "Points",
    "Prior",
    "Seen",
    "Sums",
    "disagreement",
    "learnt",
    "learnt_law",
    "learnt_laws",
    "may_be_tried_again",
    "own_points",
    "retry_chance",
]
