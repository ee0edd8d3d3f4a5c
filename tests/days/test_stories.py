"""The demo day, story by story, told by the table, the archive and the instruments themselves."""

from __future__ import annotations

from tests.days.finished import FinishedDay

WRONG_LABEL, TERM_ENDED, STEPPED, LITTLE_CHARGE = "007421530222", "WS-41-00297", "007421529960", "007421530377"
THREE_RECORDINGS, BROKEN_RECORDING, CURRENT, ABSENT = "007421530018", "WS-41-00311", "OS8812-0530", "007421530415"
WALK_IN, FAILED_VERIFY, BY_HAND, CURLEW_ROVER = "007421540733", "OS8812-0417", "TL7730A", "007421530104"


def test_every_instrument_ends_as_the_report_says(day: FinishedDay) -> None:
    outcomes = {serial: unit["outcome"] for serial, unit in day.units.items()}
    expected = dict.fromkeys(day.units, "handed-back") | {
        WRONG_LABEL: "held", FAILED_VERIFY: "held", ABSENT: "absent",
    }  # fmt: skip
    assert outcomes == expected
    assert len(outcomes) == 20
    for serial, unit in day.units.items():
        if unit["outcome"] == "handed-back":
            state = day.state(serial)
            assert (state["release"], state["mode"], state["next_release"]) == (unit["target"], "run", "")
            assert unit["has"] == unit["target"]


def test_label_and_reported_serial_differ(day: FinishedDay) -> None:
    unit = day.units[WRONG_LABEL]
    assert (unit["reported_serial"], unit["permits"], unit["writes"]) == ("007421530225", 0, 0)
    assert "007421530225" in unit["reason"]
    assert "007421530222" in unit["reason"]
    assert day.of("unit_held", WRONG_LABEL)[0].facts["code"] == "identity"
    assert day.log(WRONG_LABEL, "identify")
    assert not day.log(WRONG_LABEL, "image_begin", "erased")
    assert len(day.state(WRONG_LABEL)["recordings"]) == 1


def test_support_term_ended(day: FinishedDay) -> None:
    unit = day.units[TERM_ENDED]
    assert (unit["had"], unit["target"], unit["has"]) == ("2.6", "2.9", "2.9")
    assert "2026-03-31" in unit["reason"]
    assert "before 2.10 was issued (2026-05-11): newest allowed is 2.9" in unit["reason"]
    codes = {r.facts["reason_code"] for r in day.of("target_set", TERM_ENDED)}
    assert "term-ended" in codes


def test_stepping_stone(day: FinishedDay) -> None:
    unit = day.units[STEPPED]
    assert (unit["had"], unit["route"], unit["writes"]) == ("2.4", ["2.6", "2.10"], 2)
    # A confirmation may come too late on a busy computer; the next one is a permit of its own.
    assert unit["permits"] >= 2
    log = day.log(STEPPED, "image_begin", "image_end", "flashed")
    assert [line["what"] for line in log] == ["image_begin", "image_end", "flashed"] * 2
    assert [line["version"] for line in log if line["what"] == "flashed"] == ["2.6", "2.10"]
    permits = [r.facts["permit"] for r in day.of("act_spent", STEPPED)]
    assert len(set(permits)) == len(permits) == 2


def test_too_little_charge(day: FinishedDay) -> None:
    remedied = day.of("remedied", LITTLE_CHARGE)
    assert remedied
    assert "pack" in remedied[0].facts["remedy"]
    assert remedied[0].seq < day.of("act_spent", LITTLE_CHARGE)[0].seq
    deeds = [line["deed"]["do"] for line in day.log(LITTLE_CHARGE, "hands")]
    assert "fit pack" in deeds
    before, after = (day.of("power_read", LITTLE_CHARGE)[i].facts["charge_percent"] for i in (0, -1))
    assert before < 20 < after
    found = {f["check"]: f["answer"] for f in day.of("checked", LITTLE_CHARGE)[0].facts["findings"]}
    assert found["power"] == "stop"


def test_three_recordings_are_in_the_archive(day: FinishedDay) -> None:
    preserved = {r["sha256"] for r in day.units[THREE_RECORDINGS]["preserved"]}
    erased = {r["sha256"] for r in day.erased(THREE_RECORDINGS)}
    assert len(preserved) == 3
    assert preserved == erased
    assert all(day.archived(sha256) for sha256 in preserved)


