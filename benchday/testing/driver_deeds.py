"""What a driver is asked for under a fault, for each capability, and what a right outcome is.

A deed ends with AssertionError where something wrong was taken for success, with an error of a unit where the driver
says that it did not work, and quietly where it worked. What it returns, if anything, is asked once the fault is over.
"""

from __future__ import annotations

import hashlib
from collections.abc import Awaitable, Callable, Mapping, Sequence
from contextlib import aclosing
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

from benchday.domain.errors import Garbled, LinkError, Refused
from benchday.domain.permits import Verb
from benchday.domain.readings import Identity, PowerReading, Recording, Settings, Sky
from benchday.testing.drivers import MakeAct
from benchday.testing.faults import Fault

NONCE = "5a" * 16


@dataclass(frozen=True, slots=True)
class Later:
    """What is looked at once the fault is over."""

    told: str
    """The error that the driver ended with."""
    check: Callable[[], None]
    """Raises AssertionError if the unit tells another story."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What the unit itself says of what happened to it, past the driver: its own log, its display, its card."""

    begun: int
    """How often a write has begun to change it."""
    taken: Sequence[str]
    """SHA-256 of every image that it took whole, in order."""
    settings: Mapping[str, str]
    started: object
    """Something that is another one after each start."""


class Between(Protocol):
    """What stands between driver and unit and lets faults begin and end (``relay.Relay``, or your own)."""

    visits: int
    """How often the driver was lured elsewhere."""

    @property
    def knows_another(self) -> bool: ...

    async def begin(self, fault: Fault, after_bytes: int = 0) -> None: ...

    async def end(self) -> None: ...


@dataclass(frozen=True, slots=True)
class FaultBed:
    """A unit that may be written, with something between it and the driver."""

    open: Callable[[bool], Awaitable[Any]]
    """Opens the driver anew, through what stands between: with time limits so small that a test need not wait for them
    (False), or with ample ones, where only right values will do (True)."""
    between: Between
    serial: str
    make_act: MakeAct
    seen: Callable[[], Seen]
    restore: Callable[[], Awaitable[None]]
    """What a person does to a unit that is stuck: switch it off and on, say."""
    image: bytes = field(repr=False, default=b"")
    """One that the unit will take, more than once."""
    fresh_image: Callable[[], bytes] | None = None
    """For a unit that takes no image twice: makes another one, for each write."""
    after_write: Callable[[], Awaitable[None]] | None = None
    """What makes a unit fit for the next write that would not take one now; after each that was tried."""
    other_serial: str = ""
    setting: tuple[str, Sequence[str]] = ("", ())
    """One that may be changed, and some values for it."""
    limit_s: float = 10.0
    """Real seconds within which every call must end, whatever the fault: what the driver's own limits add up to."""
    most_bytes: int = 2 << 20
    """What may be held of an endless answer, measured."""
    midway_bytes: int = 2500
    """After so many bytes a fault begins that befalls a transfer half way; less than the image and the recordings."""

    def next_image(self) -> bytes:
        """Return the image for the next write."""
        return self.image if self.fresh_image is None else self.fresh_image()


@dataclass(slots=True)
class Truth:
    """What the unit says while nothing is wrong."""

    readings: dict[str, object] = field(default_factory=dict)
    recordings: tuple[Recording, ...] = ()
    copy: bytes = b""
    """Of the smallest recording."""


async def read(driver: Any, capability: str, truth: Truth) -> object:
    """Ask for one reading."""
    match capability:
        case "prove":
            return await driver.prove(NONCE)
        case "fetch":
            got = bytearray()

            async def sink(piece: bytes) -> None:
                got.extend(piece)

            smallest = smallest_of(truth.recordings)
            async with aclosing(driver.fetch(smallest, sink)) as fetching:
                async for _ in fetching:
                    pass
            return bytes(got)
        case _:
            return await getattr(driver, METHODS[capability])()


