"""Adding images: whole or not at all, nothing replaced, every mistake told before anything is written."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from benchday.domain.errors import InputError, MistakesFound
from benchday.inputs import store_reading
from benchday.inputs.day import load_day
from benchday.inputs.image_adding import Added, NewImage, add_image
from benchday.inputs.source import digest
from tests.inputs.conftest import Spoil
from tests.inputs.signing import INES, sign

LIST = "images/images.yaml"
BYTES = b"the bytes of release 2.11" * 40


@pytest.fixture
def new(tmp_path: Path) -> NewImage:
    """Give a right image, still outside the store."""
    file = tmp_path / "fetched" / "millrace-2.11.fen"
    file.parent.mkdir()
    file.write_bytes(BYTES)
    return NewImage(
        file, "2.11", "2026-06-01", ("Millrace",), "the maker's page: fetched 2026-06-02", INES, ("B", "C"),
        "2.6", ("2.9",), "2.10",
    )  # fmt: skip


def standing(day: Path) -> dict[str, bytes]:
    """Return every file of the store with its bytes."""
    return {p.name: p.read_bytes() for p in (day / "images").iterdir()}


def refused(day: Path, new: NewImage) -> str:
    """Return why an image is refused, and see that nothing was changed."""
    before = standing(day)
    with pytest.raises(InputError) as caught:
        add_image(day, new)
    assert standing(day) == before
    return str(caught.value)


def test_an_image_is_added_with_its_entry(day: Path, new: NewImage) -> None:
    before = (day / LIST).read_text(encoding="utf-8")
    added = add_image(day, new)
    path = day / "images" / "millrace-2.11.fen"
    assert added == Added(path, len(BYTES), digest(BYTES), True, True, 2, False)
    assert path.read_bytes() == BYTES
    plan = load_day(day)
    (entry,) = [i for i in plan.images.images if i.file == path.name]
    assert (entry.release, entry.issued, entry.models, entry.hardware) == (
        "2.11", "2026-06-01", ("Millrace",), ("B", "C"),
    )  # fmt: skip
    assert (entry.enter_from, entry.through, entry.back_to) == ("2.6", ("2.9",), "2.10")
    assert (entry.source, entry.approved_by, entry.trial) == ("the maker's page: fetched 2026-06-02", INES, False)
    assert plan.images.sequence == 2
    # Comments, order and quotes of the rest stay as they were, letter for letter.
    after = (day / LIST).read_text(encoding="utf-8")
    assert after.startswith(before.replace("sequence: 1", "sequence: 2"))


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_a_list_in_another_layout_keeps_it(day: Path, new: NewImage, ends: str) -> None:
    """Comments at the end and between, another inset, line ends of another system; and no number is invented."""
    text = (day / LIST).read_text(encoding="utf-8")
    head, _, items = text.partition("images:\n")
    head = re.sub(r"sequence: .*\n", "", head)
    items = "\n".join(line.removeprefix("  ") for line in items.splitlines())
    written = f"{head}images:\n# receivers first\n{items}\n# the end\n".replace("\n", ends)
    (day / LIST).write_text(written, encoding="utf-8", newline="")
    added = add_image(day, new)
    assert added.sequence is None
    after = (day / LIST).read_bytes().decode()
    assert after.replace(ends, "\n").startswith(written.replace(ends, "\n"))
    assert after.count("\n") == after.count(ends)
    assert len(load_day(day).images.images) == 20


def test_the_first_image_of_an_empty_list(day: Path, new: NewImage) -> None:
    (day / LIST).write_text("images: []\n", encoding="utf-8")
    add_image(day, replace(new, enter_from=None, through=(), back_to=None))
    assert [i.file for i in load_day(day).images.images] == ["millrace-2.11.fen"]


def test_the_same_bytes_once_more_change_nothing(day: Path, new: NewImage) -> None:
    add_image(day, new)
    before = standing(day)
    added = add_image(day, new)
    assert (added.copied, added.listed, added.sequence) == (False, False, 2)
    assert standing(day) == before


def test_an_image_that_lies_in_the_store_already_is_listed(day: Path, new: NewImage) -> None:
    path = day / "images" / "millrace-2.11.fen"
    path.write_bytes(BYTES)
    added = add_image(day, replace(new, file=path))
    assert (added.copied, added.listed) == (False, True)
    assert load_day(day).images.sequence == 2


def test_a_listed_image_that_was_lost_is_put_back(day: Path, new: NewImage) -> None:
    add_image(day, new)
    (day / "images" / "millrace-2.11.fen").unlink()
    added = add_image(day, new)
    assert (added.copied, added.listed) == (True, False)
    assert load_day(day).images.sequence == 2


def test_a_file_of_that_name_with_other_bytes_is_never_replaced(day: Path, new: NewImage) -> None:
    (day / "images" / "millrace-2.11.fen").write_bytes(b"other")
    said = refused(day, new)
    assert "another file of that name" in said
    assert digest(b"other") in said
    assert digest(BYTES) in said


def test_an_entry_of_that_name_with_another_digest(day: Path, new: NewImage) -> None:
    add_image(day, new)
    (day / "images" / "millrace-2.11.fen").unlink()
    new.file.write_bytes(b"other")
    said = refused(day, new)
    assert said.startswith(f"{LIST} lists millrace-2.11.fen, release 2.11, with SHA-256 {digest(BYTES)}")
    assert digest(b"other") in said


def test_another_image_for_the_same_release_names_both(day: Path, new: NewImage) -> None:
    listed = next(i for i in load_day(day).images.images if i.file == "millrace-2.10.fen")
    said = refused(day, replace(new, release="2.10.0"))
    assert said.startswith("release 2.10 for Millrace is in the store already: millrace-2.10.fen, SHA-256 ")
    assert listed.sha256 in said
    assert digest(BYTES) in said


def test_the_same_bytes_under_another_name(day: Path, new: NewImage) -> None:
    new.file.write_bytes((day / "images" / "millrace-2.10.fen").read_bytes())
    assert "are in the store already, as millrace-2.10.fen, release 2.10 for Millrace" in refused(day, new)


def test_what_is_said_otherwise_of_a_listed_image_is_not_lost(day: Path, new: NewImage) -> None:
    add_image(day, new)
    said = refused(day, replace(new, hardware=("B",), back_to=None))
    assert "is listed already, with another hardware and another back_to" in said


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"release": "2,11"}, "--release: expected a version"),
        ({"release": "2.11-trial1"}, "--release: expected a release without a suffix, or trial: true beside it"),
        ({"trial": True}, "--release: expected a suffix on the release of a trial"),
        ({"issued": "1.6.2026"}, "--issued: expected a date, year-month-day"),
        ({"models": ("Milrace",)}, "--model: expected a model that a playbook covers: "),
        ({"models": ()}, "--model: expected "),
        ({"enter_from": "2.5"}, "--enter-from: expected a release that the store has for Millrace: 2.6, 2.9, 2.10, "),
        ({"through": ("2.12",)}, "--through: expected a release that the store has for Millrace"),
        ({"back_to": "2.11"}, "--back-to: expected a release older than 2.11 itself, found 2.11"),
    ],
)
def test_mistakes_are_told_by_the_option(day: Path, new: NewImage, changed: dict[str, Any], told: str) -> None:
    said = refused(day, replace(new, **changed)).splitlines()
    assert any(line.startswith(told) for line in said), said
    assert said[-1] == "nothing was changed"


def test_all_mistakes_are_told_at_once(day: Path, new: NewImage, spoil: Spoil) -> None:
    """Those of the list as it stood too, with their place."""
    (day / "images" / "osier-2.9.fen").write_bytes(b"x")
    said = refused(day, replace(new, models=("Milrace",), back_to="2.5")).splitlines()
    assert {line.split(":")[0] for line in said[:-1]} == {"--model", "--enter-from", "--through", "--back-to", LIST}
    assert [line.startswith(LIST) for line in said[:-1]] == [False] * 4 + [True] * 2
    assert "(did you mean Millrace?)" in "\n".join(said)


def test_a_list_with_mistakes_is_not_added_to(day: Path, new: NewImage, spoil: Spoil) -> None:
    spoil(LIST, 'release: "2.10"', "release: 2.10")
    before = standing(day)
    with pytest.raises(MistakesFound, match="unquoted, YAML reads"):
        add_image(day, new)
    assert standing(day) == before


@pytest.mark.parametrize("name", ["a b.fen", "-x", "images.yaml", "images.yaml.signatures"])
def test_names_that_a_store_cannot_have(day: Path, new: NewImage, name: str) -> None:
    assert refused(day, replace(new, file=new.file.rename(new.file.with_name(name))))


def test_a_file_that_is_not_there_empty_or_a_folder(day: Path, new: NewImage) -> None:
    assert "cannot be read: No such file" in refused(day, replace(new, file=new.file.with_name("none.fen")))
    assert "cannot be read" in refused(day, replace(new, file=new.file.parent))
    new.file.write_bytes(b"")
    assert "expected" in refused(day, new)


def test_a_signed_list_is_said_to_be_signed_no_more(day: Path, new: NewImage) -> None:
    sign(day, 1, INES)
    assert add_image(day, new).unsigned
    assert not add_image(day, new).unsigned, "nothing was changed by this one"


def test_a_disk_that_fails_leaves_nothing_half(day: Path, new: NewImage, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("benchday.inputs.store_reading.os.fsync", full)
    assert "cannot be written: No space left on device; nothing was changed" in refused(day, new)


def test_an_edit_meanwhile_is_not_overwritten(day: Path, new: NewImage, monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody saves the list between its reading and its writing."""
    real = store_reading.put

    def put(path: Path, data: bytes, *, replace: bool) -> None:
        real(path, data, replace=replace)
        with (day / LIST).open("a", encoding="utf-8") as file:
            file.write("# edited\n")

    monkeypatch.setattr("benchday.inputs.image_adding.put", put)
    with pytest.raises(InputError, match="was edited meanwhile; add the image again"):
        add_image(day, new)
    assert (day / LIST).read_text(encoding="utf-8").endswith("# edited\n")
    monkeypatch.undo()
    assert add_image(day, new).listed, "the image that was left over is taken"
