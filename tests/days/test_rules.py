"""What must hold on every day, whatever its stories: places, gates, breaks, cautions, acts, personal data, chain."""

from __future__ import annotations

import hashlib
import json
import re
from collections import defaultdict
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from tests.days.finished import FinishedDay, Row

BREAKS = (("10:30", "10:45"), ("12:30", "13:15"))
UNATTENDED = {"outcome", "mac"}
"""Wanted values of items at which nobody stands and waits."""


def test_the_chain_holds(day: FinishedDay) -> None:
    prev = bytes(32)
    for number, row in enumerate(day.rows, 1):
        assert (row.seq, row.prev) == (number, prev)
        assert row.digest == hashlib.sha256(prev + row.body).digest()
        prev = row.digest
    assert day.rows[-1].kind == "day_closed"


def test_never_two_units_at_one_place(day: FinishedDay) -> None:
    held: dict[tuple[str, str], str] = {}
    for row in day.rows:
        place = (row.facts.get("pool", ""), row.facts.get("place", ""))
        if row.kind == "place_granted":
            assert place not in held, f"{place} was granted to {row.unit} while {held[place]} had it"
            assert row.unit not in [u for p, u in held.items() if p[0] == place[0]]
            held[place] = row.unit or ""
        elif row.kind == "place_freed":
            assert held.pop(place) == row.unit
    assert not held


def test_only_places_that_the_bench_has(day: FinishedDay) -> None:
    granted = {(r.facts["pool"], r.facts["place"]) for r in day.of("place_granted")}
    stations = {("station", f"S{n}") for n in range(1, 6)}
    cables = {("cable:round", "R1"), ("cable:round", "R2"), ("cable:usb", "U1"), ("cable:usb", "U2"), ("adapter", "W1")}
    cables |= {("cable:six-pin", "X1")}
    assert granted <= stations | cables | {("charger", "C1"), ("charger", "C2")}


def test_a_line_is_used_only_with_its_cable(day: FinishedDay) -> None:
    """From the grant of its cable to the end of verify, nobody else has it."""
    for row in day.of("act_spent"):
        model = day.units[row.unit or ""]["model"]
        pool = {"Millrace": "cable:round", "Weirstone": "cable:usb", "Osier": "adapter"}.get(model)
        if pool is None:
            continue
        last = max(r for r in day.rows if r.unit == row.unit and r.seq < row.seq and r.facts.get("pool") == pool)
        assert last.kind == "place_granted"


def test_first_off(day: FinishedDay) -> None:
    """The first of each model and release is verified before a second is begun."""
    target = {u: (told["model"], told["target"]) for u, told in day.units.items()}
    verified: set[tuple[str, str]] = set()
    begun: dict[tuple[str, str], str] = {}
    for row in day.rows:
        key = target.get(row.unit or "")
        if key is None:
            continue
        if row.kind == "act_spent":
            other = begun.get(key)
            assert key in verified or other in (None, row.unit), f"{row.unit} was begun before {other} was verified"
            begun[key] = row.unit or ""
        elif row.kind == "unit_verified" and begun.get(key) == row.unit and row.facts["release"] == key[1]:
            verified.add(key)
        elif row.kind == "unit_held" and begun.get(key) == row.unit:
            begun.pop(key)


def test_one_write_per_act(day: FinishedDay) -> None:
    for serial in day.units:
        spent, began = day.of("act_spent", serial), day.log(serial, "image_begin")
        assert len({(r.facts["permit"], r.facts["act"]) for r in spent}) == len(spent) == len(began)
        for act, write in zip(spent, began, strict=True):
            assert act.wall_us <= write["at_us"], f"{serial} was written before the intent was recorded"
            assert act.facts["bytes"] == write["bytes"]
        ended = [line["sha256"] for line in day.log(serial, "image_end")]
        assert ended == [r.facts["digest"] for r in spent]


def test_every_act_rests_on_a_permit_that_was_shown_and_proved_simulated(day: FinishedDay) -> None:
    permits = {r.facts["id"]: r for r in day.of("permit_given")}
    for row in day.of("act_spent"):
        given = permits[row.facts["permit"]]
        assert given.seq < row.seq
        assert given.unit == row.unit == given.facts["permit"]["unit"]
        assert given.facts["permit"]["acts"][row.facts["act"]]["digest"] == row.facts["digest"]
        assert row.facts["simulated_proof"] is True
        assert (row.unit or "")[-4:] not in given.facts["shown"].splitlines()[0]


def test_every_permit_follows_a_check_without_a_stop(day: FinishedDay) -> None:
    for given in day.of("permit_given"):
        checks = [r for r in day.of("checked", given.unit) if r.seq < given.seq]
        assert not [f for f in checks[-1].facts["findings"] if f["answer"] == "stop"]


