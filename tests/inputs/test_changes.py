"""Differences between two readings of a day, in sentences."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchday.inputs.changes import differences
from benchday.inputs.day import load_day
from benchday.inputs.playbook_files import shipped_folder
from tests.inputs.conftest import Spoil


def test_nothing_changed(day: Path) -> None:
    assert differences(load_day(day), load_day(day)) == ()


@pytest.mark.parametrize(
    ("name", "old", "new", "said"),
    [
        (
            "roster.csv",
            "08:00,13:30,2026-03",
            "08:05,13:30,2026-03",
            "unit WS-41-00297: arrives was changed from 08:00",
        ),
        ("roster.csv", "Dafydd Penllyn", "Someone Else", "roster: unit WS-41-00297: contact was changed"),
        (
            "day.yaml",
            'closes: "17:00"',
            'closes: "18:00"',
            "day.yaml: hours: date 2026-06-16, opens 08:00, closes 18:00",
        ),
        ("day.yaml", "first_off: true", "first_off: false", "day.yaml: policy was first_off true, permit_minutes 10"),
        ("bench.yaml", "  - name: S5\n", "", "bench.yaml: stations: name S5 was removed"),
        ("images/images.yaml", 'issued: "2026-05-04"', 'issued: "2026-05-05"', "images: millrace-2.10.fen: issued was"),
    ],
)
def test_one_change(day: Path, spoil: Spoil, *, name: str, old: str, new: str, said: str) -> None:
    before = load_day(day)
    spoil(name, old, new)

    told = differences(before, load_day(day))
    assert any(said in sentence for sentence in told), told


def test_personal_data_is_not_repeated(day: Path, spoil: Spoil) -> None:
    before = load_day(day)
    spoil("roster.csv", '"Maren Oakhurst, 0555 0101"', '"Someone Else, 0555 0199"')

    assert differences(before, load_day(day)) == ("roster: unit 007421530018: contact was changed",)


def test_rows_added_removed_and_reordered(day: Path) -> None:
    before = load_day(day)
    path = day / "roster.csv"
    head, first, second, *others = path.read_text(encoding="utf-8").splitlines()
    new = "WS-41-00999,Weirstone,A new one,,Avocet,base,,,,"
    path.write_text("\n".join([head, second, *others, new, ""]), encoding="utf-8")
    assert differences(before, load_day(day)) == (
        "roster: unit 007421530018 (Millrace) was removed",
        "roster: unit WS-41-00999 (Weirstone, A new one) was added",
    )

    path.write_text("\n".join([head, second, first, *others, ""]), encoding="utf-8")
    assert differences(before, load_day(day)) == ("roster: the units stand in another order",)


def test_an_image_taken_off_the_list(day: Path) -> None:
    before = load_day(day)
    path = day / "images" / "images.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.index("  - file: tiller-2.3.fen") if "  - file: tiller-2.3.fen" in text else
                         text.index('  - file: "tiller-2.3.fen"')], encoding="utf-8")  # fmt: skip

    assert differences(before, load_day(day)) == ("images: tiller-2.3.fen (release 2.3 for Tiller) was removed",)


def test_a_changed_playbook(day: Path, spoil: Spoil) -> None:
    (day / "own").mkdir()
    for path in shipped_folder().iterdir():
        if path.name.endswith(".yaml") and path.name != "demo.yaml":
            (day / "own" / path.name).write_bytes(path.read_bytes())
    spoil("day.yaml", "playbooks: shipped ", "playbooks: own ")
    before = load_day(day)

    spoil("own/osier.yaml", "# no cable", "# none")
    assert differences(before, load_day(day)) == ("playbook osier: the file was changed, but not what it says",)

    spoil("own/osier.yaml", "draw_mw: 4000", "draw_mw: 4100")
    (told,) = differences(before, load_day(day))
    assert told.startswith("playbook osier: power was draw_mw 4000")

    spoil("own/cautions.yaml", "somebody decides.", "a technician decides.")
    assert differences(before, load_day(day))[-1] == "caution half-written unit was changed"


def test_a_password_is_told_as_changed_and_not_shown(day: Path, spoil: Spoil) -> None:
    (day / "own").mkdir()
    for path in shipped_folder().iterdir():
        if path.name.endswith(".yaml") and path.name != "demo.yaml":
            (day / "own" / path.name).write_bytes(path.read_bytes())
    spoil("day.yaml", "playbooks: shipped ", "playbooks: own ")
    before = load_day(day)
    spoil("own/fenbook.yaml", 'password: "0000"', 'password: "lapwing"')
    spoil("own/osier.yaml", "name: web                # talks", "name: web\n  settings: {password: dunlin}  # talks")

    told = " ".join(differences(before, load_day(day)))
    assert "password (not shown)" in told
    assert "lapwing" not in told
    assert "dunlin" not in told
    assert "0000" not in told
