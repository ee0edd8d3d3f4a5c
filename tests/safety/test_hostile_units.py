"""A unit that lies, floods or talks nonsense is held, or served without what it said; the day goes on with others."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import replace
from typing import Any, cast

import pytest

from benchday.devices.completed import completed
from benchday.devices.drivers.by_hand import ByHandDriver
from benchday.domain.errors import Garbled, Refused
from benchday.domain.playbook import Playbook
from benchday.domain.readings import Identity, PowerReading, Progress, Recording, SelfTest, Settings, Sky
from benchday.domain.seams import AskHand, ServedBy
from benchday.domain.steps import State
from tests.bench import shop as shop_of_tests
from tests.bench.fake_unit import FakeDriver
from tests.bench.shop import Shop
from tests.safety.conftest import Stock
from tests.safety.hostile import MARKUP, PATHS, STEERS

HOSTILE, GOOD = "007421530018", "WS-41-00342"
WHOLE = b"r" * 90


@pytest.fixture(autouse=True)
def patience(monkeypatch: pytest.MonkeyPatch) -> None:
    """Give a busy computer time: whole days are run here, with long lists in them."""
    monkeypatch.setattr(shop_of_tests, "WITHIN_S", 300.0)


class Saying(FakeDriver):
    """A driver whose unit says something else than it should."""

    def __init__(self, driver: FakeDriver, says: dict[str, Any]) -> None:
        super().__init__(driver._unit)
        self._says = says

    async def _or(self, name: str, usual: Callable[[], Awaitable[Any]]) -> Any:
        told = await usual()
        change = self._says.get(name)
        return change(told) if callable(change) else told if change is None else change

    async def identify(self) -> Identity:
        return cast("Identity", await self._or("identify", super().identify))

    async def power(self) -> PowerReading:
        return cast("PowerReading", await self._or("power", super().power))

    async def recordings(self) -> tuple[Recording, ...]:
        return cast("tuple[Recording, ...]", await self._or("recordings", super().recordings))

    async def settings(self) -> Settings:
        return cast("Settings", await self._or("settings", super().settings))

    async def self_test(self) -> SelfTest:
        return cast("SelfTest", await self._or("self_test", super().self_test))

    async def sky(self) -> Sky:
        return cast("Sky", await self._or("sky", super().sky))

    async def fetch(self, recording: Recording, sink: Callable[[bytes], Awaitable[None]]) -> AsyncIterator[Progress]:
        for piece in self._says.get("fetch", (self._unit.recordings.get(recording.name, WHOLE),)):
            await sink(piece)
            yield Progress(0, recording.bytes, "fetching")


class HostileShop(Shop):
    """Serves one hostile unit beside a good one, each behind what stands before every driver."""

    says: dict[str, Any]

    async def _open(self, playbook: Playbook, unit: str, place: str | None, ask: AskHand) -> ServedBy:
        driver = cast("FakeDriver", await super()._open(playbook, unit, place, ask))
        told = Saying(driver, self.says) if unit == HOSTILE else driver
        return cast("ServedBy", completed(told, ByHandDriver(cast("Any", ask))))


def hostile_shop(stock: Stock) -> HostileShop:
    """Make a shop of what is in stock."""
    usual = stock.shop()
    return HostileShop(usual.plan, usual.store.files)


async def served(stock: Stock, **says: Any) -> HostileShop:
    """Run a whole day with both units; return the shop, and see that the good one was served."""
    shop = hostile_shop(stock)
    shop.only(HOSTILE, GOOD, crew="")
    shop.says = says
    shop.people.answers |= {"line": None, "interrupted": {"answer": "leave held"}, f"recording {MARKUP}": None}
    day = await shop.whole_day()
    assert day.unit(GOOD).writes == ["2.10"]
    assert day.unit(GOOD).state is State.HANDED_BACK
    return shop


def state_of(shop: Shop, unit: str = HOSTILE) -> tuple[str, list[str]]:
    """Return whether a unit is held, and the reasons."""
    return ("held" if shop.entries("unit_held", unit) else "served"), [
        f["reason"] for f in shop.facts("unit_held", unit)
    ]


NO_READING: list[tuple[str, Any]] = [
    ("identify", lambda who: replace(who, hardware="\ud800")),
    ("identify", lambda who: replace(who, model="m" * 100_000)),
    ("identify", lambda who: replace(who, options=("o",) * 100_000)),
    ("power", lambda had: replace(had, full_mwh=10**20)),
    ("power", lambda had: replace(had, voltage_mv=-(10**5000))),
    ("recordings", (Recording("a", 10**20),)),
    ("recordings", (Recording("\udcff", 5),)),
    ("recordings", (Recording("a", 90), Recording("a", 90))),
    ("recordings", tuple(Recording(str(n), 1) for n in range(20_000))),
    ("settings", Settings({"a": "\ud800"})),
    ("settings", Settings({str(n): "v" for n in range(20_000)})),
    ("self_test", SelfTest(False, "\ud800" * 10)),
    ("sky", Sky("fixed", "\ud800", 5)),
]


@pytest.mark.asyncio
@pytest.mark.parametrize(("what", "said"), NO_READING, ids=range(len(NO_READING)))
async def test_what_no_entry_could_hold_holds_the_unit_and_not_the_day(stock: Stock, what: str, said: Any) -> None:
    """Beyond every number, no text, without end, two of one name: not believed, and told so that it can be shown."""
    shop = await served(stock, **{what: said})
    how, reasons = state_of(shop)
    assert how == "held"
    for reason in reasons:
        assert reason.isprintable()
        assert len(reason) < 3_000


@pytest.mark.asyncio
@pytest.mark.parametrize("term", ["31.01.2099", "unlimited", "zzzz", "9999", STEERS[0]])
async def test_a_support_term_that_is_no_date_allows_nothing(stock: Stock, term: str) -> None:
    """Dates are compared as written; other words would come after every day. It counts as not told, and is told of."""
    shop = await served(stock, identify=lambda who: replace(who, term=term))
    assert [f["term"] for f in shop.facts("unit_identified", HOSTILE)][:1] == [None]
    found = [f for checked in shop.facts("checked", HOSTILE) for f in checked["findings"]]
    assert any(f["check"] == "support term" and "is no date" in f["text"] for f in found)


@pytest.mark.asyncio
async def test_names_of_recordings_are_names_and_never_paths(stock: Stock) -> None:
    """Traversal, absolute, reserved, long, alike but for case or spelling: each is copied, and kept by its digest."""
    names = [*PATHS, *STEERS, MARKUP]
    data = {name: name.encode() * 3 for name in names}
    listed = tuple(Recording(n, len(d), hashlib.sha256(d).hexdigest()) for n, d in data.items())

    shop = hostile_shop(stock)
    shop.only(HOSTILE, crew="")
    shop.units[HOSTILE].recordings = data
    shop.says = {}
    day = await shop.whole_day()
    assert day.unit(HOSTILE).state is State.HANDED_BACK
    kept = {f["name"]: f["sha256"] for f in shop.facts("recording_preserved", HOSTILE)}
    assert kept == {recording.name: recording.sha256 for recording in listed}


@pytest.mark.asyncio
@pytest.mark.parametrize("pieces", [(WHOLE, b"x"), (b"x" * 10_000_000,), (WHOLE[:-1],), ()])
async def test_a_recording_is_as_long_as_the_unit_lists_it(stock: Stock, pieces: tuple[bytes, ...]) -> None:
    """More is not taken, so that no unit fills the disk; less is no copy. Nothing is erased."""
    shop = hostile_shop(stock)
    shop.only(HOSTILE, crew="")
    shop.says = {"recordings": (Recording("SITE1.rnx", 90),), "fetch": pieces}
    shop.people.answers["recording SITE1.rnx"] = {"answer": "hold"}
    day = await shop.whole_day()
    assert day.unit(HOSTILE).held_code == "recordings"
    assert "that the unit lists" in (day.unit(HOSTILE).held_reason or "")
    assert shop.entries("recording_preserved") == shop.entries("permit_given") == []


@pytest.mark.asyncio
@pytest.mark.parametrize("what", ["identify", "power", "recordings", "settings"])
async def test_words_of_a_refusal_neither_steer_nor_go_on_without_end(stock: Stock, what: str) -> None:
    """They become the reason of a hold: printable, bounded; and a unit that goes on so does not go on for ever."""

    def refuse(_: object) -> None:
        raise Refused(what, STEERS[0] * 1000, "\ud800" + STEERS[4] * 100_000)

    shop = await served(stock, **{what: refuse})
    how, reasons = state_of(shop)
    assert how == "held"
    assert all(reason.isprintable() and len(reason) < 10_000 for reason in reasons)
    assert len(shop.journal.read()) < 500


@pytest.mark.asyncio
async def test_a_unit_that_never_reads_right_is_given_up(stock: Stock) -> None:
    """So many times it is identified anew, and no more: the journal is not a unit's to fill."""

    def garbled(_: object) -> None:
        raise Garbled("noise")

    shop = await served(stock, power=garbled)
    assert state_of(shop)[0] == "held"
    steps = [f["step"] for f in shop.facts("step_begun", HOSTILE)]
    assert steps.count("identify") <= 6
