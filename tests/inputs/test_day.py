"""A day's folder, read whole: each fault across its files is told with its file, line and column."""

from __future__ import annotations

import shutil
from importlib.metadata import EntryPoint, EntryPoints
from pathlib import Path

import pytest

from benchday.domain.drivers import BUILT_IN, DriverKnown
from benchday.domain.errors import MistakesFound
from benchday.inputs import driver_choice
from benchday.inputs.day import load_day, read_day
from benchday.inputs.playbook_files import shipped_folder
from benchday.inputs.source import digest
from tests.inputs.conftest import Spoil, mistakes_of

SHIPPED = ["fenbook", "gantry", "millrace", "osier", "sluicepad", "tiller", "weirstone", "wherry"]


def place_of(folder: Path, name: str, text: str) -> str:
    """Return ``file:line:column`` of the first place where a text stands."""
    for number, line in enumerate((folder / name).read_text(encoding="utf-8").splitlines(), start=1):
        if text in line:
            return f"{name}:{number}:{line.index(text) + 1}"
    raise AssertionError(f"{name} does not hold {text!r}")


def only(folder: Path) -> str:
    """Return the one mistake of a day as a person sees it."""
    (mistake,) = mistakes_of(folder)
    return str(mistake)


def own_playbooks(day: Path, spoil: Spoil) -> Path:
    """Give the day playbooks of its own, copied from the shipped ones."""
    with_files = day / "own"
    with_files.mkdir()
    for path in shipped_folder().iterdir():
        if path.name.endswith(".yaml") and path.name != "demo.yaml":
            (with_files / path.name).write_bytes(path.read_bytes())
    spoil("day.yaml", "playbooks: shipped ", "playbooks: own ")
    return with_files


def test_a_right_day_makes_a_plan(day: Path) -> None:
    plan = load_day(day)

    assert [p.playbook for p in plan.playbooks] == SHIPPED
    assert len(plan.bench.stations) == 5
    assert plan.row("WS-41-00297") is not None
    assert plan.at_us("08:00") == 1_781_593_200_000_000  # 2026-06-16 07:00 UTC: summer time in London
    assert {c.name for c in plan.cautions} >= {"local rules", "damaged packs", "laser and telescope"}


def test_digests_are_of_the_bytes_as_read(day: Path) -> None:
    plan = load_day(day)

    assert set(plan.digests) == {
        "day.yaml",
        "bench.yaml",
        "roster.csv",
        "images/images.yaml",
        "cautions",
        "support terms",
        *(f"playbook:{p.playbook}" for p in plan.playbooks),
    }
    assert plan.digests["roster.csv"] == digest((day / "roster.csv").read_bytes())
    assert plan.playbook_digest(plan.playbooks[0]) == digest((shipped_folder() / "fenbook.yaml").read_bytes())


def test_no_folder_and_an_empty_one(tmp_path: Path) -> None:
    assert [m.found for m in mistakes_of(tmp_path / "nowhere")] == ["no such folder"]
    assert sorted(m.file for m in mistakes_of(tmp_path)) == [
        "bench.yaml",
        "day.yaml",
        "images/images.yaml",
        "roster.csv",
    ]


def test_mistakes_of_all_files_are_told_at_once(day: Path, spoil: Spoil) -> None:
    spoil("day.yaml", "Europe/London", "Europe/Londn")
    spoil("bench.yaml", "name: S3", "nane: S3")
    spoil("roster.csv", "Weirstone", "Wierstone")
    spoil("images/images.yaml", 'release: "2.10"', "release: 2.10")

    with pytest.raises(MistakesFound) as caught:
        load_day(day)

    assert {m.file for m in caught.value.mistakes} == {"day.yaml", "bench.yaml", "roster.csv", "images/images.yaml"}
    assert str(caught.value).count("\n") == len(caught.value.mistakes) - 1


def test_an_unquoted_version_says_what_yaml_makes_of_it(day: Path, spoil: Spoil) -> None:
    spoil("images/images.yaml", 'release: "2.10"', "release: 2.10")

    place = place_of(day, "images/images.yaml", "release: 2.10")
    name, line, column = place.split(":")
    assert only(day) == (
        f"{name}:{line}:{int(column) + len('release: ')}: "
        'expected a version in quotes, numbers joined by dots, like "2.10", '
        "found the number 2.1: unquoted, YAML reads 2.10 as 2.1"
    )


