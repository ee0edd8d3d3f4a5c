"""What every driver promises, as plain async functions that take a maker; for our drivers and for plug-ins.

A maker is called without arguments and returns an async context manager that yields a ``Bed``: the driver on a unit
that may be written. A capability that the driver does not have is not asked for.
"""

from __future__ import annotations

import hashlib
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass, field

from benchday.domain.errors import PermitRefused
from benchday.domain.permits import SpentAct, Verb
from benchday.domain.readings import Mode, Progress, Settings
from benchday.domain.seams import (
    CanFetch,
    CanIdentify,
    CanListRecordings,
    CanPutSettings,
    CanRestart,
    CanTellPower,
    CanTellSettings,
    CanTellSky,
    CanTest,
    CanWrite,
    capabilities,
)

MakeAct = Callable[[Verb, str, int], SpentAct]
"""Verb, digest and size -> a fresh act spent on the unit of the bed."""


@dataclass(frozen=True, slots=True)
class Bed:
    """A driver on a unit, and what the suite needs to know of both."""

    driver: object
    serial: str
    image: bytes = field(repr=False)
    """One that the unit will take."""
    release: str
    """Which the image holds."""
    make_act: MakeAct
    recorded: Mapping[str, bytes] = field(repr=False)
    """What is on the unit, by name."""


MakeBed = Callable[[], AbstractAsyncContextManager[Bed]]


async def has_capabilities(make: MakeBed) -> None:
    """It can do something, and it can be closed."""
    async with make() as bed:
        assert capabilities(bed.driver)
        assert callable(getattr(bed.driver, "aclose", None))


async def says_who_the_unit_is(make: MakeBed) -> None:
    """The serial is the unit's, and the same when asked again."""
    async with make() as bed:
        if isinstance(bed.driver, CanIdentify):
            first = await bed.driver.identify()
            assert first.serial == bed.serial
            assert first.mode is Mode.RUN
            assert first.release
            assert await bed.driver.identify() == first


async def reads_the_unit(make: MakeBed) -> None:
    """Power, settings, test and position are within what their words mean."""
    async with make() as bed:
        if isinstance(bed.driver, CanTellPower):
            power = await bed.driver.power()
            assert 0 <= power.charge_percent <= 100
            assert power.full_mwh is None or power.full_mwh > 0
            assert power.temperature_dk is None or 2000 < power.temperature_dk < 3800
        if isinstance(bed.driver, CanTellSettings):
            assert all(name for name in (await bed.driver.settings()).values)
        if isinstance(bed.driver, CanTest):
            assert (await bed.driver.self_test()).passed
        if isinstance(bed.driver, CanTellSky):
            assert (await bed.driver.sky()).fix in ("none", "single", "float", "fixed")


async def fetches_whole_copies(make: MakeBed) -> None:
    """Every recording is listed and comes whole, with progress that grows to its size."""
    async with make() as bed:
        if not isinstance(bed.driver, CanListRecordings) or not isinstance(bed.driver, CanFetch):
            return
        listed = await bed.driver.recordings()
        assert {r.name: r.bytes for r in listed} == {name: len(data) for name, data in bed.recorded.items()}
        for recording in listed:
            got = bytearray()

            async def sink(piece: bytes, got: bytearray = got) -> None:
                got.extend(piece)

            progress = await _all(bed.driver.fetch(recording, sink))
            assert bytes(got) == bed.recorded[recording.name]
            assert recording.sha256 in (None, hashlib.sha256(got).hexdigest())
            assert [p.done for p in progress] == sorted(p.done for p in progress)
            assert not recording.bytes or progress[-1].done == progress[-1].of == recording.bytes


async def puts_settings(make: MakeBed) -> None:
    """Settings that were put are read back."""
    async with make() as bed:
        driver = bed.driver
        if not isinstance(driver, CanTellSettings) or not isinstance(driver, CanPutSettings):
            return
        before = await driver.settings()
        name, value = next(iter(before.values.items()))
        wanted = Settings({name: value})
        await driver.put_settings(bed.make_act(Verb.PUT_SETTINGS, wanted.digest, len(name) + len(value)), wanted)
        assert (await driver.settings()).values == before.values


async def refuses_what_is_no_spent_act(make: MakeBed) -> None:
    """Nothing but a fresh act for these very bytes begins a write, and the unit stays as it was."""
    async with make() as bed:
        if not isinstance(bed.driver, CanWrite):
            return
        digest = hashlib.sha256(bed.image).hexdigest()
        used = bed.make_act(Verb.WRITE_IMAGE, digest, len(bed.image))
        used.use(Verb.WRITE_IMAGE, digest)
        other = bed.make_act(Verb.WRITE_IMAGE, "0" * 64, len(bed.image))
        for act in (None, True, "permit", used, other):
            try:
                await _all(bed.driver.write(act, bed.image))  # type: ignore[arg-type]  # that is the question
            except PermitRefused as refused:
                assert str(refused)
            else:
                raise AssertionError(f"a write began with {act!r}")
        if isinstance(bed.driver, CanIdentify):
            assert (await bed.driver.identify()).mode is Mode.RUN


async def writes_and_restarts(make: MakeBed) -> None:
    """An image is written with progress, the unit restarts, says who it is and what it runs."""
    async with make() as bed:
        driver = bed.driver
        if not isinstance(driver, CanWrite) or not isinstance(driver, CanRestart):
            return
        act = bed.make_act(Verb.WRITE_IMAGE, hashlib.sha256(bed.image).hexdigest(), len(bed.image))
        try:
            await driver.restart(bed.make_act(Verb.WRITE_IMAGE, act.act.digest, act.act.bytes))
        except PermitRefused:
            pass
        else:
            raise AssertionError("a restart went ahead that belongs to no write")
        progress = await _all(driver.write(act, bed.image))
        for what in {p.what for p in progress}:
            done = [p.done for p in progress if p.what == what]
            assert done == sorted(done), f"{what} went backwards"
        await driver.restart(act)
        if isinstance(driver, CanIdentify):
            after = await driver.identify()
            assert (after.serial, after.mode, after.release) == (bed.serial, Mode.RUN, bed.release)


async def _all(progress: AsyncIterator[Progress]) -> list[Progress]:
    return [p async for p in progress]


CHECKS: tuple[Callable[[MakeBed], Awaitable[None]], ...] = (
    has_capabilities,
    says_who_the_unit_is,
    reads_the_unit,
    fetches_whole_copies,
    puts_settings,
    refuses_what_is_no_spent_act,
    writes_and_restarts,
)
"""All of them, to run one by one."""
