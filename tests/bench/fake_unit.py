"""A unit that does not exist and the driver on it, in memory: what it does and what befalls it is set by a test."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from dataclasses import dataclass, field

import anyio

from benchday.domain.errors import LinkSilent, Refused
from benchday.domain.permits import SpentAct, Verb, restart_covered, use_act
from benchday.domain.readings import Identity, Mode, PowerReading, Progress, Recording, SelfTest, Settings, Sky

PIECES = 4


@dataclass(slots=True)
class FakeUnit:
    """What it is, and what happens next."""

    serial: str
    model: str
    releases: Mapping[str, str] = field(repr=False)
    """Digest of an image -> the release that runs once it is written."""
    release: str = "2.9"
    hardware: str = "B"
    mode: Mode = Mode.RUN
    term: str | None = None
    remarks: tuple[str, ...] = ()
    term_after: str | None = None
    """What it knows of its support term once it was written; None: the same."""
    charge_percent: int = 90
    max_error_percent: int | None = 2
    temperature_dk: int | None = 2951
    external: bool = False
    recordings: dict[str, bytes] = field(default_factory=dict)
    settings: dict[str, str] = field(default_factory=lambda: {"frequency_khz": "461025"})
    befalls: defaultdict[str, list[Exception | None]] = field(default_factory=lambda: defaultdict(list))
    """Method -> what the next calls raise, in order; None: nothing."""
    happens: dict[str, Callable[[], None]] = field(default_factory=dict)
    """Method -> what else happens at its next call."""
    hangs: set[str] = field(default_factory=set)
    """Methods that never come to an end."""
    half_way: anyio.Event | None = None
    """A write stands still half way until this is set."""
    reaches: list[tuple[str, str]] = field(default_factory=list)
    """What changed it: (write or restart, permit)."""
    calls: list[str] = field(default_factory=list)
    opened: int = 0
    """Lines to it that are open now."""
    _next: str | None = None

    def meet(self, method: str) -> None:
        """Let happen what is due."""
        self.calls.append(method)
        self.happens.pop(method, _nothing)()
        due = self.befalls[method].pop(0) if self.befalls[method] else None
        if due is not None:
            raise due

    async def come_to(self, method: str) -> None:
        """Let happen what is due, or nothing any more."""
        if method in self.hangs:
            self.calls.append(method)
            await anyio.sleep_forever()
        self.meet(method)

    def begin_write(self, act: object, image: bytes) -> None:
        """Take an image: what was recorded is gone, and until the end only the boot loader answers."""
        spent = use_act(act, Verb.WRITE_IMAGE, hashlib.sha256(image).hexdigest())
        self.reaches.append(("write", spent.permit_id))
        self.recordings.clear()
        self.mode = Mode.BOOT

    def end_write(self, image: bytes) -> None:
        """Have the whole image."""
        self.mode, self._next = Mode.RUN, self.releases[hashlib.sha256(image).hexdigest()]

    def start(self) -> None:
        """Run what was written."""
        self.release, self._next = self._next or self.release, None
        self.term = self.term_after or self.term


class FakeDriver:
    """Has every capability but the proof of being a simulator."""

    by_hand: frozenset[str] = frozenset()

    def __init__(self, unit: FakeUnit) -> None:
        self._unit = unit
        unit.opened += 1

    async def identify(self) -> Identity:
        """Say who it is."""
        unit = self._unit
        await unit.come_to("identify")
        release = unit.release if unit.mode is Mode.RUN else None
        options = ("dual", "radio") if unit.mode is Mode.RUN else ()
        return Identity(unit.serial, unit.model, unit.hardware, unit.mode, release, options, unit.term, unit.remarks)

    async def power(self) -> PowerReading:
        """Say what its battery holds."""
        await self._unit.come_to("power")
        unit = self._unit
        return PowerReading(unit.charge_percent, unit.max_error_percent, 24000, unit.temperature_dk, unit.external)

    async def recordings(self) -> tuple[Recording, ...]:
        """List its recordings."""
        await self._unit.come_to("recordings")
        kept = self._unit.recordings.items()
        return tuple(Recording(name, len(data), hashlib.sha256(data).hexdigest()) for name, data in kept)

    async def fetch(self, recording: Recording, sink: Callable[[bytes], Awaitable[None]]) -> AsyncIterator[Progress]:
        """Hand a recording over, half of it before anything befalls."""
        if recording.name not in self._unit.recordings:
            raise Refused(f"fetch {recording.name}", "missing")
        data = self._unit.recordings[recording.name]
        half = len(data) // 2
        await sink(data[:half])
        yield Progress(half, len(data), "fetching")
        await self._unit.come_to("fetch")
        await sink(data[half:])
        yield Progress(len(data), len(data), "fetching")

    async def settings(self) -> Settings:
        """Say how it is set."""
        await self._unit.come_to("settings")
        return Settings(dict(self._unit.settings))

    async def put_settings(self, act: SpentAct, settings: Settings) -> None:
        """Take settings, the first of them before anything befalls."""
        use_act(act, Verb.PUT_SETTINGS, settings.digest)
        self._unit.reaches.append(("put settings", act.permit_id))
        for name, value in settings.values.items():
            self._unit.settings[name] = value
            await self._unit.come_to("put_settings")

    async def write(self, act: SpentAct, image: bytes) -> AsyncIterator[Progress]:
        """Take an image in pieces."""
        unit = self._unit
        await unit.come_to("before write")
        unit.begin_write(act, image)
        for piece in range(PIECES + 1):
            yield Progress(piece, PIECES, "sending")
            if piece == PIECES // 2 and unit.half_way is not None:
                await unit.half_way.wait()
            if piece == PIECES // 2:
                await unit.come_to("write")
        unit.end_write(image)
        await unit.come_to("after write")

    async def restart(self, act: SpentAct) -> None:
        """Start the new release."""
        await self._unit.come_to("restart")
        self._unit.reaches.append(("restart", restart_covered(act).permit_id))
        self._unit.start()

    async def self_test(self) -> SelfTest:
        """Pass."""
        await self._unit.come_to("self_test")
        return SelfTest(True)

    async def sky(self) -> Sky:
        """See enough of it."""
        await self._unit.come_to("sky")
        return Sky("single", None, 12)

    async def aclose(self) -> None:
        """Let go of the line."""
        self._unit.opened -= 1


def _nothing() -> None:
    """Let nothing happen."""


SILENT = LinkSilent("nothing came within 3 s")
