"""What follows when something befalls a unit: guided recovery, the line's stop, and the end of the attempts."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from benchday.domain.account import account
from benchday.domain.errors import (
    AnotherUnit,
    CertificateChanged,
    DeviceError,
    InputError,
    LinkGone,
    LinkSilent,
    OutcomeUnknown,
    Refused,
    TransferCut,
)
from benchday.domain.limits import Limits
from benchday.domain.readings import Mode, SelfTest
from benchday.domain.recovery import MOST_IN_VAIN, MOST_LOOKS, PAUSE_S
from benchday.domain.steps import State
from benchday.domain.telling.log import about, tell
from tests.bench.fake_unit import SILENT, FakeDriver, FakeUnit
from tests.bench.people import read_off
from tests.bench.shop import INES, MINUTE_US, TOBIAS, OpenDay, Shop

pytestmark = pytest.mark.asyncio
UNIT, OTHER = "007421530018", "007421530508"
LINE = ("Millrace", "2.10")
CUT = TransferCut("the line vanished while the image was sent", 200)
IMPATIENT = Limits(0.05, 0.05, 0.05, 0.05, 5, times_longest=0)


def one(shop: Shop) -> FakeUnit:
    """Expect one unit; nobody lifts its line unasked."""
    shop.only(UNIT)
    shop.people.answers["line"] = None
    return shop.units[UNIT]


def writes(unit: FakeUnit) -> list[str]:
    """Return the permits under which it was written."""
    return [permit for what, permit in unit.reaches if what == "write"]


async def held(day: OpenDay) -> None:
    """Return once the unit is held and everybody waits."""
    await day.until_state(UNIT, State.HELD)
    await day.settled()


# The guided recovery.


@pytest.mark.parametrize(
    ("shows", "settled", "written"),
    [
        ((Mode.RUN, "2.10"), "written", 1),
        ((Mode.RUN, "2.9"), "untouched", 2),
        ((Mode.RUN, "2.6"), "other", 2),
        ((Mode.BOOT, "2.9"), "broken", 2),
    ],
)
async def test_what_answers_after_a_cut_says_what_follows(
    shop: Shop, shows: tuple[Mode, str], settled: str, written: int
) -> None:
    """The image that went in after all is verified and not written again; anything else needs a new permit."""
    unit = one(shop)
    unit.befalls["write"] = [CUT]
    shop.people.answers["interrupted"] = None
    async with shop.running() as day:
        await day.item("interrupted", UNIT)
        unit.mode, unit.release = shows
        await day.answer("interrupted", UNIT, answer="identify anew")
        await day.until(lambda: bool(shop.entries("interrupt_settled", UNIT)))
        await day.settled()
        assert len(writes(unit)) == 1, "nothing is written again before a person has confirmed"
        await day.answer("line Millrace 2.10", answer="lift", reason="looked into")
        await day.until_state(UNIT, State.HANDED_BACK)
    assert [f["found"] for f in shop.facts("interrupt_settled", UNIT)] == [settled]
    assert len(set(writes(unit))) == written
    assert day.unit(UNIT).permits == written
    assert day.unit(UNIT).writes == ["2.10"]
    assert shop.facts("unit_verified", UNIT)[-1]["self_test"] == "passed"


async def test_the_act_of_the_write_that_was_cut_is_not_used_again(shop: Shop) -> None:
    unit = one(shop)
    unit.befalls["write"] = [CUT]
    shop.people.answers["line"] = {"answer": "lift", "reason": "looked into"}
    await shop.whole_day()
    acts = [(f["permit"], f["act"]) for f in shop.facts("act_spent", UNIT)]
    assert len(acts) == len(set(acts)) == 2
    assert len({f["permit"]["nonce"] for f in shop.facts("permit_given", UNIT)}) == 2


async def test_each_trouble_is_an_entry_with_what_was_heard_and_what_follows(shop: Shop) -> None:
    unit = one(shop)
    unit.befalls["power"] = [LinkGone("the cable came off")]
    unit.befalls["write"] = [CUT]
    async with shop.running() as day:
        await day.until(lambda: len(shop.entries("trouble_met", UNIT)) >= 2)
    first, second = shop.facts("trouble_met", UNIT)[:2]
    assert (first["stage"], first["happening"], first["follows"]) == ("check", "line gone", "looked at anew")
    assert first["said"] == "the cable came off"
    assert shop.paused_s == PAUSE_S, "what rejoins a network gets the time to"
    assert (second["stage"], second["happening"], second["follows"]) == ("write", "transfer cut", "held")
    assert "cut short" in second["customer"]


async def test_another_unit_where_it_was_is_held_at_once(shop: Shop) -> None:
    """After the restart nothing more is asked of what answers."""
    unit = one(shop)
    unit.befalls["restart"] = [AnotherUnit(f"where unit {UNIT} was, unit 1 answers now: was it swapped?")]
    shop.people.answers["interrupted"] = None
    async with shop.running() as day:
        await held(day)
        story = day.unit(UNIT)
        assert (story.held_code, story.station) == ("identity", "S1")
        assert "after the write" in (story.held_reason or "")
        assert LINE in day.state.lines_stopped
    assert unit.calls[-1] == "restart"


async def test_another_serial_at_the_verify_is_held_at_once(shop: Shop) -> None:
    unit = one(shop)
    unit.happens["restart"] = lambda: setattr(unit, "serial", "007421530019")
    shop.people.answers["interrupted"] = None
    async with shop.running() as day:
        await held(day)
        story = day.unit(UNIT)
        assert story.held_code == "identity"
        assert "the unit now says it is 007421530019" in (story.held_reason or "")
        assert LINE in day.state.lines_stopped
    assert unit.calls[-1] == "identify", "neither its settings nor its test were asked for"
    assert [f["when"] for f in shop.facts("settings_saved", UNIT)] == ["before"]


async def test_a_certificate_that_changed_holds_with_the_fingerprints(shop: Shop) -> None:
    """It is no silence: nobody is sent to the cable."""
    unit = one(shop)
    unit.befalls["open"] = [CertificateChanged("the page shows another certificate", "ab" * 32, "cd" * 32)]
    day = await shop.whole_day()
    story = day.unit(UNIT)
    assert story.held_code == "certificate"
    assert "ab" * 32 in (story.held_reason or "")
    assert "cd" * 32 in (story.held_reason or "")
    assert not [f for f in shop.facts("item_asked", UNIT) if f["item"]["topic"] == "silence"]


# A unit that cannot be recovered.


async def test_a_certificate_that_changes_at_the_restart_is_confirmed_and_the_unit_verified(shop: Shop) -> None:
    """The image went in whole, and that is what is said; both fingerprints are shown, and a person's word is needed."""
    unit = one(shop)
    now, before = "b" * 64, "a" * 64
    changed = CertificateChanged("the page shows another certificate", now, before)
    unit.happens["restart"] = unit.start
    unit.befalls["restart"], unit.befalls["identify"] = [changed], [None, None, changed]
    shop.people.answers |= {"certificate": None, "line": None}
    trusted: list[tuple[str, str]] = []
    async with shop.running() as day:
        day.tools.trust = lambda *kept: trusted.append(kept)
        asked = await day.item("certificate", UNIT)
        for words in ("the image went in whole", now, before):
            assert words in asked.item.text
        assert "cut short" not in asked.item.text
        assert "does not answer" not in asked.item.text
        assert "cut short" not in day.state.lines_stopped[LINE]
        await day.answer("certificate", UNIT, answer="certificate confirmed")
        await day.until(lambda: bool(day.items("certificate")) and day.items("certificate")[0] is not asked)
        assert trusted == [], "nobody was named"
        await day.answer("certificate", UNIT, answer="certificate confirmed", reason="Maren Oakhurst, by telephone")
        await day.until_state(UNIT, State.HANDED_BACK)
    assert trusted == [(UNIT, now)]
    assert day.unit(UNIT).writes == ["2.10"]
    assert len(writes(unit)) == 1


