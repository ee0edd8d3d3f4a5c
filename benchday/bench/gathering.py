"""What the checks rest on, gathered from the unit, the bench and the entries."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from benchday.bench.missing import look_for_them
from benchday.bench.serving import Serving
from benchday.bench.targeting import term_now
from benchday.domain.checks import Finding
from benchday.domain.errors import Garbled, InputError, RecordingsMissing
from benchday.domain.kinds import Checked, PowerRead, RecordingsListed, Remedied
from benchday.domain.playbook import Playbook, StepName
from benchday.domain.readings import Identity, Mode, PowerReading, Recording
from benchday.domain.story import UnitStory
from benchday.planning.all_checks import AtStation, all_findings, power_finding
from benchday.planning.bench_checks import BenchPc
from benchday.planning.checks import First, Kept, recordings_gone
from benchday.planning.durations import (
    USUAL_ROUND_TRIP_US,
    measured_round_trip_us,
)
from benchday.planning.gates import unverified_first
from benchday.planning.line_rates import line_of
from benchday.planning.power import with_pack
from benchday.planning.remedies import RemedyKind

CONSOLE = "console"
"""The driver whose line is known: XMODEM-1K at the playbook's rate."""
USUAL_BAUD = 115_200
SMALL_EXCHANGE_BYTES = 70
"""About what the question for power and its answer take on the line, counted from the dialogue."""


async def read_power(at: Serving) -> PowerReading:
    """Read the battery, record what the unit says, and return it with what is known beside it."""
    line, clock = await at.line(), at.tools.book.clock
    asked_us = clock.monotonic()
    told = await line.power()
    by_hand = "power" in line.by_hand
    if told.pack is not None:
        await _pack_fitted(at, told.pack)
    if not by_hand and at.playbook.driver.name == CONSOLE:
        _round_trip(at, clock.monotonic() - asked_us)
    facts = PowerRead(
        charge_percent=told.charge_percent,
        max_error_percent=told.max_error_percent,
        full_mwh=told.full_mwh,
        temperature_dk=told.temperature_dk,
        external=told.external,
        by="hand" if by_hand else "driver",
    )
    await at.record(at.draft(facts))
    return _known_beside(at, told)


async def _pack_fitted(at: Serving, pack: str) -> None:
    """Record which charged pack of the shop a person says is in the unit.

    Raises:
        Garbled: it is in another unit.
    """
    if pack == at.story.pack:
        return
    if pack in at.tools.book.state.packs_used:
        raise Garbled(f"pack {pack} was fitted to another unit today; name the one that is in this unit")
    await at.record(at.draft(Remedied(remedy=RemedyKind.PACK.value, pack=pack)))


def _known_beside(at: Serving, told: PowerReading) -> PowerReading:
    """Put what is known of a fitted shop pack, and what a person measured, where the unit tells nothing."""
    fitted = next((p for p in at.tools.plan.bench.packs if p.number == at.story.pack), None)
    known = with_pack(told, fitted.charge_percent) if fitted is not None else told
    return at.measured.beside(known) if at.measured is not None else known


def _round_trip(at: Serving, took_us: int) -> None:
    """Keep the shortest time that this unit took to answer a small question, less what question and answer take."""
    found = measured_round_trip_us(took_us, SMALL_EXCHANGE_BYTES, _baud(at.playbook))
    at.round_trip_us = min(found, at.round_trip_us or found)


def _baud(playbook: Playbook) -> int:
    told = playbook.driver.settings.get("baud")
    return told if isinstance(told, int) and told > 0 else USUAL_BAUD


async def list_recordings(at: Serving, *, again: bool = False) -> tuple[Recording, ...]:
    """List the recordings on the unit; one in its boot loader has none left.

    Args:
        again: they were listed in this visit; a person is not asked to count and copy them twice.

    Raises:
        Met: some that were on it before are gone, and their owner has not let them go.
    """
    if in_boot(at):
        return ()
    if again and "recordings" in (await at.line()).by_hand:
        return tuple(Recording(r["name"], r["bytes"], r["sha256"]) for r in at.story.recordings)
    while True:
        told = await _told(at)
        gone = _vanished(at.story, told)
        if not gone and not at.story.unlisted:
            return told
        finding = recordings_gone(gone, at.story.unlisted)
        await at.record(at.draft(Checked(findings=[finding.as_facts()])))
        if not await look_for_them(at, gone, finding):
            return told


async def _told(at: Serving) -> tuple[Recording, ...]:
    """Have the recordings listed, and record it with how many more were counted than anybody can list."""
    before = at.story
    try:
        told, missing = await (await at.line()).recordings(), 0
    except RecordingsMissing as error:
        told, missing = error.copied, error.missing
    new = sum(r.name not in before.ever_listed for r in told)
    unlisted = max(missing, before.unlisted - new, before.counted - len(told), 0)
    listed = [{"name": r.name, "bytes": r.bytes, "sha256": r.sha256} for r in told]
    await at.record(at.draft(RecordingsListed(recordings=listed, unlisted=unlisted)))
    return told


