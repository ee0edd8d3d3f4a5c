"""All checks of one unit together: every finding, never only the first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from benchday.domain.checks import Answer, Check, Finding
from benchday.domain.playbook import Playbook, StepName
from benchday.domain.readings import Identity, PowerReading
from benchday.planning import bench_checks, checks
from benchday.planning.bench_checks import BenchPc
from benchday.planning.checks import NOT_WANTED, First, Kept
from benchday.planning.durations import Load, RestOfWay, rest_of_way, steps_on_battery, steps_to_verify
from benchday.planning.power import power
from benchday.planning.target import Target
from benchday.planning.terms import TermFound


@dataclass(frozen=True, slots=True)
class AtStation:
    """What is known of a unit at its station and of the bench around it."""

    serial: str
    """As checked in: read off the label."""
    model: str
    """As checked in."""
    identity: Identity | None
    """What the unit says of itself; None if it did not answer."""
    playbook: Playbook
    target: Target
    held: Mapping[str, bytes | None]
    """Bytes of the images of the route as held in memory, by file name."""
    power: PowerReading | None
    kept: Kept
    connector: str | None
    """Type of the cable's connector at the station; None if there is no cable."""
    adapter: bool
    """The station has a Wi-Fi adapter."""
    free_bytes: int | None
    """Room on the archive's disk; None if not known."""
    bench_pc: BenchPc
    term: TermFound
    """The support term that is used, and what is to be said of it."""
    on: str
    """Today (ISO 8601)."""
    now_us: int
    """Day time, microseconds."""
    closes_us: int
    """Time by which it must be verified, microseconds: closing time, or when its crew wants it back."""
    next_step: StepName = StepName.PRESERVE
    """From where the rest of the way is reckoned."""
    bytes_per_second: float | None = None
    """What the line carries at most; None where nobody knows."""
    block_bytes: int | None = None
    """Payload of one block on that line; None where nothing waits for an answer between blocks."""
    round_trip_us: int = 0
    """From the end of one block to the next."""
    first: First = NOT_WANTED
    """What the rule of the first unit of a model and release says of this one."""
    records_us: Mapping[str, Sequence[int]] | None = None
    """What the steps took before on this model, by step name, microseconds."""
    wanted_back: bool = False
    """That time is when its crew wants it back."""
    seed: int = 1
    """For the drawn durations; equal seeds give equal findings."""


def all_findings(at: AtStation) -> tuple[Finding, ...]:
    """Ask every question and return every answer, in the order of the checks."""
    writes = bool(at.target.route)
    on_battery, to_verify = _rest(at, writes)
    found = [checks.identity(at.serial, at.identity.serial if at.identity else None)]
    if at.identity is not None:
        found.append(checks.model(at.model, at.identity, at.playbook, at.target.images))
    found += [checks.image(image, at.held.get(image.file)) for image in at.target.images]
    found += [
        power(at.power, at.playbook, on_battery),
        checks.recordings(at.kept, erases=writes),
        *_of_the_term(at),
        checks.route(at.target),
        bench_checks.room(at.free_bytes, _bytes_to_copy(at.kept), at.playbook),
        bench_checks.cable(at.playbook, at.connector, adapter=at.adapter),
        bench_checks.bench_pc(at.bench_pc, to_verify, at.playbook),
        bench_checks.closing(at.now_us, at.closes_us, to_verify, wanted_back=at.wanted_back),
        *checks.set_together(at.target),
        checks.first_off(at.target, at.model, at.first),
    ]
    order = list(Check)
    return tuple(sorted(found, key=lambda finding: order.index(finding.check)))


def _of_the_term(at: AtStation) -> tuple[Finding, ...]:
    """Say whether the term allows the target, and, where it matters, that those who tell the term do not agree."""
    found = checks.support_term(at.target, at.term.last_day, at.on, at.playbook)
    if at.term.last_day is None or not at.target.route:
        return (found,)
    return (found, at.term.finding) if at.term.disputed else (found,)


def no_go(finding: Finding) -> bool:
    """Tell whether nobody may wave a finding through: it stops, or nobody knows whether the charge is enough."""
    return finding.answer is Answer.STOP or (finding.check is Check.POWER and finding.answer is Answer.ASK)


def power_finding(at: AtStation) -> Finding:
    """Ask about power alone, on the reading at hand."""
    return power(at.power, at.playbook, _rest(at, bool(at.target.route))[0])


def _rest(at: AtStation, writes: bool) -> tuple[RestOfWay | None, RestOfWay | None]:
    """Return the rest of the way that the battery must last for, and that to the last verify; none without a write."""
    if not writes:
        return None, None
    sizes = tuple(i.bytes for i in at.target.images)
    load = Load(sizes, _bytes_to_copy(at.kept), at.bytes_per_second, at.block_bytes, at.round_trip_us)
    records = at.records_us or {}
    return (
        rest_of_way(steps_on_battery(at.playbook, load, records), at.seed),
        rest_of_way(steps_to_verify(at.playbook, at.next_step, load, records), at.seed),
    )


def _bytes_to_copy(kept: Kept) -> int:
    """Return the size of the recordings that are neither in the archive nor let go."""
    done = {*kept.preserved, *kept.let_go}
    return sum(r.bytes for r in kept.recordings or () if r.name not in done)