async def test_one_that_starts_again_and_again_is_held_as_not_recovered(shop: Shop) -> None:
    """It says who it is, and falls silent before it can be verified, each time; nobody is asked for ever."""
    unit = one(shop)
    unit.befalls["settings"] = [None, *[SILENT] * 99]
    shop.people.answers["interrupted"] = _leave_once_not_recovered
    async with shop.running() as day:
        await day.until(lambda: day.unit(UNIT).held_code == "not recovered")
        story = day.unit(UNIT)
        assert f"it was looked at {MOST_IN_VAIN} times" in (story.held_reason or "")
        assert "the image went in whole" in (story.held_reason or "")
        assert "cut short" not in (story.held_reason or "")
        assert story.station == "S1"
        asked = await day.item("interrupted", UNIT)
        assert "Look whether it still shows power" in asked.item.text
        assert not day.items("set aside")
    assert len(writes(unit)) == 1


def _leave_once_not_recovered(desk: Any, asked: Any) -> dict[str, Any] | None:
    story = desk.state.units[asked.item.unit]
    return None if story.held_code == "not recovered" else {"answer": "identify anew"}


async def not_recovered(shop: Shop) -> FakeUnit:
    """Let a unit stay silent once its write was cut."""
    unit = one(shop)
    unit.recordings = {"A.rnx": b"a" * 50}

    def silenced(*_: object) -> dict[str, str]:
        unit.befalls["open"] = [SILENT] * 20
        return {"answer": "identify anew"} if looks.pop() else {"answer": "hand back as it is"}

    looks = [False, *[True] * MOST_LOOKS]
    unit.befalls["write"] = [CUT]
    shop.people.answers["interrupted"] = silenced
    return unit


