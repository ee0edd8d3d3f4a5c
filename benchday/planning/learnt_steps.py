"""What is now used for each step of each model, beside what its playbook says: for a person to look at."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from benchday.domain.playbook import Playbook, StepName, ThreePoints
from benchday.planning.durations import quantile
from benchday.planning.learning import GIGABYTE, Seen, disagreement, may_be_tried_again, retry_chance
from benchday.planning.learning_records import MOVES_BYTES, PlaybookRead, Records, StepRecords, Told
from benchday.planning.learnt import Learnt
from benchday.planning.wording import MINUTE_US


@dataclass(frozen=True, slots=True)
class LearntStep:
    """One step of one model. Times are microseconds."""

    model: str
    playbook: str
    step: StepName
    points: ThreePoints
    """The playbook's, minutes."""
    records: int
    median_us: int | None
    """Of the records that moved something, or of all of a step that moves nothing."""
    p50_us: int
    p80_us: int
    p95_us: int
    """Of a try that ends well; of the usual size where the time follows from one."""
    again: int
    """How many of the records took another try."""
    retry_permille: int | None
    """Chance of another try; None for a step that is never tried again."""
    usual_bytes: int | None
    """Size that the three hold for; None where time follows from no size, or nothing was moved yet."""
    per_gigabyte_us: int | None
    """Half of the gigabytes take at most so long; None where minutes are learnt."""
    disagrees: float | None
    """Median by the playbook's usual where the two disagree."""


def playbooks_of(told: Iterable[Told]) -> Mapping[str, Playbook]:
    """Return the playbooks by name, each as it was last read."""
    return {one.playbook.playbook: one.playbook for one in told if isinstance(one, PlaybookRead)}


def learnt_steps(playbooks: Iterable[Playbook], records: Mapping[str, Records]) -> tuple[LearntStep, ...]:
    """Return every step of every model of the playbooks."""
    return tuple(
        _learnt_step(model, playbook, name, records.get(model, {}).get(name, StepRecords()))
        for playbook in playbooks
        for model in playbook.models
        for name in StepName
    )


def _learnt_step(model: str, playbook: Playbook, name: StepName, known: StepRecords) -> LearntStep:
    points = playbook.step(name).minutes
    seen = Seen.of((t.minutes, t.moved_bytes) for t in known.tries)
    usual_bytes = seen.usual_bytes if name in MOVES_BYTES else None
    now = seen.learnt(points, usual_bytes)
    minutes = [t.minutes for t in known.tries if t.moved_bytes or usual_bytes is None]
    p50, p80, p95 = (_us(now.quantile(share)) for share in (0.5, 0.8, 0.95))
    chance = None
    if may_be_tried_again(playbook, name, len(known.lost)):
        chance = round(1000 * retry_chance(len(known.tries), len(known.lost)))
    return LearntStep(
        model=model,
        playbook=playbook.playbook,
        step=name,
        points=points,
        records=len(known.tries),
        median_us=_us(quantile(minutes, 0.5)) if minutes else None,
        p50_us=p50,
        p80_us=p80,
        p95_us=p95,
        again=len(known.lost),
        retry_permille=chance,
        usual_bytes=usual_bytes,
        per_gigabyte_us=_per_gigabyte_us(seen, now, usual_bytes),
        disagrees=disagreement(points, minutes),
    )


def _per_gigabyte_us(seen: Seen, now: Learnt, usual_bytes: int | None) -> int | None:
    if usual_bytes is None or not seen.by_size:
        return None
    return _us(now.quantile(0.5) * GIGABYTE / usual_bytes)


def _us(minutes: float) -> int:
    return round(minutes * MINUTE_US)