def test_an_unknown_time_zone(day: Path, spoil: Spoil) -> None:
    spoil("day.yaml", "Europe/London", "Europe/Londn")

    place = place_of(day, "day.yaml", "Europe/Londn")
    expected = "expected a name from the IANA time zone database, like Europe/London"
    assert only(day) == f"{place}: {expected}, found Europe/Londn (did you mean Europe/London?)"


def test_a_model_without_a_playbook(day: Path, spoil: Spoil) -> None:
    spoil("roster.csv", "WS-41-00297,Weirstone", "WS-41-00297,Wierstone")

    known = "Fenbook, Gantry, Millrace, Osier, Sluicepad, Tiller, Weirstone, Wherry"
    assert only(day) == (
        f"roster.csv:3:2: expected a model that a playbook covers: {known}, found Wierstone (did you mean Weirstone?)"
    )


def test_a_role_that_the_model_cannot_have(day: Path, spoil: Spoil) -> None:
    spoil("roster.csv", ",Curlew,base,", ",Curlew,rover,")

    assert only(day) == "roster.csv:3:6: expected a role of Weirstone: base, found rover"


def test_an_arrival_outside_the_hours(day: Path, spoil: Spoil) -> None:
    spoil("roster.csv", "base,08:00,13:30", "base,07:55,17:30")

    assert [str(m) for m in mistakes_of(day)] == [
        "roster.csv:3:7: expected a time within the hours, 08:00 to 17:00, found 07:55",
        "roster.csv:3:8: expected a time within the hours, 08:00 to 17:00, found 17:30",
    ]


def test_a_connector_without_any_cable(day: Path, spoil: Spoil) -> None:
    spoil("bench.yaml", "connector: usb, number: U1", "connector: round, number: U1")
    spoil("bench.yaml", "connector: usb, number: U2", "connector: round, number: U2")

    line = place_of(day, "bench.yaml", "- {connector: round, number: R1}")
    expected = "expected a cable with the connector usb, which Weirstone needs"
    assert only(day) == f"{line}: {expected}, found cables with round, six-pin"


def test_a_cable_that_fits_nothing(day: Path, spoil: Spoil) -> None:
    spoil("bench.yaml", "connector: usb, number: U2", "connector: rond, number: U2")

    place = place_of(day, "bench.yaml", "rond")
    assert only(day) == (
        f"{place}: expected a connector that a playbook names: round, six-pin, usb, found rond (did you mean round?)"
    )


def test_wifi_needs_an_adapter(day: Path, spoil: Spoil) -> None:
    spoil("bench.yaml", "adapters:\n  - name: W1\n", "adapters: []\n")

    place = place_of(day, "bench.yaml", "[]")
    assert only(day) == f"{place}: expected a Wi-Fi adapter, which Osier needs, found none"


def test_a_pack_for_an_unknown_model(day: Path, spoil: Spoil) -> None:
    spoil("bench.yaml", "number: P2, fits: [Millrace]", "number: P2, fits: [Milrace]")

    place = place_of(day, "bench.yaml", "Milrace")
    assert only(day).startswith(f"{place}: expected a model that a playbook covers: ")
    assert only(day).endswith("found Milrace (did you mean Millrace?)")


def test_an_image_that_is_not_there(day: Path) -> None:
    (day / "images" / "osier-2.9.fen").unlink()

    place = place_of(day, "images/images.yaml", '"osier-2.9.fen"')
    assert only(day).startswith(f"{place}: expected an image in images/, found no file osier-2.9.fen (did you mean ")


def test_an_image_of_another_size_and_digest(day: Path) -> None:
    path = day / "images" / "osier-2.9.fen"
    was = path.read_bytes()
    path.write_bytes(was[:-1])
    now = digest(path.read_bytes())

    sha256, size = mistakes_of(day)
    assert str(size).endswith(
        f"expected {len(was) - 1}, the bytes of osier-2.9.fen as it stands there, "
        f"found {len(was)}: cut short, or another file"
    )
    assert f"expected {now}, the digest of osier-2.9.fen as it stands there, found {digest(was)}: " in str(sha256)
    assert f"{sha256.file}:{sha256.line}:{sha256.column}" == place_of(day, "images/images.yaml", f'"{digest(was)}"')