async def test_silent_however_often_it_is_looked_at_it_goes_back_with_an_account(shop: Shop) -> None:
    unit = await not_recovered(shop)
    async with shop.running() as day, day.time_passing():
        await day.until(lambda: day.unit(UNIT).taken)
        with pytest.raises(InputError, match="was taken away as it is"):
            await day.desk.lift(UNIT, "again", INES)
    story = day.unit(UNIT)
    assert [f["code"] for f in shop.facts("unit_held", UNIT)] == [*["interrupted"] * MOST_LOOKS, "not recovered"]
    assert (story.state, story.outcome, story.present, story.station) == (State.HELD, "held", False, None)
    assert story.held_reason == "not recovered, it goes back as it is: its maker's service is asked"
    (ended,) = shop.entries("attempts_ended", UNIT)
    assert (ended.operator, ended.facts["reason"]) == (INES, "its maker's service is asked")
    told = "\n".join(ended.facts["account"])
    assert ended.facts["account"] == list(account(story, shop.plan.zone, shop.plan.bench.bench))
    for words in (
        "the write of 2.10 was cut short", "could not be recovered here", "it ran 2.9", "A.rnx (50 bytes)",
        "Not lost: the 1 recordings", "its 1 settings as they were at", "Do not use it",
        "Next: it goes back as it is (its maker's service is asked)", f"Ask: {INES} at bench", f"naming unit {UNIT}",
    ):  # fmt: skip
        assert words in told
    asked = [f["item"] for f in shop.facts("item_asked", UNIT)]
    shown = next(i["text"] for i in asked if i["topic"] == "as it is")
    assert "\n".join(ended.facts["account"][:4]) in shown
    assert "Next: it goes back as it is; its maker's service can look at it." in shown
    assert told in next(i["text"] for i in asked if i["topic"] == "hand back as it is")
    assert "mark it NOT FOR USE" in next(i["text"] for i in asked if i["topic"] == "set aside")
    assert len(writes(unit)) == 1


async def test_the_attempts_end_only_with_a_reason_of_somebody_who_may_confirm(shop: Shop) -> None:
    unit = one(shop)
    unit.befalls["write"] = [CUT]
    shop.people.answers |= {"interrupted": None, "as it is": None}
    async with shop.running() as day:
        await day.answer("interrupted", UNIT, answer="hand back as it is")
        await day.item("as it is", UNIT)
        with pytest.raises(InputError, match="may not"):
            await day.answer("as it is", UNIT, who=TOBIAS, answer="hand back as it is", reason="enough")
        with pytest.raises(InputError, match="why: a value is needed"):
            await day.answer("as it is", UNIT, answer="hand back as it is")
        await day.answer("as it is", UNIT, answer="go on trying", reason="there is time")
        await day.answer("interrupted", UNIT, answer="identify anew")
        await day.until(lambda: bool(shop.entries("interrupt_settled", UNIT)))
    assert shop.entries("attempts_ended") == []


