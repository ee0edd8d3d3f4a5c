"""The checks before a write, one by one and together."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from benchday.domain.checks import Answer, Finding
from benchday.domain.readings import Identity, Mode, Recording
from benchday.planning import bench_checks, checks
from benchday.planning.bench_checks import BenchPc
from benchday.planning.checks import Kept
from benchday.planning.durations import RestOfWay
from benchday.planning.targets import Target, targets
from tests.planning.shop import held, image, playbook, unit_now

MINUTE = 60_000_000
REST = RestOfWay(30 * MINUTE, 30 * MINUTE, None, ())
IDENTITY = Identity("00731", "Millrace", "B", Mode.RUN, "2.4")
STORE = (image("2.10", "2026-05-01"),)


def target(**changed: Any) -> Target:
    return targets([unit_now(**changed)], STORE)[0]


def said(finding: Finding) -> tuple[Answer, str]:
    return finding.answer, finding.text


def test_a_unit_that_reports_another_serial_stops() -> None:
    """A swapped unit is never written; silence says what to look at."""
    assert checks.identity("00731", "00731").answer is Answer.CLEAR
    assert said(checks.identity("00731", "00732")) == (
        Answer.STOP,
        (
            "the label says 00731, the unit reports 00732: hold it and find out which unit this is; "
            "nothing is written to it"
        ),
    )
    assert said(checks.identity("00731", None)) == (
        Answer.STOP,
        "unit 00731 does not tell its serial: is the cable of the right type, seated, and the unit on?",
    )


def test_another_model_or_revision_stops() -> None:
    """Against what was checked in, the playbook, and each image."""
    assert checks.model("Millrace", IDENTITY, playbook(), STORE).answer is Answer.CLEAR
    other = replace(IDENTITY, model="Osier")
    assert checks.model("Millrace", other, playbook(), STORE).answer is Answer.STOP
    assert checks.model("Osier", other, playbook(), STORE).answer is Answer.STOP
    wrong = checks.model("Millrace", IDENTITY, playbook(), (image("2.10", hardware=["C", "D"]),))
    assert said(wrong) == (
        Answer.STOP,
        (
            "millrace-2.10.fen is for Millrace, hardware revision C and D, not for a Millrace revision B: "
            "take another image or hold the unit"
        ),
    )


def test_a_revision_that_is_not_told_asks_where_it_matters() -> None:
    """Only if the image suits some revisions and not others."""
    silent = replace(IDENTITY, hardware="")

    assert checks.model("Millrace", silent, playbook(), STORE).answer is Answer.CLEAR
    assert checks.model("Millrace", silent, playbook(), (image("2.10", hardware=["C"]),)).answer is Answer.ASK


def test_the_bytes_in_memory_are_compared_with_the_list() -> None:
    """By size and by digest."""
    listed = image("2.10")
    data = held("2.10")

    assert checks.image(listed, data).answer is Answer.CLEAR
    for changed in (data[:-1], data + b"\0", bytes([data[0] ^ 1]) + data[1:]):
        assert checks.image(listed, changed).answer is Answer.STOP
    assert said(checks.image(listed, None)) == (
        Answer.STOP,
        "image millrace-2.10.fen could not be read: is it in the image store?",
    )


RECORDINGS = (Recording("a.obs", 2_000_000, "aa"), Recording("b.obs", 1_000_000))


def kept(preserved: dict[str, str], *let_go: str, done: bool = True) -> Kept:
    return Kept(RECORDINGS, preserved, let_go, done)


@pytest.mark.parametrize(
    ("fate", "answer", "text"),
    [
        (Kept((), {}), Answer.CLEAR, "no recordings are on the unit"),
        (kept({"a.obs": "aa", "b.obs": "bb"}), Answer.CLEAR, "2 recordings preserved, each copy proved whole"),
        (
            kept({"a.obs": "aa"}, "b.obs"),
            Answer.CLEAR,
            "1 recording preserved, each copy proved whole; lost for good, as the owner agreed: b.obs",
        ),
        (kept({}, done=False), Answer.CLEAR, "2 recordings (3.0 MB) to be preserved first"),
        (
            kept({"a.obs": "aa"}),
            Answer.STOP,
            "b.obs (1.0 MB) would be lost: preserve them, or ask the owner whether they may be lost",
        ),
        (
            kept({"a.obs": "ff", "b.obs": "bb"}),
            Answer.STOP,
            (
                "the copy of a.obs is not what is on the unit (the digests differ): copy it anew, or ask the owner "
                "whether it may be lost"
            ),
        ),
        (
            Kept(None, {}),
            Answer.STOP,
            "nobody knows what recordings are on the unit, and the write erases them: list them first",
        ),
    ],
)
def test_recordings(fate: Kept, answer: Answer, text: str) -> None:
    """None, preserved, let go, waiting, and everything that would be lost."""
    assert said(checks.recordings(fate)) == (answer, text)


def test_recordings_do_not_matter_where_nothing_is_written() -> None:
    """A unit already on its target."""
    assert checks.recordings(kept({}), erases=False).answer is Answer.CLEAR


@pytest.mark.parametrize(
    ("last_day", "answer", "text"),
    [
        (
            "2026-12-31",
            Answer.CLEAR,
            "2.10 was issued on 2026-05-01, within the support term, which ends on 2026-12-31",
        ),
        (
            "2026-06-30",
            Answer.CLEAR,
            (
                "2.10 was issued on 2026-05-01, within the support term, which ends on 2026-06-30, in 14 days: "
                "tell the customer"
            ),
        ),
        (
            "2026-04-30",
            Answer.STOP,
            "2.10 was issued on 2026-05-01, after the support term ended on 2026-04-30: it may not be put on this unit",
        ),
        (None, Answer.ASK, "the support term is not known: ask the customer or the maker for its last day"),
    ],
)
def test_support_term(last_day: str | None, answer: Answer, text: str) -> None:
    """What the unit or its owner says at the station is weighed again."""
    assert said(checks.support_term(target(), last_day, "2026-06-16", playbook())) == (answer, text)


def test_the_route_is_told_step_by_step() -> None:
    """Or why there is none to write."""
    assert checks.route(target()).text == "1 write: 2.4 -> 2.10"
    assert checks.route(target(release="2.10")).text.startswith("nothing is to be written: already on 2.10")


def test_room_on_the_disk() -> None:
    """Recordings and what must remain; not known is asked."""
    few = playbook(checks=[{"check": "room", "limits": {"spare_bytes": 1_000}}])

    assert bench_checks.room(3_000, 2_000, few).answer is Answer.CLEAR
    assert bench_checks.room(None, 2_000, few).answer is Answer.ASK
    assert said(bench_checks.room(2_999, 2_000, few)) == (
        Answer.STOP,
        "the archive's disk has 3.0 kB free, too little for 2.0 kB of recordings and 1.0 kB to spare: make room on it",
    )


def test_the_cable() -> None:
    """The right connector, an adapter for Wi-Fi, nothing by hand."""
    assert bench_checks.cable(playbook(), "round", adapter=False).answer is Answer.CLEAR
    assert said(bench_checks.cable(playbook(), "usb", adapter=True)) == (
        Answer.STOP,
        "this unit takes a cable with connector round, the station has a cable with connector usb: fetch the right one",
    )
    assert bench_checks.cable(playbook(), None, adapter=False).answer is Answer.STOP
    wifi = playbook(connector=None, wifi=True)
    assert bench_checks.cable(wifi, None, adapter=True).answer is Answer.CLEAR
    assert bench_checks.cable(wifi, "round", adapter=False).answer is Answer.STOP
    assert bench_checks.cable(playbook(connector=None), None, adapter=False).answer is Answer.CLEAR


GOOD_PC = BenchPc(on_mains=True, sleep_inhibited=True, clock_set=True)


@pytest.mark.parametrize(
    ("pc", "answer", "text"),
    [
        (GOOD_PC, Answer.CLEAR, "it is on mains; it is kept from sleeping; its clock is set"),
        (
            replace(GOOD_PC, on_mains=False, battery_percent=80, battery_minutes=29),
            Answer.STOP,
            "its battery lasts 29 min and 30 are needed: connect it to mains",
        ),
        (
            replace(GOOD_PC, on_mains=False, battery_percent=80, battery_minutes=30),
            Answer.CLEAR,
            "its battery lasts 30 min, longer than the 30 needed; it is kept from sleeping; its clock is set",
        ),
        (
            replace(GOOD_PC, on_mains=False, battery_percent=12, battery_minutes=90),
            Answer.STOP,
            "its battery has 12 %, less than 30 %: connect it to mains",
        ),
        (
            replace(GOOD_PC, sleep_inhibited=False, clock_set=None),
            Answer.STOP,
            "it may fall asleep: forbid it to sleep during a write",
        ),
        (
            BenchPc(on_mains=None),
            Answer.ASK,
            (
                "whether it is on mains or how long its battery lasts is not known: look, and confirm it; "
                "whether it is kept from sleeping is not known: look, and confirm it; "
                "whether its clock is set is not known: look, and confirm it"
            ),
        ),
    ],
)
def test_the_bench_pc(pc: BenchPc, answer: Answer, text: str) -> None:
    """Known to be bad stops, not known asks; only what decides is told."""
    assert said(bench_checks.bench_pc(pc, REST, playbook())) == (answer, f"the bench PC: {text}")


def test_closing() -> None:
    """Ending exactly at closing is in time."""
    assert bench_checks.closing(0, 30 * MINUTE, REST).answer is Answer.CLEAR
    assert said(bench_checks.closing(1, 30 * MINUTE, REST)) == (
        Answer.STOP,
        (
            "29 min are left until closing, and everything to verify takes 30 min in 99 of 100 cases "
            "(drawn from the shop's own records): do not begin the write today"
        ),
    )
    assert bench_checks.closing(5, 3, REST).text.startswith("closing time is past")