METHODS = {
    "identify": "identify",
    "power": "power",
    "recordings": "recordings",
    "settings": "settings",
    "self-test": "self_test",
    "position": "sky",
}
READINGS = (*METHODS, "fetch", "prove")
CHANGES = ("put settings", "write", "restart")


def smallest_of(recordings: Sequence[Recording]) -> Recording:
    """Return the smallest recording that holds anything."""
    return min((r for r in recordings if r.bytes), key=lambda r: r.bytes)


def steady(reading: object) -> object:
    """Return what of a reading does not change while a unit stands on a bench."""
    if isinstance(reading, PowerReading):
        return replace(reading, charge_percent=0, temperature_dk=0, voltage_mv=0, current_ma=0)
    if isinstance(reading, Sky):
        return Sky(reading.fix, reading.base, satellites=0)
    return reading


async def do_read(bed: FaultBed, driver: Any, capability: str, truth: Truth, fault: Fault) -> Later | None:
    """Ask for a reading: the right one, or an error."""
    reading = await read(driver, capability, truth)
    if fault.other:
        right = isinstance(reading, Identity) and reading.serial == bed.other_serial
        assert right, f"another unit stands there, and the driver told {reading!r}"
    else:
        known = truth.readings[capability]
        wrong = f"the driver told {_shown(reading)}, the unit says {_shown(known)}"
        assert steady(reading) == steady(known), wrong
    return None


def _shown(reading: object) -> str:
    return f"{len(reading)} bytes" if isinstance(reading, bytes) else repr(reading)[:300]


async def do_put(bed: FaultBed, driver: Any, capability: str, truth: Truth, fault: Fault) -> Later | None:
    """Put a setting: changed, or an error; after a refusal it is as it was."""
    del capability, truth, fault
    name, values = bed.setting
    before = bed.seen().settings[name]
    value = next(v for v in values if v != before)
    wanted = Settings({name: value})
    act = bed.make_act(Verb.PUT_SETTINGS, wanted.digest, len(name) + len(value))
    try:
        await driver.put_settings(act, wanted)
    except Refused as error:

        def unchanged() -> None:
            assert bed.seen().settings[name] == before, "told as refused, and the unit has changed its setting"

        return Later(str(error), unchanged)
    assert bed.seen().settings[name] == value, "told as done, and the unit has not changed its setting"
    return None


async def do_write(bed: FaultBed, driver: Any, capability: str, truth: Truth, fault: Fault) -> Later | None:
    """Write an image: taken whole, or an error that says how far the unit may have come."""
    del capability, truth, fault
    image, before = bed.next_image(), bed.seen()
    digest = hashlib.sha256(image).hexdigest()
    try:
        writing = driver.write(bed.make_act(Verb.WRITE_IMAGE, digest, len(image)), image)
        async with aclosing(writing):
            async for _ in writing:
                pass
    except (Refused, LinkError, Garbled) as error:
        told = f"{type(error).__name__}: {error}"

        def nothing_begun() -> None:
            assert bed.seen().begun == before.begun, f"told as not begun ({told}), and the unit has lost its release"

        return Later(told, nothing_begun)
    assert digest in bed.seen().taken[len(before.taken) :], "told as written, and the unit has not taken the image"
    return None


async def do_restart(bed: FaultBed, driver: Any, capability: str, truth: Truth, fault: Fault) -> Later | None:
    """Restart, as after a write: started anew and the same unit, or an error."""
    del capability, truth, fault
    digest = hashlib.sha256(bed.image).hexdigest()
    act = bed.make_act(Verb.WRITE_IMAGE, digest, len(bed.image))
    act.use(Verb.WRITE_IMAGE, digest)
    before = bed.seen().started
    await driver.restart(act)
    assert bed.seen().started != before, "told as restarted, and the unit has not started anew"
    return None


Deed = Callable[[FaultBed, Any, str, Truth, Fault], Awaitable[Later | None]]
DEEDS: Mapping[str, Deed] = {
    **dict.fromkeys(READINGS, do_read),
    "put settings": do_put,
    "write": do_write,
    "restart": do_restart,
}
"""Capability -> how it is tried."""
