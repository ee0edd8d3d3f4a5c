"""What the checks rest on, gathered from the unit, the bench and the entries."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from benchday.bench.serving import Serving
from benchday.domain.checks import Finding
from benchday.domain.errors import InputError
from benchday.domain.kinds import Checked, PowerRead, RecordingsListed
from benchday.domain.playbook import StepName
from benchday.domain.readings import Identity, Mode, PowerReading, Recording
from benchday.domain.story import UnitStory
from benchday.planning.all_checks import AtStation, all_findings
from benchday.planning.bench_checks import BenchPc
from benchday.planning.checks import Kept
from benchday.planning.durations import XMODEM_1K_115200


async def read_power(at: Serving) -> PowerReading:
    """Read the battery and record it."""
    told = await (await at.line()).power()
    by_hand = at.driver is not None and "power" in at.driver.by_hand
    facts = PowerRead(
        charge_percent=told.charge_percent,
        max_error_percent=told.max_error_percent,
        full_mwh=told.full_mwh,
        temperature_dk=told.temperature_dk,
        external=told.external,
        by="hand" if by_hand else "driver",
    )
    await at.record(at.draft(facts))
    return told


async def list_recordings(at: Serving, *, again: bool = False) -> tuple[Recording, ...]:
    """List the recordings on the unit; one in its boot loader has none left.

    Args:
        again: they were listed in this visit; a person is not asked to count and copy them twice.
    """
    if in_boot(at):
        return ()
    if again and "recordings" in (await at.line()).by_hand:
        return tuple(Recording(r["name"], r["bytes"], r["sha256"]) for r in at.story.recordings)
    told = await (await at.line()).recordings()
    listed = [{"name": r.name, "bytes": r.bytes, "sha256": r.sha256} for r in told]
    await at.record(at.draft(RecordingsListed(recordings=listed)))
    return told


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
    story, begun, pc = at.story, at.tools.book.state.begun or {}, await at.tools.pc.state()
    assert at.target is not None  # noqa: S101 - set before any check
    found = all_findings(
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
            support_until=story.support_until or (story.identity or {}).get("term"),
            on=begun.get("date", ""),
            now_us=at.tools.book.clock.now(),
            closes_us=begun.get("closes_us", 0),
            next_step=next_step,
            bytes_per_second=XMODEM_1K_115200 if at.playbook.driver.name == "console" else None,
            records_us=at.tools.records.get(story.model),
            seed=at.tools.seed,
        )
    )
    await at.record(at.draft(Checked(findings=[f.as_facts() for f in found])))
    return found


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