def test_cautions_are_acknowledged_by_whoever_answered(day: FinishedDay) -> None:
    seen = {(r.facts["caution"], r.operator, r.unit) for r in day.of("caution_acknowledged")}
    shown = 0
    for asked in day.asked:
        for caution in asked.item["cautions"]:
            shown += 1
            assert (caution, asked.answered.operator, asked.item["unit"]) in seen
    assert shown > 100
    for operator in ("Ines Halloran", "Tobias Wren"):
        assert {c for c, o, u in seen if o == operator and u is None} >= {
            "local rules", "mains leads", "chargers attended",
        }  # fmt: skip


def test_operators_do_what_they_may(day: FinishedDay) -> None:
    for asked in day.asked:
        if asked.item["ability"] == "confirm":
            assert asked.answered.operator == "Ines Halloran"


@pytest.mark.parametrize(("start", "end"), BREAKS)
def test_breaks_are_kept(day: FinishedDay, start: str, end: str) -> None:
    """Nothing attended begins in a break: what was asked in it waits; each person ends at most what they were at."""
    begins, ends = (_at(day, clock) for clock in (start, end))
    ended_in: dict[str, list[Row]] = defaultdict(list)
    for asked in day.asked:
        if UNATTENDED & {w["name"] for w in asked.item["wanted"]} or asked.item["topic"].startswith("line "):
            continue
        if begins <= asked.asked.at_us < ends:
            assert asked.answered.at_us >= ends, f"{asked.item['topic']} of {asked.item['unit']}"
        elif asked.asked.at_us < begins <= asked.answered.at_us < ends:
            ended_in[asked.answered.operator or ""].append(asked.answered)
    assert all(len(rows) == 1 for rows in ended_in.values()), ended_in
    assert any(a.answered.at_us >= ends for a in day.asked), "the day ended before this break"


def _at(day: FinishedDay, clock: str) -> int:
    local = datetime.fromisoformat(f"{day.report['date']}T{clock}").replace(tzinfo=ZoneInfo("Europe/London"))
    return int(local.timestamp()) * 1_000_000


def test_no_write_begins_that_would_not_end_before_closing(day: FinishedDay) -> None:
    closes = day.of("day_begun")[0].facts["closes_us"]
    assert all(r.at_us < closes for r in day.of("act_spent"))
    for given in day.of("permit_given"):
        closing = next(
            f for f in [r for r in day.of("checked", given.unit) if r.seq < given.seq][-1].facts["findings"]
            if f["check"] == "closing"
        )  # fmt: skip
        assert closing["figures"]["rest_us"] <= closing["figures"]["left_us"]


def test_personal_data_is_nowhere_in_the_journal(day: FinishedDay) -> None:
    said: set[str] = set()
    for unit in day.scenario.units:
        said |= {unit.contact, unit.note, unit.reason_absent}
        if unit.brought_in is not None:
            said |= {unit.brought_in.brought_by, unit.brought_in.condition}
        if unit.lets_go is not None:
            said.add(unit.lets_go.said_by)
        said |= set(re.findall(r"0555 \d{4}", unit.contact))
        said.add(unit.contact.split(",")[0])
    # "good" stands in texts of ours.
    said -= {"", "good"}
    assert len(said) > 30
    bodies = b"\n".join(r.body for r in day.rows)
    files = b"".join(p.read_bytes() for p in day.record.glob("journal.db*"))
    assert not [text for text in said if text.encode() in bodies or text.encode() in files]
    beside = (day.record / "personal.db").read_bytes()
    assert b"Orla Finnerty" in beside, "it should be kept beside the chain"


def test_no_password_and_no_key_is_anywhere_in_the_record(day: FinishedDay) -> None:
    states = (day.folder / "instruments").glob("*/state.json")
    secrets = {json.loads(path.read_text(encoding="utf-8"))["password"] for path in states}
    secrets.add((day.record / "keys" / "simulators.key").read_text(encoding="ascii"))
    secrets -= {""}
    assert len(secrets) > 1, "the day has units with a page of their own"
    for path in (*day.record.glob("journal.db*"), *day.record.glob("personal.db*")):
        held = path.read_bytes()
        # By themselves: a password of digits may well stand within a digest.
        alone = [s for s in secrets if re.search(rb"(?<![0-9a-f])%s(?![0-9a-f])" % s.encode(), held)]
        assert alone == [], path.name


def test_instruments_wrote_down_no_fault(day: FinishedDay) -> None:
    for serial in day.units:
        errors = day.folder / "instruments" / serial / "simulator.err"
        assert not errors.exists() or errors.read_text(encoding="utf-8") == ""
        assert not day.log(serial, "refused")
