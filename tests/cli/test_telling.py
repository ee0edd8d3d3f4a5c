"""A log is told for people: every kind has its sentence, nothing from outside steers, erased texts say so."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC
from typing import Any
from zoneinfo import ZoneInfo

from benchday.domain.entries import GENESIS, Draft, Entry, Times
from benchday.domain.items import Item, ItemKind, Wanted
from benchday.domain.kinds import KINDS
from benchday.domain.kinds_unit import CheckedIn
from benchday.domain.telling.figures import celsius, clock, duration, figure, local, short
from benchday.domain.telling.log import SENTENCES, about, tell, told
from benchday.domain.telling.told import Telling
from benchday.inputs.sample import shipped_scenario  # noqa: F401 - the domain's models are whole once inputs are

UNIT = "007421530018"
AT_US = 1_781_593_200_000_000
"""2026-06-16 08:00 in London."""


def entry(kind: str, facts: Mapping[str, Any], seq: int = 1, unit: str | None = UNIT) -> Entry:
    """Make an entry of the chain."""
    draft = Draft(kind, facts, unit=unit, station="S1", operator="Ines Halloran")
    return Entry.forge(draft, bench="b", seq=seq, times=Times(AT_US, AT_US, 0), prev=GENESIS)


def test_every_kind_has_a_sentence() -> None:
    assert set(SENTENCES) == set(KINDS)


def test_a_check_in_tells_texts_that_stand_beside_the_chain_and_says_which_were_erased() -> None:
    came = CheckedIn(
        brought_by_ref="a:1",
        condition_ref="b:2",
        missing=["charger"],
        consent_release=True,
        consent_erase=False,
        consent_copy=True,
        keep_days=30,
        charge_percent=80,
    )
    line = told(Telling({"a:1": "Maren"}.get), entry("unit_arrived", {"checked_in": came.model_dump()}))
    assert line.details[0] == "brought by Maren; condition: (erased)"
    assert "to erasing: NO" in line.details[2]
    assert "80 %" in line.details[-1]


def test_an_answer_tells_personal_texts_by_looking_them_up() -> None:
    item = Item(
        "7",
        ItemKind.INSTRUCT,
        "hand back",
        "Hand it back.",
        unit=UNIT,
        wanted=(Wanted("to", "who takes it", personal=True), Wanted("missing", "what is missing")),
    )
    telling = Telling({"a:1": "Maren"}.get)
    telling.items["7"] = entry("item_asked", {"item": item.as_facts()})
    for reference, said in (("a:1", "Maren"), ("b:2", "(erased)")):
        value = {"to": reference, "missing": "charger"}
        line = told(telling, entry("item_answered", {"id": "7", "value": value, "by": "person"}))
        assert line.text.endswith(f"who takes it: {said}; what is missing: charger")


def test_findings_are_told_with_their_figures_and_units() -> None:
    finding = {
        "check": "power",
        "answer": "stop",
        "text": "too little",
        "figures": {"have_mwh": 11001, "left_us": 90_000_000},
    }
    line = told(Telling(dict[str, str]().get), entry("checked", {"findings": [finding]}))
    assert line.mark == "STOP"
    assert line.details == ("STOP  power: too little", "      (have 11,001 mWh, left 1 min 30 s)")


def test_settings_after_the_write_are_told_as_differences_from_before() -> None:
    telling = Telling(dict[str, str]().get)
    told(telling, entry("settings_saved", {"when": "before", "settings": {"a": "1", "b": "2"}, "sha256": "ab" * 32}))
    line = told(
        telling, entry("settings_saved", {"when": "after", "settings": {"a": "1", "b": "3"}, "sha256": "cd" * 32})
    )
    assert line.details == ("b: 2 before, 3 after",)


def test_what_a_unit_says_is_made_safe() -> None:
    line = told(Telling(dict[str, str]().get), entry("unit_absent", {"reason": "\x1b[2Jgone\u202e"}))
    assert line.text == r"absent: \x1b[2Jgone\u202e"


def test_a_log_leaves_other_units_out_and_takes_its_days_along() -> None:
    begun = {
        "day": "a day",
        "date": "2026-06-16",
        "opens_us": AT_US,
        "closes_us": AT_US,
        "time_zone": "Europe/London",
        "simulated": True,
        "seed": 1,
        "speed_milli": 1000,
    }
    chain = [
        entry("day_begun", begun, 1, None),
        entry("unit_absent", {"reason": "other"}, 2, "X"),
        entry("unit_absent", {"reason": "mine"}, 3),
    ]
    kept = about(chain, UNIT)
    assert [e.seq for e in kept] == [1, 3]
    log = tell(kept, dict[str, str]().get, UNIT, simulated=True)
    assert [c.title for c in log.chapters] == ["The day 2026-06-16", "Absent"]
    assert log.chapters[1].lines[0].when == "2026-06-16T08:00:00+01:00"


def test_an_entry_of_a_newer_program_is_named() -> None:
    assert "newer benchday" in told(Telling(dict[str, str]().get), entry("of_tomorrow", {})).text


def test_figures_have_their_units() -> None:
    assert (duration(40_000_000), duration(185_000_000), duration(4_800_000_000)) == ("40 s", "3 min 5 s", "1 h 20 min")
    assert (celsius(2951), celsius(2631)) == ("22.0 °C", "-10.0 °C")
    assert figure("charge_percent", 80) == "charge 80 %"
    assert figure("sha", "ab" * 32) == f"sha {'ab' * 8}..."
    assert short(None) == "not told"
    assert local(AT_US, ZoneInfo("Europe/London")) == "2026-06-16T08:00:00+01:00"
    assert clock(AT_US, UTC) == "07:00"