def test_one_flipped_bit_in_an_image(day: Path) -> None:
    path = day / "images" / "tiller-2.3.fen"
    data = bytearray(path.read_bytes())
    data[100] ^= 1
    path.write_bytes(data)

    assert "do not write it before you know which" in only(day)


@pytest.mark.parametrize(
    ("old", "new", "at"),
    [
        ('enter_from: "2.6"', 'enter_from: "2.61"', '"2.61"'),
        ('through: ["2.6"]', 'through: ["2.5"]', '"2.5"'),
        ('back_to: "2.6"', 'back_to: "2.0"', '"2.0"'),
    ],
)
def test_route_rules_name_releases_that_exist(day: Path, spoil: Spoil, old: str, new: str, at: str) -> None:
    spoil("images/images.yaml", old, new)

    place = place_of(day, "images/images.yaml", at)
    (mistake,) = mistakes_of(day)
    assert str(mistake).startswith(
        f"{place}: expected a release that the store has for Millrace: 2.6, 2.9, 2.10, found"
    )


def test_a_route_rule_cannot_lead_upwards(day: Path, spoil: Spoil) -> None:
    spoil("images/images.yaml", 'back_to: "2.6"', 'back_to: "2.10"')

    assert only(day).endswith("expected a release older than 2.9 itself, found 2.10")


def test_two_images_of_the_same_release(day: Path, spoil: Spoil) -> None:
    spoil("images/images.yaml", 'release: "2.9"', 'release: "2.6.0"')

    told = [str(m) for m in mistakes_of(day)]
    said = (
        "expected each release of a model once, "
        "found 2.6.0 again; millrace-2.6.fen is that release for the same model and hardware"
    )
    assert f"{place_of(day, 'images/images.yaml', chr(34) + '2.6.0' + chr(34))}: {said}" in told


def test_an_image_for_an_unknown_model(day: Path, spoil: Spoil) -> None:
    spoil("images/images.yaml", "models: [Tiller]", "models: [Tilller]")

    place = place_of(day, "images/images.yaml", "Tilller")
    assert any(str(m).startswith(f"{place}: expected a model that a playbook covers") for m in mistakes_of(day))


def test_a_name_listed_twice(day: Path, spoil: Spoil) -> None:
    spoil("bench.yaml", "name: S4", "name: S2")

    place = place_of(day, "bench.yaml", "S2")
    line = int(place.split(":")[1]) + 2
    assert only(day) == f"bench.yaml:{line}:11: expected each name once in stations, found S2 again"


def test_own_playbooks(day: Path, spoil: Spoil) -> None:
    own_playbooks(day, spoil)

    assert [p.playbook for p in load_day(day).playbooks] == SHIPPED


def test_a_folder_of_playbooks_that_is_not_there(day: Path, spoil: Spoil) -> None:
    spoil("day.yaml", "playbooks: shipped ", "playbooks: shiped ")

    place = place_of(day, "day.yaml", "shiped")
    told = [str(m) for m in mistakes_of(day)]
    assert f"{place}: expected the word shipped, or a folder with playbooks, found shiped: no such folder" in told


def test_an_unknown_driver_and_an_unknown_caution(day: Path, spoil: Spoil) -> None:
    own_playbooks(day, spoil)
    spoil("own/osier.yaml", "name: web ", "name: wep ")
    spoil("own/osier.yaml", "- do not disturb", "- do not distrub")

    told = [str(m) for m in mistakes_of(day)]
    assert told[0].startswith(
        f"{place_of(day, 'own/osier.yaml', 'wep')}: expected an installed driver: console, dialogue, web,"
    )
    assert told[0].endswith("found wep (did you mean web?)")
    assert told[1].startswith(f"{place_of(day, 'own/osier.yaml', 'do not distrub')}: expected a caution that")
    assert told[1].endswith("found do not distrub (did you mean do not disturb?)")


def test_a_driver_may_be_a_plug_in(day: Path, spoil: Spoil, monkeypatch: pytest.MonkeyPatch) -> None:
    own_playbooks(day, spoil)
    spoil("own/osier.yaml", "name: web ", "name: lantern ")
    assert "found lantern" in only(day)

    installed = EntryPoints([EntryPoint("lantern", "lantern:make", "benchday.drivers")])
    monkeypatch.setattr(driver_choice, "entry_points", lambda group: installed.select(group=group))

    assert mistakes_of(day) == []


