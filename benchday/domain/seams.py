"""The seams: Link, Driver (its capabilities), Journal, Archive, Operators, Clock.

Bench, record and devices never import one another; they meet here. Each seam has one to four methods of its own.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable, Mapping, Sequence
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass, field
from typing import Any, Protocol, runtime_checkable

from benchday.domain.entries import Draft, Entry
from benchday.domain.fold import DayState, ItemState
from benchday.domain.items import Wanted
from benchday.domain.links import ByteStream as ByteStream  # noqa: PLC0414 - shown here with the others
from benchday.domain.links import Link as Link  # noqa: PLC0414 - shown here with the others
from benchday.domain.links import ModemLines as ModemLines  # noqa: PLC0414 - shown here with the others
from benchday.domain.permits import Permit, Reading, SpentAct
from benchday.domain.playbook import Playbook
from benchday.domain.readings import Identity, PowerReading, Progress, Proof, Recording, SelfTest, Settings, Sky
from benchday.domain.releases import Image


class Clock(Protocol):
    """Time is handed in. Microseconds throughout."""

    def now(self) -> int:
        """Day time since 1970 UTC: anchor + speed x real time."""
        ...

    def wall(self) -> int:
        """The bench PC's clock since 1970 UTC."""
        ...

    def monotonic(self) -> int:
        """Real time that never steps; for durations and for protocols."""
        ...

    async def wait_until(self, at_us: int) -> None:
        """Return when the day time is ``at_us`` or later."""
        ...


@runtime_checkable
class CanIdentify(Protocol):
    """identify"""

    async def identify(self) -> Identity: ...


@runtime_checkable
class CanTellPower(Protocol):
    """power"""

    async def power(self) -> PowerReading: ...


@runtime_checkable
class CanListRecordings(Protocol):
    """recordings"""

    async def recordings(self) -> tuple[Recording, ...]: ...


@runtime_checkable
class CanFetch(Protocol):
    """fetch: ``sink`` gets the bytes in order, cut to the true length; progress is yielded as it goes."""

    def fetch(self, recording: Recording, sink: Callable[[bytes], Awaitable[None]]) -> AsyncIterator[Progress]: ...


@runtime_checkable
class CanTellSettings(Protocol):
    """settings"""

    async def settings(self) -> Settings: ...


@runtime_checkable
class CanPutSettings(Protocol):
    """put settings: changes the unit, takes a spent act."""

    async def put_settings(self, act: SpentAct, settings: Settings) -> None: ...


@runtime_checkable
class CanWrite(Protocol):
    """write: changes the unit, takes a spent act. Ends normally only when the unit itself said that the image is whole.

    Raises:
        Refused: as far as the unit says, nothing was erased.
        TransferCut: the unit may be half written.
        OutcomeUnknown: read the unit back.
    """

    def write(self, act: SpentAct, image: bytes) -> AsyncIterator[Progress]: ...


@runtime_checkable
class CanRestart(Protocol):
    """restart: takes the spent act of the write it belongs to. Returns when the unit answers again."""

    async def restart(self, act: SpentAct) -> None: ...


@runtime_checkable
class CanTest(Protocol):
    """self-test"""

    async def self_test(self) -> SelfTest: ...


@runtime_checkable
class CanTellSky(Protocol):
    """position"""

    async def sky(self) -> Sky: ...


@runtime_checkable
class CanProve(Protocol):
    """prove: answer whether this is one of the day's simulators; real instruments never can."""

    async def prove(self, nonce: str) -> Proof | None: ...


CAPABILITIES: Mapping[str, type] = {
    "identify": CanIdentify,
    "power": CanTellPower,
    "recordings": CanListRecordings,
    "fetch": CanFetch,
    "settings": CanTellSettings,
    "put settings": CanPutSettings,
    "write": CanWrite,
    "restart": CanRestart,
    "self-test": CanTest,
    "position": CanTellSky,
    "prove": CanProve,
}
"""Name -> Protocol. What a driver can do is derived from this, never declared."""


def capabilities(driver: object) -> tuple[str, ...]:
    """Return the names of the capabilities that this driver has."""
    return tuple(name for name, protocol in CAPABILITIES.items() if isinstance(driver, protocol))


class Journal(Protocol):
    """The append-only record of one bench."""

    async def append(self, drafts: Sequence[Draft], expect: Sequence[str] = ()) -> tuple[Entry, ...]:
        """Append all or none; return when they are committed and synced.

        Args:
            drafts: in order.
            expect: names that nobody may have claimed so far; they are claimed in the same transaction. The first
                answer to an item wins by this.

        Raises:
            AlreadyRecorded: one of the names was claimed before; nothing was appended.
            RecordFull: no room on the disk; nothing was appended.
        """
        ...

    def read(self, after: int = 0) -> tuple[Entry, ...]:
        """Return the entries of this bench with ``seq > after``, in order."""
        ...

    async def spend(self, permit: Permit, reading: Reading) -> SpentAct:
        """Check the permit against what the unit says now, record the intent, and only then hand out the act.

        Raises:
            PermitRefused: the permit does not allow it; the refusal is recorded.
        """
        ...

    async def close(self) -> None:
        """Finish what was handed in, then close and let go of the lock."""
        ...