def test_nothing_is_erased_that_was_neither_preserved_nor_let_go(day: FinishedDay) -> None:
    for serial in day.units:
        let_go = {r["name"] for row in day.of("recordings_let_go", serial) for r in row.facts["recordings"]}
        for recording in day.erased(serial):
            assert recording["name"] in let_go or day.archived(recording["sha256"]), f"{serial}: {recording}"


def test_the_archive_holds_what_was_preserved_and_nothing_else(day: FinishedDay) -> None:
    archive = day.record / "archive"
    files = {path.name for path in archive.rglob("*") if path.is_file()}
    assert files == {r["sha256"] for unit in day.units.values() for r in unit["preserved"]}
    assert all(day.archived(name) for name in files)
    assert not list((archive / "incoming").iterdir())


def test_a_broken_recording_is_let_go_by_its_owner(day: FinishedDay) -> None:
    failed = day.of("recording_failed", BROKEN_RECORDING)
    let_go = day.of("recordings_let_go", BROKEN_RECORDING)
    assert len(failed) == len(let_go) == 1
    assert failed[0].facts["name"] == let_go[0].facts["recordings"][0]["name"]
    assert let_go[0].facts["how"] == "by telephone"
    owner = let_go[0].facts["owner_ref"]
    assert len(owner) == 32 + 1 + 64
    assert b"Finnerty" not in b"".join(r.body for r in day.rows)
    shown = day.of("permit_given", BROKEN_RECORDING)[0].facts["shown"]
    assert "LOST FOR GOOD" in shown
    assert failed[0].facts["name"] in shown
    losses = day.of("permit_given", BROKEN_RECORDING)[0].facts["permit"]["losses"]
    assert [x["name"] for x in losses if x["sha256"] is None] == [failed[0].facts["name"]]


def test_already_current_is_verified_and_not_written(day: FinishedDay) -> None:
    unit = day.units[CURRENT]
    assert (unit["had"], unit["has"], unit["writes"], unit["permits"]) == ("2.10", "2.10", 0, 0)
    assert day.of("unit_verified", CURRENT)
    assert not day.log(CURRENT, "image_begin", "erased")
    assert not day.of("permit_given", CURRENT)


def test_base_and_rover_of_a_crew_end_on_the_same_release_and_work_together(day: FinishedDay) -> None:
    assert day.units[TERM_ENDED]["has"] == day.units[CURLEW_ROVER]["has"] == "2.9"
    assert "work together" in day.units[CURLEW_ROVER]["reason"]
    proved = {r.facts["crew"]: r.facts for r in day.of("set_proved")}
    for crew, pair in {
        "Curlew": {TERM_ENDED, CURLEW_ROVER},
        "Avocet": {"WS-41-00342", THREE_RECORDINGS},
        "Greenshank": {BROKEN_RECORDING, "OS8812-0588"},
        "Lapwing": {"007421540018", CURRENT},
    }.items():
        assert proved[crew]["works"], proved[crew]
        assert set(proved[crew]["units"]) == pair
        assert proved[crew]["fix"] in ("fixed", "float")


def test_a_crew_gets_its_set_back_only_when_it_was_proved(day: FinishedDay) -> None:
    proved = {r.facts["crew"]: r.seq for r in day.of("set_proved")}
    for serial, unit in day.units.items():
        if unit["outcome"] == "handed-back" and unit["crew"] in proved:
            assert day.of("unit_handed_back", serial)[0].seq > proved[unit["crew"]]


def test_served_by_hand(day: FinishedDay) -> None:
    assert (day.units[BY_HAND]["had"], day.units[BY_HAND]["has"]) == ("2.2", "2.3")
    assert {r.facts["by"] for r in day.of("unit_identified", BY_HAND)} == {"hand"}
    topics = {a.item["topic"] for a in day.asked if a.item["unit"] == BY_HAND}
    assert {"hand:identify", "hand:power", "hand:recordings", "hand:fetch", "hand:write", "hand:restart"} <= topics
    assert "write by card" in [line["deed"]["do"] for line in day.log(BY_HAND, "hands")]
    assert len(day.log(BY_HAND, "image_begin")) == len(day.of("act_spent", BY_HAND)) == 1
    assert len(day.units[BY_HAND]["preserved"]) == 2


def test_absent(day: FinishedDay) -> None:
    assert len(day.of("unit_absent", ABSENT)) == 1
    assert not day.of("place_granted", ABSENT)
    assert (day.units[ABSENT]["has"], day.units[ABSENT]["minutes"]) == (None, None)


