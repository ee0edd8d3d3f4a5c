"""What to lay out: counted, compared with what the bench has, and for each crew a slip."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchday.domain.cautions import Caution, Every, Moment
from benchday.domain.checks import Answer, Check, Finding
from benchday.domain.entries import GENESIS, Draft, Entry, Times
from benchday.domain.playbook import Label
from benchday.planning.disk_room import Basis, Earlier, earlier_recordings, room_finding, room_for
from benchday.planning.layout import Layout, layout_of
from benchday.planning.slips import code_for
from tests.planning.bench_day import aims, bench_day, row
from tests.planning.shop import image, playbook

FIVE = [row(f"0073{n}") for n in range(5)]
WIFI = playbook(playbook="osier", models=["Osier"], connector=None, wifi=True, pack_swap=False, external=False)
BY_HAND = playbook(playbook="tiller", models=["Tiller"], connector=None)
OSIER = image("2.10", file="osier-2.10.fen", models=["Osier"])
GB = 10**9


def laid(*rows: Any, **changed: Any) -> Layout:
    """Lay out a day of these rows."""
    plan = bench_day(rows, **changed)
    return layout_of(plan, aims(plan), free_bytes=100 * GB)


def of(layout: Layout, check: Check) -> list[Finding]:
    """Return the findings of one check that are not clear."""
    return [f for f in layout.findings if f.check is check and f.answer is not Answer.CLEAR]


@pytest.mark.parametrize(
    ("units", "cables", "at_once", "short"), [(5, 1, 3, 2), (5, 3, 3, 0), (2, 1, 2, 1), (1, 1, 1, 0), (5, 4, 3, 0)]
)
def test_useful_at_once_are_as_many_as_stations_and_no_more_than_units(
    units: int, cables: int, at_once: int, short: int
) -> None:
    owned = [{"connector": "round", "number": f"R{n}"} for n in range(cables)]
    layout = laid(*FIVE[:units], cables=owned)
    (joining,) = layout.joinings
    assert (joining.connector, joining.at_once, joining.short) == ("round", at_once, short)
    assert joining.units == tuple(r.serial for r in FIVE[:units])
    asked = of(layout, Check.CABLE)
    assert [f.answer for f in asked] == ([Answer.ASK] if short else [])
    assert not layout.stops


def test_a_shortage_is_worded_with_its_figures() -> None:
    (finding,) = of(laid(*FIVE), Check.CABLE)
    assert finding.text == (
        "1 cable with connector round for 5 units on 3 stations: 2 more would let 3 of them be served at once; "
        "as it is the day takes longer"
    )
    assert finding.figures == {"connector": "round", "owned": 1, "useful": 3, "units": 5}


def test_a_connector_without_any_cable_stops_and_names_the_units() -> None:
    layout = laid(*FIVE[:2], cables=[{"connector": "usb", "number": "U1"}])
    (finding,) = of(layout, Check.CABLE)
    assert layout.stops
    assert "2 units cannot be served without one: 00730 and 00731" in finding.text
    assert finding.clears == "a cable with connector round is there"
    assert [j.connector for j in layout.joinings] == ["round"], "a cable that nobody needs is not laid out"


def test_wifi_takes_adapters_and_by_hand_takes_nothing() -> None:
    rows = (row("OS1", model="Osier"), row("OS2", model="Osier"), row("TL1", model="Tiller"))
    plan: dict[str, Any] = {"playbooks": (WIFI, BY_HAND), "images": (OSIER, image("2.10", models=["Tiller"]))}
    layout = laid(*rows, **plan, adapters=[{"name": "W1"}])
    (joining,) = layout.joinings
    assert (joining.connector, joining.owned, joining.short) == (None, ("W1",), 1)
    assert layout.by_hand == ("TL1",)
    assert not layout.stops
    assert of(laid(*rows, **plan), Check.CABLE)[0].answer is Answer.STOP


def test_power_is_laid_out_by_what_the_playbooks_allow() -> None:
    packs = [
        {"number": "P1", "fits": ["Millrace"], "charge_percent": 96},
        {"number": "P2", "fits": ["Tiller"], "charge_percent": 80},
    ]
    layout = laid(
        *FIVE, row("OS1", model="Osier"), playbooks=(playbook(), WIFI), adapters=[{"name": "W1"}],
        packs=packs, chargers=[{"name": "C1"}], images=(image("2.9"), OSIER),
    )  # fmt: skip
    (spares,) = layout.spares
    assert (spares.model, len(spares.units), [p.number for p in spares.packs]) == ("Millrace", 5, ["P1"])
    (supply,) = layout.external
    assert (supply.model, supply.at_once) == ("Millrace", 3)
    assert (layout.charging.owned, len(layout.charging.units)) == (("C1",), 6)
    assert of(layout, Check.POWER) == []


def test_a_bench_without_chargers_is_pointed_out() -> None:
    (finding,) = of(laid(*FIVE[:1]), Check.POWER)
    assert finding.answer is Answer.ASK


def test_images_are_those_of_every_route_and_what_an_old_release_would_pass_through() -> None:
    old, stone = image("2.4"), image("2.6")
    newest = image("2.9", through=["2.6"], enter_from="2.6")
    plan = bench_day([row("A1"), row("B2", crew="Curlew"), row("C3", crew="Dunlin")], images=(old, stone, newest))
    found = layout_of(plan, aims(plan, {"B2": "2.4", "C3": "2.9"}), free_bytes=100 * GB)
    needed = {need.image.release: (need.units, need.perhaps) for need in found.images}
    assert needed == {"2.6": (("B2",), ("A1",)), "2.9": (("A1", "B2"), ())}
    assert found.images_bytes == stone.bytes + newest.bytes


def test_a_unit_without_an_image_stops() -> None:
    layout = laid(*FIVE[:2], images=(OSIER,))
    (finding,) = of(layout, Check.IMAGE)
    assert layout.stops
    assert finding.text.startswith("00730 and 00731: ")
    assert layout.images == ()
    assert layout.slips[0].units[0].target.startswith("Nothing can be written: ")


def entry(kind: str, facts: Mapping[str, Any], unit: str | None = None) -> Entry:
    """Make an entry of a chain."""
    return Entry.forge(Draft(kind, facts, unit=unit), bench="b", seq=1, times=Times(0, 0, 0), prev=GENESIS)


def listing(unit: str, *sizes: int) -> Entry:
    """Make a listing of recordings."""
    recordings = [{"name": f"r{n}", "bytes": size, "sha256": None} for n, size in enumerate(sizes)]
    return entry("recordings_listed", {"recordings": recordings}, unit)


def test_recordings_are_reckoned_by_the_unit_else_its_model_else_all() -> None:
    known = [entry("unit_expected", {"model": model}, unit) for unit, model in (("A1", "Millrace"), ("B2", "Millrace"))]
    first_day = [entry("day_begun", {}), *known, listing("A1", 999), listing("B2", 300)]
    # Served again after its write, it lists nothing; that is not what it brought.
    second_day = [entry("day_begun", {}), listing("A1", 40, 61), listing("A1")]
    earlier = earlier_recordings([*first_day, *second_day])
    assert (earlier.units, earlier.models) == ({"A1": 101, "B2": 300}, {"Millrace": 201})
    expected = [earlier.expect(r) for r in (row("A1"), row("N9"), row("T1", model="Tiller"))]
    assert [(e.bytes, e.basis) for e in expected if e] == [
        (101, Basis.ITS_OWN),
        (201, Basis.ITS_MODEL),
        (201, Basis.ALL),
    ]
    assert Earlier().expect(row("A1")) is None


@pytest.mark.parametrize(
    ("free", "answer"),
    [(None, Answer.ASK), (999, Answer.STOP), (1000, Answer.ASK), (1999, Answer.ASK), (2000, "clear")],
)
def test_room_must_hold_the_spare_and_should_hold_the_recordings(free: int | None, answer: str) -> None:
    strict = playbook(checks=[{"check": "room", "limits": {"spare_bytes": 1000}}])
    room = room_for(bench_day([row("A1"), row("B2")], playbooks=[strict]), Earlier({"A1": 400, "B2": 600}), free)
    assert (room.spare_bytes, room.recordings_bytes) == (1000, 1000)
    assert room_finding(room).answer == answer


def test_without_earlier_days_the_recordings_are_said_to_be_not_known() -> None:
    room = room_for(bench_day([row("A1")]), Earlier(), 100 * GB)
    assert room.not_known == ("A1",)
    assert "what the units bring is not known" in room_finding(room).text


def test_each_crew_has_a_slip_who_comes_first_in_front_and_customers_without_crews_have_one_each() -> None:
    rows = [
        row("A1", arrives="09:00"),
        row("B2", "", customer="Marrowby", arrives=None),
        row("C3", "Curlew", arrives="08:30"),
        row("D4", arrives="08:10", note="dropped once"),
        row("E5", "", customer="Saltmere Levels", arrives="10:00"),
    ]
    slips = laid(*rows).slips
    assert [(s.title, [u.serial for u in s.units]) for s in slips] == [
        ("Crew Avocet", ["A1", "D4"]),
        ("Crew Curlew", ["C3"]),
        ("Saltmere Levels, no crew", ["E5"]),
        ("Marrowby, no crew", ["B2"]),
    ]
    assert (slips[0].contacts, slips[0].notes) == (("Maren Oakhurst",), ("D4: dropped once",))


def test_a_slip_says_what_to_count_to_read_and_to_ask() -> None:
    def caution(name: str, *when: Moment) -> Caution:
        return Caution(name=name, when=when, every=Every.TIME, text=f"{name}!")

    cautions = [caution("packs", Moment.CHECK_IN), caution("laser", Moment.CHECK_IN), caution("write", Moment.CONFIRM)]
    book = playbook(cautions=["packs", "write"], accessories=["antenna", "charger"])
    (slip,) = laid(row("A1", support_until=None), playbooks=[book], cautions=cautions).slips
    (unit,) = slip.units
    assert [c.name for c in slip.cautions] == ["packs"]
    assert unit.accessories == ("antenna", "charger")
    assert unit.target.startswith("To get 2.9: ")
    assert len(unit.to_ask) == 1
    assert "support term is not known" in unit.to_ask[0]


serials = st.text("ABC0123456789-._/", min_size=1, max_size=24)
labels = st.builds(
    Label,
    separator=st.none() | st.sampled_from("/|;-. "),
    field=st.integers(1, 5),
    prefix=st.text("SN:/- ", max_size=4),
)


@given(serials, labels)
def test_a_scan_of_a_code_gives_the_serial_back(serial: str, label: Label) -> None:
    book = playbook().model_copy(update={"label": label})
    code = code_for(book, serial)
    if code is not None:
        assert book.serial_in(code) == serial
    else:
        # Only a label that cannot hold this serial goes without a code.
        held = book.serial_in((label.separator or "") * (label.field - 1) + label.prefix + serial)
        assert held != serial
        assert label.separator is not None or label.field == 1


@pytest.mark.parametrize(
    ("label", "serial", "code"),
    [
        (Label(), "WS-41-00297", "WS-41-00297"),
        (Label(separator="/", field=2), "007421530018", "/007421530018"),
        (Label(prefix="SN:"), "OS8812-0417", "SN:OS8812-0417"),
        (Label(separator="-"), "WS-41-00297", None),
    ],
)
def test_codes_as_the_shipped_labels_are(label: Label, serial: str, code: str | None) -> None:
    assert code_for(playbook().model_copy(update={"label": label}), serial) == code