def test_two_playbooks_for_one_model(day: Path, spoil: Spoil) -> None:
    folder = own_playbooks(day, spoil)
    shutil.copy(folder / "millrace.yaml", folder / "millrace-two.yaml")

    told = sorted(str(m).partition(": ")[2] for m in mistakes_of(day))
    assert told == [
        "expected a short name of its own, found millrace, which is in own/millrace-two.yaml too",
        "expected models that no other playbook covers, found Millrace, which own/millrace-two.yaml covers",
    ]


@pytest.mark.parametrize(
    ("old", "new", "at", "said"),
    [
        (
            "floor_percent",
            "flor_percent",
            "flor_percent",
            "expected one of the limits floor_percent, margin_percent, reserve_percent for the check power",
        ),
        ("usual: 16,", "usual: 36,", "{shortest: 11", "expected minutes in order, shortest first, found shortest 11"),
        ("- step: verify", "- step: verfy", "verfy", "expected one of connect, identify, check, preserve, confirm,"),
        ("occupies: [cable]", "occupies: [adapter]", "adapter", "expected one of cable, hands, found adapter, but the"),
        ("connector: round", "conector: round", "conector", "expected one of the keys playbook, title, maker"),
    ],
)
def test_mistakes_in_a_playbook(day: Path, spoil: Spoil, *, old: str, new: str, at: str, said: str) -> None:
    own_playbooks(day, spoil)
    spoil("own/millrace.yaml", old, new)

    place = place_of(day, "own/millrace.yaml", at)
    column = int(place.split(":")[2]) + (len("flor_percent: ") if at == "flor_percent" else 0)
    told = [str(m) for m in mistakes_of(day)]
    assert any(m.startswith(f"{place.rpartition(':')[0]}:{column}: {said}") for m in told), told


def test_a_write_is_tried_once(day: Path, spoil: Spoil) -> None:
    own_playbooks(day, spoil)
    spoil("own/millrace.yaml", "    erases: [recordings, release]", "    tries: 2\n    erases: [recordings, release]")

    line = 1 + int(place_of(day, "own/millrace.yaml", "- step: write").split(":")[1]) + 1
    assert only(day) == (
        f"own/millrace.yaml:{line}:12: expected 1, because a write is tried once, "
        "found 2: a second write needs a new permit"
    )


def test_notices_are_told_beside_a_right_plan(day: Path) -> None:
    text = (day / "roster.csv").read_text(encoding="utf-8")
    (day / "roster.csv").write_bytes(text.encode("utf-8-sig"))

    outcome = read_day(day)
    assert outcome.plan is not None
    assert [str(n) for n in outcome.notices] == [
        "roster.csv: read as UTF-8 with a byte order mark",
        "images/images.yaml: the image list is not signed (no image_keys in bench.yaml)",
    ]


def test_a_driver_whose_extra_is_missing(day: Path, spoil: Spoil) -> None:
    """Said for a unit that is expected, with what to install; a playbook that nobody needs is no matter."""
    known = (DriverKnown("smp", BUILT_IN, None, None, problem='smp not installed: pip install "benchday[smp]"'),)
    assert read_day(day, drivers=known).mistakes == ()
    spoil("roster.csv", "007421530018,Millrace", "007421530018,Wherry")
    said = [str(mistake) for mistake in read_day(day, drivers=known).mistakes]
    assert any('found smp, which cannot: smp not installed: pip install "benchday[smp]"' in text for text in said)


def test_a_page_belongs_to_the_driver_page(day: Path, spoil: Spoil) -> None:
    own_playbooks(day, spoil)
    spoil("own/fenbook.yaml", "name: page ", "name: web ")
    assert only(day).startswith(
        f"{place_of(day, 'own/fenbook.yaml', 'scheme: https')}: expected a page for the driver page"
    )

    spoil("own/fenbook.yaml", "name: web ", "name: page ")
    spoil("own/osier.yaml", "name: web ", "name: page ")
    assert "expected a page for the driver page, and for no other driver, found no page" in only(day)