def _vanished(story: UnitStory, now: tuple[Recording, ...]) -> tuple[Recording, ...]:
    """Return what was on it today, is not there any more, and has neither a copy nor its owner's leave to go."""
    names = {r.name for r in now}
    before = [Recording(r["name"], r["bytes"], r["sha256"]) for n, r in story.ever_listed.items() if n not in names]
    kept = _kept(story, tuple(before), preserve_done=False)
    return tuple(r for r in before if r.name not in kept.preserved and r.name not in kept.let_go)


def in_boot(at: Serving) -> bool:
    """Tell whether the unit sits in its boot loader."""
    return bool(at.story.identity) and (at.story.identity or {}).get("mode") == Mode.BOOT.value


async def hold_images(at: Serving) -> None:
    """Read the images of the route once; what cannot be read is left out, for the check to name."""
    for image in at.target.images if at.target else ():
        if image.file not in at.held_images:
            try:
                at.held_images[image.file] = await at.tools.images.read(image)
            except InputError:
                continue


async def find_all(
    at: Serving, power: PowerReading, recordings: tuple[Recording, ...], next_step: StepName
) -> tuple[Finding, ...]:
    """Ask every question, record every answer."""
    found = all_findings(await _at_station(at, power, recordings, next_step))
    await at.record(at.draft(Checked(findings=[f.as_facts() for f in found])))
    return found


async def find_power(at: Serving, recordings: tuple[Recording, ...]) -> Finding:
    """Read the battery anew and ask about power alone."""
    return power_finding(await _at_station(at, await read_power(at), recordings, StepName.WRITE))


async def _at_station(
    at: Serving, power: PowerReading, recordings: tuple[Recording, ...], next_step: StepName
) -> AtStation:
    story, begun, pc = at.story, at.tools.book.state.begun or {}, await at.tools.pc.state()
    assert at.target is not None  # noqa: S101 - set before any check
    return _on_the_line(
        at,
        AtStation(
            serial=at.unit,
            model=story.model,
            identity=_identity(at),
            playbook=at.playbook,
            target=at.target,
            held={i.file: at.held_images.get(i.file) for i in at.target.images},
            power=power,
            kept=_kept(story, recordings, preserve_done=next_step is not StepName.PRESERVE),
            connector=at.playbook.connector if at.place else None,
            adapter=at.playbook.wifi and at.place is not None,
            free_bytes=at.tools.archive.room_bytes(),
            bench_pc=BenchPc(pc.on_mains, pc.battery_percent, pc.battery_minutes, pc.sleep_inhibited, pc.clock_set),
            term=term_now(at.tools, story),
            on=begun.get("date", ""),
            now_us=at.tools.book.clock.now(),
            closes_us=ends_us(at),
            wanted_back=ends_us(at) == story.wanted_back_us,
            next_step=next_step,
            records_us=at.tools.records.get(story.model),
            seed=at.tools.seed,
            first=_first(at),
        ),
    )


def ends_us(at: Serving) -> int:
    """Return the day time by which the unit must be verified: closing time, or when its crew wants it back."""
    closes_us = int((at.tools.book.state.begun or {}).get("closes_us", 0))
    return closes_us if at.story.wanted_back_us is None else min(closes_us, at.story.wanted_back_us)


def _on_the_line(at: Serving, known: AtStation) -> AtStation:
    """Add what the line carries, where that is known."""
    line = line_of(at.playbook)
    if line is None:
        return known
    # A simulated day must not depend on how quick this computer is.
    simulated = (at.tools.book.state.begun or {}).get("simulated", False)
    measured = None if simulated else at.round_trip_us
    return replace(
        known,
        bytes_per_second=line.bytes_per_second,
        block_bytes=line.block_bytes,
        round_trip_us=USUAL_ROUND_TRIP_US if measured is None else measured,
    )


def _first(at: Serving) -> First:
    state, story, plan = at.tools.book.state, at.story, at.tools.plan
    verified = (story.model, story.target or "") in state.verified
    return First(plan.day.policy.first_off, verified, unverified_first(state, story, plan))


def _kept(story: UnitStory, recordings: tuple[Recording, ...], *, preserve_done: bool) -> Kept:
    """Say what became of the recordings on the unit; what stood under a name before does not count."""
    now = {r.name: r for r in recordings}
    preserved = {n: k["sha256"] for n, k in story.preserved.items() if n in now and is_copy_of(k, now[n])}
    let_go = tuple(n for n, gone in story.let_go.items() if n in now and gone["bytes"] == now[n].bytes)
    return Kept(recordings, preserved, let_go, preserve_done)


def is_copy_of(kept: Mapping[str, Any], recording: Recording) -> bool:
    """Tell whether a copy is of the recording as the unit tells it now: its size, and its digest if it tells one."""
    return bool(kept["bytes"] == recording.bytes) and recording.sha256 in (None, kept["sha256"])


def _identity(at: Serving) -> Identity | None:
    told = at.story.identity
    if told is None:
        return None
    return Identity(
        serial=told["serial"],
        model=told["model"],
        hardware=told["hardware"],
        mode=Mode(told["mode"]),
        release=told["release"],
        options=tuple(told["options"]),
        term=told["term"],
    )