async def test_the_account_stands_at_the_head_of_its_log(shop: Shop) -> None:
    await not_recovered(shop)
    async with shop.running() as day, day.time_passing():
        await day.until(lambda: day.unit(UNIT).taken)
    log = tell(about(shop.journal.read(), UNIT), lambda _: "the crew", UNIT, simulated=False)
    told = [value for label, value in log.head if label == "account"]
    assert told == list(account(day.unit(UNIT), shop.plan.zone, shop.plan.bench.bench))
    lines = [line.text for chapter in log.chapters for line in chapter.lines]
    assert "the attempts end, the unit goes back as it is: its maker's service is asked" in lines
    assert "taken as it is, NOT SERVED, by the crew" in lines


async def test_killed_before_it_is_taken_it_is_still_to_be_handed_back(shop: Shop) -> None:
    """What was decided stands in the record; nobody is asked about it again."""
    await not_recovered(shop)
    shop.people.answers["set aside"] = None
    async with shop.running() as day, day.time_passing():
        await day.item("set aside", UNIT)
    shop.people.answers.pop("set aside")
    async with shop.running() as day, day.time_passing():
        await day.until(lambda: day.unit(UNIT).taken)
    assert len(shop.entries("attempts_ended", UNIT)) == 1


async def test_a_second_whole_image_that_leaves_only_the_boot_loader_is_the_end(shop: Shop) -> None:
    unit = one(shop)
    shop.people.answers |= {"line": {"answer": "lift", "reason": "looked into"}, "interrupted": None}

    def boots() -> None:
        unit.mode = Mode.BOOT

    unit.happens["restart"] = boots
    async with shop.running() as day:
        await held(day)
        assert day.unit(UNIT).held_code == "verify"
        assert day.unit(UNIT).station == "S1", "it has no release that starts: it stays connected"
        unit.happens["restart"] = boots
        await day.answer("interrupted", UNIT, answer="identify anew")
        await day.until(lambda: len(shop.entries("unit_held", UNIT)) == 2)
        await day.settled()
        assert day.unit(UNIT).held_code == "not recovered"
        assert "with no valid release, after a second whole image" in (day.unit(UNIT).held_reason or "")
    assert len(set(writes(unit))) == 2


async def test_a_boot_loader_that_refuses_the_image_is_the_end(shop: Shop) -> None:
    unit = one(shop)
    unit.befalls["write"] = [CUT]
    unit.befalls["before write"] = [None, Refused("image", "hardware", "not for this board")]
    shop.people.answers["line"] = {"answer": "lift", "reason": "looked into"}
    answers = iter([{"answer": "identify anew"}])
    shop.people.answers["interrupted"] = lambda *_: next(answers, None)
    async with shop.running() as day:
        await day.until(lambda: len(shop.entries("unit_held", UNIT)) == 2)
        await day.settled()
        story = day.unit(UNIT)
        assert (story.held_code, story.station) == ("not recovered", "S1")
        assert "not for this board" in (story.held_reason or "")
    assert [f["outcome"] for f in shop.facts("act_ended", UNIT)] == ["cut", "refused"]
    assert len(shop.entries("line_stopped")) == 2


async def test_a_half_written_unit_that_goes_silent_at_a_check_stays_connected(shop: Shop) -> None:
    """Read back it was broken; that is not forgotten when its line fails later."""
    unit = one(shop)
    unit.befalls["write"] = [CUT]
    answers = iter([{"answer": "identify anew"}])
    shop.people.answers["interrupted"] = lambda *_: next(answers, None)

    def gone() -> None:
        unit.befalls["open"] = [SILENT] * 20
        unit.befalls["power"] = [LinkGone("the cable came off")]

    async with shop.running() as day:
        await day.item("interrupted", UNIT)
        unit.happens["identify"] = gone
        await day.until(lambda: len(shop.entries("unit_held", UNIT)) == 2)
        await day.settled()
        assert (day.unit(UNIT).held_code, day.unit(UNIT).station) == ("interrupted", "S1")
        assert not day.items("set aside")


