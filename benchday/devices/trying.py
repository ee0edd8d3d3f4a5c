"""Trying a driver on a unit: everything that reads, nothing that changes it."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncGenerator, Awaitable, Callable, Iterator
from contextlib import aclosing
from dataclasses import dataclass

import anyio

from benchday.devices.transfer import Monotonic, monotonic_us
from benchday.domain.clean import clean
from benchday.domain.errors import DeviceError, InputError, LinkSilent
from benchday.domain.readings import Identity, PowerReading, Recording, SelfTest, Settings, Sky
from benchday.domain.recordable import recordable
from benchday.domain.seams import (
    CAPABILITIES,
    CanFetch,
    CanIdentify,
    CanListRecordings,
    CanTellPower,
    CanTellSettings,
    CanTellSky,
    CanTest,
    capabilities,
)

WORKS, FAILS, LEFT_OUT, BY_HAND = "works", "fails", "left out", "by hand"
CHANGING = ("put settings", "write", "restart")
AT_MOST_S = 600.0
"""For one capability, a whole recording fetched included (seconds)."""


@dataclass(frozen=True, slots=True)
class Field:
    """Something that came out."""

    name: str
    value: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Tried:
    """What became of one capability."""

    capability: str
    outcome: str
    """works, fails, left out, or by hand: not declared."""
    words: str = ""
    """Why it fails, or was left out."""
    fields: tuple[Field, ...] = ()
    took_us: int = 0


class Trial:
    """One driver, tried capability by capability."""

    def __init__(self, driver: object, *, self_test: bool, clock: Monotonic = monotonic_us) -> None:
        """Prepare.

        Args:
            driver: open on a unit.
            self_test: whether the unit's own test is known to change and move nothing.
            clock: monotonic microseconds.
        """
        self._driver, self._self_test, self._clock = driver, self_test, clock
        self._listed: tuple[Recording, ...] = ()
        self._silent = False
        self._ways: dict[str, Callable[[], Awaitable[tuple[Field, ...]]]] = {
            "identify": self._identify,
            "power": self._power,
            "recordings": self._recordings,
            "fetch": self._fetch,
            "settings": self._settings,
            "self-test": self._test,
            "position": self._sky,
        }

    async def run(self) -> AsyncGenerator[Tried]:
        """Try each capability and yield what became of it; when nothing answers, the others are not tried."""
        for name in CAPABILITIES:
            left_out = self._left_out(name)
            yield left_out if left_out is not None else await self._try(name)

    def _left_out(self, name: str) -> Tried | None:
        if name == "prove":
            return Tried(name, LEFT_OUT, "simulated units only")
        if name not in capabilities(self._driver):
            return Tried(name, BY_HAND, "not declared; a person fills it in")
        if name in CHANGING:
            return Tried(name, LEFT_OUT, "changes the unit; it takes a permit")
        if name == "self-test" and not self._self_test:
            return Tried(name, LEFT_OUT, "it may move, transmit or change something")
        if name == "fetch" and not self._listed:
            return Tried(name, LEFT_OUT, "no recording is listed")
        return Tried(name, LEFT_OUT, "nothing answers") if self._silent else None

    async def _try(self, name: str) -> Tried:
        began_us = self._clock()
        fields: tuple[Field, ...] = ()
        words = ""
        try:
            with anyio.fail_after(AT_MOST_S):
                fields = await self._ways[name]()
        except (DeviceError, InputError) as error:
            words = clean(str(error))
            self._silent = self._silent or (name == "identify" and isinstance(error, LinkSilent))
        except TimeoutError:
            words = f"not done in {AT_MOST_S:g} s"
        return Tried(name, FAILS if words else WORKS, words, fields, self._clock() - began_us)

    async def _identify(self) -> tuple[Field, ...]:
        assert isinstance(self._driver, CanIdentify)  # noqa: S101  # asked for what it has
        return tuple(_of_identity(recordable(await self._driver.identify())))

    async def _power(self) -> tuple[Field, ...]:
        assert isinstance(self._driver, CanTellPower)  # noqa: S101
        return tuple(_of_power(recordable(await self._driver.power())))

    async def _recordings(self) -> tuple[Field, ...]:
        assert isinstance(self._driver, CanListRecordings)  # noqa: S101
        self._listed = recordable(await self._driver.recordings())
        count = Field("recordings", str(len(self._listed)))
        return (count, *(Field(clean(r.name), str(r.bytes), "bytes") for r in self._listed[:20]))

    async def _fetch(self) -> tuple[Field, ...]:
        assert isinstance(self._driver, CanFetch)  # noqa: S101
        recording, digest, count = self._listed[0], hashlib.sha256(), 0

        async def sink(piece: bytes) -> None:
            nonlocal count
            digest.update(piece)
            count += len(piece)

        progress = self._driver.fetch(recording, sink)
        async with aclosing(progress) as fetching:  # type: ignore[type-var]  # every driver's is a generator
            async for _ in fetching:
                pass
        named = Field("recording", clean(recording.name))
        return (named, Field("fetched and thrown away", str(count), "bytes"), Field("sha256", digest.hexdigest()))

    async def _settings(self) -> tuple[Field, ...]:
        assert isinstance(self._driver, CanTellSettings)  # noqa: S101
        return tuple(_of_settings(recordable(await self._driver.settings())))

    async def _test(self) -> tuple[Field, ...]:
        assert isinstance(self._driver, CanTest)  # noqa: S101
        return tuple(_of_test(recordable(await self._driver.self_test())))

    async def _sky(self) -> tuple[Field, ...]:
        assert isinstance(self._driver, CanTellSky)  # noqa: S101
        return tuple(_of_sky(recordable(await self._driver.sky())))


def _of_identity(who: Identity) -> Iterator[Field]:
    yield Field("serial", clean(who.serial))
    yield Field("model", clean(who.model))
    yield Field("hardware", clean(who.hardware) or "not told")
    yield Field("mode", who.mode.value)
    yield Field("release", clean(who.release or "none"))
    yield Field("options", clean(", ".join(who.options)) or "none")
    yield Field("support term", clean(who.term or "not told"))


def _of_power(told: PowerReading) -> Iterator[Field]:
    figures = (
        ("charge", told.charge_percent, "%"),
        ("greatest error", told.max_error_percent, "%"),
        ("full pack", told.full_mwh, "mWh"),
        ("voltage", told.voltage_mv, "mV"),
        ("current", told.current_ma, "mA"),
    )
    yield from (Field(name, str(figure), unit) for name, figure, unit in figures if figure is not None)
    if told.temperature_dk is not None:
        hundredths = told.temperature_dk * 10 - 27_315
        celsius = f"{'-' if hundredths < 0 else ''}{abs(hundredths) // 100}.{abs(hundredths) % 100:02d}"
        yield Field("temperature", f"{told.temperature_dk} tenths of a kelvin, {celsius}", "degrees Celsius")
    yield Field("external power", "yes" if told.external else "no")


def _of_settings(told: Settings) -> Iterator[Field]:
    yield Field("settings", str(len(told.values)))
    yield from (Field(clean(name), clean(value)) for name, value in list(told.values.items())[:40])


def _of_test(told: SelfTest) -> Iterator[Field]:
    yield Field("result", "pass" if told.passed else "fail")
    if told.words:
        yield Field("words", clean(told.words))


def _of_sky(told: Sky) -> Iterator[Field]:
    yield Field("fix", told.fix)
    yield Field("base", clean(told.base or "none heard"))
    yield Field("satellites", str(told.satellites))
    for name, e7 in (("latitude", told.latitude_e7), ("longitude", told.longitude_e7)):
        if e7 is not None:
            sign, whole = "-" if e7 < 0 else "", abs(e7)
            yield Field(name, f"{sign}{whole // 10_000_000}.{whole % 10_000_000:07d}", "degrees")
    if told.height_mm is not None:
        yield Field("height above the ellipsoid", f"{told.height_mm / 1000:.3f}", "m")