def test_walk_in(day: FinishedDay) -> None:
    arrived = day.of("unit_walked_in", WALK_IN)
    assert len(arrived) == 1
    assert arrived[0].facts["customer"] == "Marrowby Sluice Company"
    assert arrived[0].facts["checked_in"]["missing"] == ["pole clamp"]
    assert not day.of("unit_expected", WALK_IN)
    assert (day.units[WALK_IN]["outcome"], day.units[WALK_IN]["has"]) == ("handed-back", "2.10")


def test_a_failed_verify_stops_its_line(day: FinishedDay) -> None:
    stopped, lifted = day.of("line_stopped"), day.of("line_lifted")
    assert len(stopped) == len(lifted) == 1
    assert (stopped[0].unit, stopped[0].facts["model"], stopped[0].facts["release"]) == (FAILED_VERIFY, "Osier", "2.10")
    assert (lifted[0].facts["model"], lifted[0].facts["release"]) == ("Osier", "2.10")
    assert "the image was read again" in lifted[0].facts["reason"]
    assert lifted[0].at_us - stopped[0].at_us >= 40 * 60_000_000
    between = [
        r for r in day.of("act_spent")
        if stopped[0].seq < r.seq < lifted[0].seq and day.units[r.unit or ""]["model"] == "Osier"
    ]  # fmt: skip
    assert not between
    written_later = {u for u, told in day.units.items() if told["model"] == "Osier" and told["writes"]}
    assert written_later == {"OS8812-0561", "OS8812-0588"}
    assert all(day.of("act_spent", u)[0].seq > lifted[0].seq for u in written_later)
    assert day.state(FAILED_VERIFY)["release"] == "2.9"


def test_shared_last_four_characters_ask_for_the_whole_serial(day: FinishedDay) -> None:
    """007421530018 and 007421540018 end alike; whether both are here when it is asked, and when answered, decides."""
    for serial, other in ((THREE_RECORDINGS, "007421540018"), ("007421540018", THREE_RECORDINGS)):
        confirmed = next(a for a in day.asked if a.item["unit"] == serial and a.item["topic"] == "confirm")
        label = next(w["label"] for w in confirmed.item["wanted"] if w["name"] == "label")
        assert ("whole serial" in label) is _is_here(day, other, confirmed.asked.seq)
        read_off = confirmed.answered.facts["value"]["label"]
        assert read_off == (serial if _is_here(day, other, confirmed.answered.seq) else serial[-4:])


def _is_here(day: FinishedDay, serial: str, seq: int) -> bool:
    arrived, gone = day.of("unit_arrived", serial)[0].seq, day.of("unit_handed_back", serial)[0].seq
    return arrived < seq < gone


def test_a_pinned_unit_is_not_written(day: FinishedDay) -> None:
    unit = day.units["TL7741C"]
    assert (unit["had"], unit["has"], unit["route"], unit["writes"]) == ("2.2", "2.2", [], 0)
    assert "as the pin of unit TL7741C" in unit["reason"]
    assert day.log("TL7741C", "image_begin") == []


def test_a_base_is_kept_on_what_works_with_its_held_rover(day: FinishedDay) -> None:
    unit = day.units["WS-41-00358"]
    assert (unit["had"], unit["has"], unit["writes"]) == ("2.9", "2.9", 0)
    assert f"works together with {WRONG_LABEL}, which is held" in unit["reason"]
    decided = [r for r in day.of("set_decided") if r.facts["crew"] == "Dunlin"]
    assert [r.facts["choice"] for r in decided] == ["keep"]
    assert all(r.operator for r in decided)


def test_a_term_that_was_renewed_in_the_morning(day: FinishedDay) -> None:
    """The roster says it ended; the supplier's list, the letter that shows it and the unit itself say otherwise."""
    unit = day.units["OS8812-0588"]
    assert (unit["has"], unit["writes"]) == ("2.10", 1)
    (renewed,) = day.of("term_renewed", "OS8812-0588")
    assert (renewed.facts["before"], renewed.facts["until"]) == ("2027-04-30", "2027-04-30")
    checked = day.of("checked", "OS8812-0588")[-1].facts["findings"]
    told = [f["text"] for f in checked if f["check"] == "support term"]
    assert any("the roster says 2026-04-30" in text and "Used is 2027-04-30" in text for text in told)