# The line stops, on every path into it.


def _shows(unit: FakeUnit, **what: Any) -> Callable[[], None]:
    def change() -> None:
        for name, value in what.items():
            setattr(unit, name, value)

    return change


def _lose_term(unit: FakeUnit) -> None:
    unit.term, unit.term_after = "2027-04-30", "2000-01-01"


def _forget(unit: FakeUnit, name: str) -> Callable[[], None]:
    def forget() -> None:
        unit.recordings.pop(name)

    return forget


PATHS: dict[str, Callable[[FakeUnit], None]] = {
    "cut": lambda u: u.befalls["write"].append(CUT),
    "line gone": lambda u: u.befalls["write"].append(LinkGone("the cable came off")),
    "outcome unknown": lambda u: u.befalls["after write"].append(OutcomeUnknown("no last acknowledgement")),
    "driver failed": lambda u: u.befalls["write"].append(DeviceError("the driver failed")),
    "hangs in the write": lambda u: u.hangs.add("write"),
    "does not come back": lambda u: u.befalls["restart"].append(LinkSilent("nothing came")),
    "hangs in the restart": lambda u: u.hangs.add("restart"),
    "refuses the restart": lambda u: u.befalls["restart"].append(Refused("restart", "busy")),
    "old release": lambda u: setattr(u, "releases", dict.fromkeys(u.releases, "2.9")),
    "another release": lambda u: setattr(u, "releases", dict.fromkeys(u.releases, "2.6")),
    "boot loader": lambda u: u.happens.update({"restart": _shows(u, mode=Mode.BOOT)}),
    "another serial": lambda u: u.happens.update({"restart": _shows(u, serial="1")}),
    "settings": lambda u: u.happens.update({"restart": _shows(u, settings={"frequency_khz": "1"})}),
    "term": _lose_term,
}


@pytest.mark.parametrize("path", PATHS)
async def test_every_cut_write_and_every_failed_verify_stops_the_line(shop: Shop, path: str) -> None:
    shop.only(UNIT, OTHER)
    shop.limits = IMPATIENT
    shop.people.answers |= {"line": None, "interrupted": None, "settings lost": None, "set aside": None}
    PATHS[path](shop.units[UNIT])
    async with shop.running() as day:
        await day.item("line Millrace 2.10")
        await held(day)
        assert LINE in day.state.lines_stopped
        assert UNIT in day.state.lines_stopped[LINE]
        assert day.desk.waiting_reasons() == {OTHER: "the line Millrace 2.10 is stopped"}
        assert len(shop.entries("line_stopped")) == 1
        with pytest.raises(InputError, match="a value is needed"):
            await day.answer("line Millrace 2.10", answer="lift")
        with pytest.raises(InputError, match="may not"):
            await day.answer("line Millrace 2.10", who=TOBIAS, answer="lift", reason="looks good")
        await day.answer("line Millrace 2.10", answer="lift", reason="this one unit's fault")
        await day.until_state(OTHER, State.HANDED_BACK)
    assert day.unit(OTHER).writes == ["2.10"]