class Incoming(Protocol):
    """A recording on its way into the archive; nothing is there until ``finish``."""

    async def add(self, data: bytes) -> None:
        """Take the next bytes.

        Raises:
            RecordFull: no room on the disk.
        """
        ...

    async def finish(self) -> str:
        """Sync, name by digest, re-read and compare; return the SHA-256 (64 hex digits).

        Raises:
            RecordFull, RecordDamaged
        """
        ...

    async def abandon(self) -> None:
        """Leave nothing behind."""
        ...


class Archive(Protocol):
    """Where preserved recordings are kept, by digest."""

    async def begin(self) -> Incoming:
        """Begin to take one file."""
        ...

    async def holds(self, sha256: str) -> bool:
        """Re-read the kept file and tell whether it is whole."""
        ...

    def room_bytes(self) -> int:
        """Free room where the archive is kept, in bytes."""
        ...


class Personal(Protocol):
    """Keeps what must be erasable beside the chain: contacts, a person's own words."""

    async def keep(self, text: str) -> str:
        """Keep a text and return its reference (an id and a salted digest), which may stand in entries."""
        ...

    async def look_up(self, reference: str) -> str | None:
        """Return the text; None if it was erased."""
        ...


class Images(Protocol):
    """The image store."""

    async def read(self, image: Image) -> bytes:
        """Read an image once; the same bytes are hashed, held and sent.

        Raises:
            InputError: the file is missing or cannot be read.
        """
        ...


@dataclass(frozen=True, slots=True)
class PcState:
    """How the bench PC stands; None where it cannot be told."""

    on_mains: bool | None
    battery_percent: int | None
    battery_minutes: int | None
    """How long its own battery would last."""
    clock_set: bool | None
    sleep_inhibited: bool | None = None
    """Whether it can be kept awake while a write runs."""


class BenchPc(Protocol):
    """The computer that the program runs on."""

    async def state(self) -> PcState:
        """Read power and clock."""
        ...

    def asleep_us(self) -> int | None:
        """Return how long it has slept since it was started, microseconds; None where that cannot be told."""
        ...

    def inhibit_sleep(self, why: str) -> AbstractAsyncContextManager[bool]:
        """Keep the computer awake while the context is open; yields whether that could be done."""
        ...


class OpenDriver(Protocol):
    """Opens the driver that a playbook names, on the unit plugged in at a station."""

    async def __call__(self, playbook: Playbook, unit: str, place: str | None, ask: AskHand) -> ServedBy:
        """Open the line to a unit.

        Args:
            playbook: says which driver, and how it is set.
            unit: serial as checked in.
            place: name of the cable or adapter that joins it; None where it has none.
            ask: how a missing capability asks a person.

        Raises:
            LinkError
        """
        ...


class ServedBy(
    CanIdentify,
    CanTellPower,
    CanListRecordings,
    CanFetch,
    CanTellSettings,
    CanWrite,
    CanRestart,
    CanTest,
    CanTellSky,
    Protocol,
):
    """An open driver with every capability: what the instrument cannot do, a person does."""

    by_hand: frozenset[str]
    """Names of the capabilities that a person fills in."""

    async def aclose(self) -> None:
        """Let go of the line."""
        ...


@dataclass(frozen=True, slots=True)
class Question:
    """What a missing capability wants of a person."""

    capability: str
    text: str
    wanted: tuple[Wanted, ...]
    figures: Mapping[str, int | str] = field(default_factory=dict)


AskHand = Callable[[Question], Awaitable[Mapping[str, str | int | bool | None]]]
"""Puts a question into the operators' queue and returns the evidence."""


class Desk(Protocol):
    """What a face sees of the running day, and what it can pass on."""

    @property
    def state(self) -> DayState:
        """The day as its entries tell it; read only."""
        ...

    def items(self) -> tuple[ItemState, ...]:
        """Return the open items in the order in which hands should take them."""
        ...

    async def changed(self) -> None:
        """Return when an entry has landed since the call."""
        ...

    async def answer(self, item: str, value: Mapping[str, Any], operator: str, by: str) -> None:
        """Answer an item; the first answer wins.

        Raises:
            InputError: the answer is not what is wanted, or the operator may not give it.
            AlreadyRecorded: somebody answered before.
        """
        ...


class Operators(Protocol):
    """A face at which people work: terminal, browser, pipe, demo."""

    async def serve(self, desk: Desk) -> None:
        """Show items and pass on answers until cancelled."""
        ...