async def test_a_failed_self_test_stops_the_line(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    one(shop)

    async def fails(_: FakeDriver) -> SelfTest:
        return SelfTest(False, "radio")

    monkeypatch.setattr(FakeDriver, "self_test", fails)
    async with shop.running() as day:
        await held(day)
        assert LINE in day.state.lines_stopped
        assert "the self-test failed: radio" in (day.unit(UNIT).held_reason or "")


@pytest.mark.parametrize("where", ["write", "restart"])
async def test_a_program_that_ends_in_a_write_stops_the_line(shop: Shop, where: str) -> None:
    unit = one(shop)
    shop.people.answers["interrupted"] = None
    unit.hangs.add(where)
    async with shop.running() as day:
        await day.until(lambda: where in unit.calls)
    async with shop.running() as day:
        await day.item("interrupted", UNIT)
        await day.settled()
        assert LINE in day.state.lines_stopped
        assert [f["happening"] for f in shop.facts("trouble_met", UNIT)] == ["program ended"]
    assert len(writes(unit)) == 1


async def test_writes_that_run_finish_when_the_line_stops(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    shop.policy(first_off=False)
    shop.people.answers |= {"line": None, "interrupted": None}
    for serial in (UNIT, OTHER):
        shop.units[serial].befalls["write"] = [CUT] if serial == UNIT else []
    async with shop.running() as day:
        await day.begun_writing(UNIT, OTHER)
        day.go_on_writing(UNIT)
        await day.until_state(UNIT, State.HELD)
        assert LINE in day.state.lines_stopped
        day.go_on_writing(OTHER)
        await day.until_state(OTHER, State.READY, State.HANDED_BACK)
    assert day.unit(OTHER).writes == ["2.10"]


# Recordings that vanish, settings that are lost.


async def test_recordings_that_vanish_are_a_finding_that_stops_with_names_and_sizes(shop: Shop) -> None:
    unit = one(shop)
    unit.recordings = {"A.rnx": b"a" * 50, "B.rnx": b"b" * 70}
    unit.happens["fetch"] = _forget(unit, "B.rnx")
    shop.people.answers["recording"] = None
    day = await shop.whole_day()
    assert day.unit(UNIT).held_code == "recordings"
    stops = [f for f in shop.facts("checked", UNIT)[-1]["findings"] if f["answer"] == "stop"]
    assert [(f["check"], f["figures"]) for f in stops] == [("recordings", {"gone": 1, "gone_bytes": 70})]
    assert "B.rnx (70 bytes)" in (day.unit(UNIT).held_reason or "")
    assert "A.rnx" not in (day.unit(UNIT).held_reason or ""), "it was copied whole"
    assert unit.reaches == []


async def test_a_recording_that_vanishes_while_the_unit_is_held_is_found_at_the_next_list(shop: Shop) -> None:
    """Nothing is written over what nobody has; once a person has found out, the unit goes on."""
    shop.only(UNIT, OTHER)
    shop.somebody_is_awaited(OTHER)
    unit = shop.units[UNIT]
    unit.recordings = {"A.rnx": b"a" * 50}
    unit.befalls["fetch"] = [Refused("fetch A.rnx", "busy")] * 9
    async with shop.running() as day:
        await day.until(lambda: day.unit(UNIT).state is State.HELD and day.unit(UNIT).station is None)
        unit.recordings.clear()
        await day.desk.lift(UNIT, "copied by the crew", INES)
        await day.until(lambda: len(shop.entries("unit_held", UNIT)) == 2)
        assert "A.rnx (50 bytes)" in (day.unit(UNIT).held_reason or "")
        await day.until(lambda: day.unit(UNIT).station is None)
        # A person who lifts it does not let go what is not theirs: its owner is asked, by name.
        shop.people.answers["recordings gone"] = None
        await day.desk.lift(UNIT, "the crew has taken them off", INES)
        asked = await day.item("recordings gone", UNIT)
        assert "A.rnx (50 bytes)" in asked.item.text
        await day.answer("recordings gone", UNIT, answer="let go", owner="Maren Oakhurst", how="in person")
        await day.until_state(UNIT, State.HANDED_BACK)
    (let_go,) = shop.facts("recordings_let_go", UNIT)
    assert [r["name"] for r in let_go["recordings"]] == ["A.rnx"]


def restores(shop: Shop) -> FakeUnit:
    """Let a unit lose its frequency in the write, and a person put it back."""
    unit = one(shop)
    unit.settings = {"frequency_khz": "461025", "elevation_mask_deg": "10"}
    unit.happens["restart"] = lambda: setattr(unit, "settings", {"elevation_mask_deg": "15"})
    shop.people.answers["settings lost"] = {"answer": "put back"}
    return unit


async def test_lost_settings_are_put_back_under_a_permit_of_their_own(shop: Shop) -> None:
    unit = restores(shop)
    async with shop.running() as day:
        await day.until_state(UNIT, State.HANDED_BACK)
        assert LINE in day.state.lines_stopped, "the next unit would lose its settings too"
    assert unit.settings == {"frequency_khz": "461025", "elevation_mask_deg": "10"}
    assert [f["verb"] for f in shop.facts("act_spent", UNIT)] == ["write image", "put settings"]
    write, put = shop.facts("permit_given", UNIT)
    assert write["id"] != put["id"]
    assert [a["verb"] for a in put["permit"]["acts"]] == ["put settings"]
    assert "frequency_khz = 461025" in put["shown"]
    assert "elevation_mask_deg = 10" in put["shown"]
    problems = shop.facts("verify_failed", UNIT)[0]["problems"]
    assert [p.split(" is ")[0] for p in problems] == ["setting frequency_khz", "setting elevation_mask_deg"]
    assert shop.facts("unit_verified", UNIT)[-1]["settings_same"] is True
    assert [what for what, _ in unit.reaches] == ["write", "restart", "put settings"]


async def test_settings_are_not_put_back_without_a_confirmation(shop: Shop) -> None:
    unit = restores(shop)
    answers = iter([read_off])

    def first_only(desk: Any, asked: Any) -> dict[str, Any]:
        given = next(answers, None)
        return dict(given(desk, asked)) if given is not None else {"answer": "not now"}

    shop.people.answers["confirm"] = first_only
    lost = iter([{"answer": "put back"}])
    shop.people.answers["settings lost"] = lambda *_: next(lost, None)
    async with shop.running() as day:
        await day.until(lambda: len(shop.entries("unit_held", UNIT)) == 2)
        await day.settled()
        assert [i.item.unit for i in day.items("settings lost")] == [UNIT]
    assert unit.settings == {"elevation_mask_deg": "15"}
    assert [f["verb"] for f in shop.facts("act_spent", UNIT)] == ["write image"]


async def test_putting_back_that_is_cut_short_is_compared_again(shop: Shop) -> None:
    unit = restores(shop)
    unit.befalls["put_settings"] = [LinkGone("the cable came off")]
    async with shop.running() as day:
        await day.until_state(UNIT, State.HANDED_BACK)
    assert [f["code"] for f in shop.facts("unit_held", UNIT)] == ["verify", "settings"]
    assert unit.settings["frequency_khz"] == "461025"
    permits = [f["permit"] for f in shop.facts("act_spent", UNIT)]
    assert len(permits) == len(set(permits)) == 3


async def test_a_program_that_ends_while_settings_are_put_back_has_them_compared_again(shop: Shop) -> None:
    unit = restores(shop)
    unit.hangs.add("put_settings")
    async with shop.running() as day:
        await day.until(lambda: "put_settings" in unit.calls)
    unit.hangs.clear()
    async with shop.running() as day:
        await day.until_state(UNIT, State.HANDED_BACK)
    assert [f["code"] for f in shop.facts("unit_held", UNIT)] == ["verify", "settings"]
    assert [f["outcome"] for f in shop.facts("act_ended", UNIT)] == ["whole", "unknown", "whole"]
    assert day.unit(UNIT).writes == []
    assert len(writes(unit)) == 1


# Steps that hang.


@pytest.mark.parametrize(
    ("method", "stage", "waits_for"),
    [
        ("identify", "identify", "the unit to say who it is"),
        ("power", "check", "the unit to tell its charge"),
        ("recordings", "check", "the unit to list its recordings"),
        ("settings", "check", "the unit to tell its settings"),
        ("fetch", "preserve", "the next piece of a recording"),
        ("write", "write", "the write to go on"),
        ("restart", "restart", "the unit to come back from its restart"),
        ("self_test", "verify", "the unit to end its own test"),
        ("sky", "verify", "the unit to tell its position"),
    ],
)
async def test_what_hangs_is_held_with_how_long_was_waited_and_for_what(
    shop: Shop, method: str, stage: str, waits_for: str
) -> None:
    unit = one(shop)
    shop.limits = IMPATIENT
    unit.recordings = {"A.rnx": b"a" * 50}
    unit.hangs.add(method)
    shop.people.answers |= {"interrupted": None, "set aside": None}
    async with shop.running() as day:
        await held(day)
        assert f"waited 0.05 s for {waits_for}, which has not come" in (day.unit(UNIT).held_reason or "")
        assert (shop.facts("trouble_met", UNIT)[-1]["stage"]).startswith(stage)
    assert unit.opened == 0


# A half-written unit that cannot be written again now.


async def test_a_half_written_unit_is_not_sent_off_when_closing_is_near(shop: Shop) -> None:
    """One that merely waits is unplugged; this one must not be."""
    unit = one(shop)
    unit.befalls["write"] = [CUT]
    shop.people.answers["interrupted"] = None
    async with shop.running() as day:
        await day.item("interrupted", UNIT)
        shop.clock.advance(int((day.state.begun or {})["closes_us"]) - MINUTE_US - shop.clock.now())
        await day.answer("interrupted", UNIT, answer="identify anew")
        await day.until(lambda: len(shop.entries("unit_held", UNIT)) == 2)
        await day.settled()
        story = day.unit(UNIT)
        assert (story.held_code, story.station, story.not_today) == ("interrupted", "S1", None)
        assert "it cannot be written again now: " in (story.held_reason or "")
        assert len(day.items("interrupted", UNIT)) == 1
        assert not day.items("send off")


async def test_a_half_written_unit_is_not_switched_off_for_a_pack_or_a_charger(shop: Shop) -> None:
    unit = one(shop)
    unit.befalls["write"] = [CUT]
    shop.people.answers |= {"interrupted": None, "external power": None}
    async with shop.running() as day:
        await day.item("interrupted", UNIT)
        unit.charge_percent = 4
        await day.answer("interrupted", UNIT, answer="identify anew")
        await day.item("external power", UNIT)
        assert not day.items("fit pack")


async def test_the_second_confirmation_says_that_the_recordings_are_gone(shop: Shop) -> None:
    unit = one(shop)
    unit.recordings = {"A.rnx": b"a" * 50}
    unit.befalls["write"] = [CUT]
    shop.people.answers["line"] = {"answer": "lift", "reason": "looked into"}
    await shop.whole_day()
    first, second = shop.facts("permit_given", UNIT)
    assert [x["name"] for x in first["permit"]["losses"]] == ["A.rnx"]
    assert second["permit"]["losses"] == []
    assert "Its recordings are gone; whole copies are in the archive: A.rnx." in second["shown"]


async def test_a_write_that_was_refused_is_tried_again_by_a_persons_choice_and_a_new_permit(shop: Shop) -> None:
    unit = one(shop)
    unit.befalls["before write"] = [Refused("write", "busy", "try again later")]
    shop.people.answers["refused"] = None
    async with shop.running() as day:
        asked = await day.item("refused", UNIT)
        assert "busy" in asked.item.text
        assert "nothing was erased" in asked.item.text
        assert day.unit(UNIT).station == "S1"
        assert day.state.lines_stopped == {}
        await day.answer("refused", UNIT, answer="try again")
        await day.until_state(UNIT, State.HANDED_BACK)
    permits = [f["permit"] for f in shop.facts("act_spent", UNIT)]
    assert len(permits) == len(set(permits)) == 2
    assert day.unit(UNIT).writes == ["2.10"]


async def test_what_is_not_known_after_the_copy_of_an_image_is_said_and_read_back(shop: Shop) -> None:
    """A drive whose power went while it kept the image: neither cut short nor whole for certain."""
    unit = one(shop)
    unit.befalls["restart"] = [OutcomeUnknown("its drive went away: whether the unit kept all of it is not known")]
    shop.people.answers |= {"interrupted": None, "line": None}
    async with shop.running() as day:
        asked = await day.item("interrupted", UNIT)
        assert "whether the unit kept all of it is not known" in asked.item.text
        assert "as far as is known" in asked.item.text
        assert "cut short:" not in asked.item.text
        await day.answer("interrupted", UNIT, answer="identify anew")
        await day.until(lambda: bool(shop.entries("interrupt_settled", UNIT)))
        assert shop.facts("interrupt_settled", UNIT)[0]["found"] == "untouched"
