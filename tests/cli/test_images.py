"""benchday images, as a shell calls it: what it says, its documents and statuses."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import anyio
import pytest

from benchday.cli.documents import DOCUMENTS
from benchday.inputs.day import load_day
from benchday.inputs.source import digest
from benchday.wiring import RunOptions, opened
from tests.cli.test_main import called

INES, TOBIAS = "Ines Halloran", "Tobias Wren"
BYTES = b"the bytes of release 2.11" * 40
Patch = pytest.MonkeyPatch
Said = pytest.CaptureFixture[str]


@pytest.fixture
def image(tmp_path: Path) -> Path:
    """Give an image outside the store."""
    path = tmp_path / "millrace-2.11.fen"
    path.write_bytes(BYTES)
    return path


def adding(image: Path, day: Path, *more: str) -> list[str]:
    said = ["--source", "the maker's page", "--approved-by", INES, "--release", "2.11", "--issued", "2026-06-01"]
    return ["images", "add", str(image), str(day), *said, "--model", "Millrace", *more]


def checked(monkeypatch: Patch, capsys: Said, day: Path) -> tuple[int, dict[str, Any]]:
    """Check the store; return status and document."""
    capsys.readouterr()
    status = called(monkeypatch, "images", "check", str(day), "--json")
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    DOCUMENTS["images-check"].model_validate(told)
    return status, told


def begin(day: Path) -> None:
    """Begin the day, so that its record has seen the list."""

    async def run() -> None:
        async with opened(day, load_day(day), RunOptions(watch=False)):
            pass

    anyio.run(run)


def test_add_list_and_add_again(monkeypatch: Patch, capsys: Said, day: Path, image: Path) -> None:
    assert called(monkeypatch, *adding(image, day, "--back-to", "2.10", "--through", "2.9")) == 0
    said = capsys.readouterr().out
    assert digest(BYTES) in said
    assert "listed as release 2.11 for Millrace; the list has the number 2 now" in said
    assert called(monkeypatch, "images", "list", str(day)) == 0
    shown = capsys.readouterr().out
    assert ["2.11", "2026-06-01", "Millrace", "all", "1.0", "kB", digest(BYTES)[:12]] in [
        line.split() for line in shown.splitlines()
    ]
    rest = "older units pass through 2.9; back to 2.10 at the oldest; from the maker's page; approved by Ines Halloran"
    assert f"    millrace-2.11.fen: {rest}" in shown
    assert "list 2, does not expire, not signed" in shown
    assert called(monkeypatch, *adding(image, day, "--back-to", "2.10", "--through", "2.9")) == 0
    assert "is there and listed already; nothing was changed" in capsys.readouterr().out


def test_what_add_refuses_ends_with_two(monkeypatch: Patch, capsys: Said, day: Path, image: Path) -> None:
    assert called(monkeypatch, *adding(image, day, "--back-to", "2.5", "--trial")) == 2
    said = capsys.readouterr()
    assert not said.out
    assert "--trial: expected a suffix" in said.err or "--release: expected a suffix" in said.err
    assert "nothing was changed" in said.err
    assert not (day / "images" / image.name).exists()
    assert called(monkeypatch, *adding(image, day)[:-2]) == 2
    assert "--model" in capsys.readouterr().err


def test_the_document_of_the_list(monkeypatch: Patch, capsys: Said, day: Path) -> None:
    assert called(monkeypatch, "images", "list", str(day), "--json") == 0
    told = json.loads(capsys.readouterr().out)
    DOCUMENTS["images-list"].model_validate(told)
    assert next(iter(told)) == "benchday"
    assert told["benchday"] == "images-list/1"
    assert (told["image_list"]["sequence"], told["image_list"]["signatures_needed"]) == (1, 0)
    assert [i["release"] for i in told["images"] if i["models"] == ["Millrace"]] == ["2.6", "2.9", "2.10"]


def test_check_reads_every_file(monkeypatch: Patch, capsys: Said, day: Path, image: Path) -> None:
    status, told = checked(monkeypatch, capsys, day)
    assert (status, told["mistakes"], told["newest_seen"]) == (0, [], 0)
    whole = (day / "images" / "tiller-2.3.fen").read_bytes()
    (day / "images" / "tiller-2.3.fen").write_bytes(whole + b"\0")
    (day / "images" / "osier-2.6.fen").unlink()
    (day / "images" / image.name).write_bytes(BYTES)
    status, told = checked(monkeypatch, capsys, day)
    assert status == 3
    assert {m["file"] for m in told["mistakes"]} == {"images/images.yaml"}
    assert all(m["line"] and m["column"] for m in told["mistakes"])
    assert len(told["mistakes"]) == 3, "size and digest of the one, the other is not there"
    assert [n["text"] for n in told["notices"] if n["file"] == f"images/{image.name}"] == [
        "is in the store and not in its list"
    ]
    assert called(monkeypatch, "images", "check", str(day)) == 3
    assert "3 mistakes; put this right before anything is written to a unit." in capsys.readouterr().out


def test_check_of_a_list_that_cannot_be_read(monkeypatch: Patch, capsys: Said, day: Path) -> None:
    (day / "images" / "images.yaml").write_text("images: [", encoding="utf-8")
    status, told = checked(monkeypatch, capsys, day)
    assert (status, told["image_list"], len(told["mistakes"])) == (3, None, 1)
    assert called(monkeypatch, "images", "list", str(day)) == 2


def test_check_compares_the_expiry_with_today(monkeypatch: Patch, capsys: Said, day: Path) -> None:
    path = day / "images" / "images.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("images:\n", 'expires: "2031-06-16"\nimages:\n'), encoding="utf-8")
    monkeypatch.setattr("benchday.cli.commands.images._today", lambda: "2031-06-16")
    assert checked(monkeypatch, capsys, day)[0] == 0
    monkeypatch.setattr("benchday.cli.commands.images._today", lambda: "2031-06-17")
    status, told = checked(monkeypatch, capsys, day)
    assert (status, told["on"], len(told["mistakes"])) == (3, "2031-06-17", 1)
    assert called(monkeypatch, "validate", str(day)) == 0, "the day itself is earlier"


def test_keys_signatures_and_what_follows(
    monkeypatch: Patch, capsys: Said, day: Path, image: Path, tmp_path: Path
) -> None:
    for name, file in ((INES, "ines.pem"), (TOBIAS, "tobias.pem")):
        assert called(monkeypatch, "images", "key", str(tmp_path / file), "--name", name) == 0
        lines = (
            capsys.readouterr().out.split("\n\n")[1].replace("image_keys:\n", "" if name == TOBIAS else "image_keys:\n")
        )
        with (day / "bench.yaml").open("a", encoding="utf-8") as bench:
            bench.write(lines.rstrip("\n") + "\n")
    with (day / "bench.yaml").open("a", encoding="utf-8") as bench:
        bench.write("image_signatures: 2\n")
    assert called(monkeypatch, "validate", str(day)) == 2
    assert called(monkeypatch, "run", str(day), "--operator", INES) == 2
    for name, file in ((INES, "ines.pem"), (TOBIAS, "tobias.pem")):
        assert called(monkeypatch, "images", "sign", str(day), "--key", str(tmp_path / file), "--name", name) == 0
    assert f"Signed now by {INES}, {TOBIAS}." in capsys.readouterr().out
    status, told = checked(monkeypatch, capsys, day)
    assert (status, told["image_list"]["signed_by"]) == (0, [INES, TOBIAS])
    assert called(monkeypatch, *adding(image, day)) == 0
    assert "not signed any more: sign it anew with" in capsys.readouterr().out
    assert called(monkeypatch, "validate", str(day)) == 2


def test_sign_points_at_keys_that_count_nowhere_or_lie_at_the_bench(
    monkeypatch: Patch, capsys: Said, day: Path
) -> None:
    assert called(monkeypatch, "images", "key", str(day / "ines.pem"), "--name", INES) == 0
    assert called(monkeypatch, "images", "sign", str(day), "--key", str(day / "ines.pem"), "--name", INES) == 0
    said = capsys.readouterr().out
    assert "until it has, this signature counts for nothing there" in said
    assert "move it away, a private key is never kept at a bench" in said
    assert called(monkeypatch, "images", "key", str(day / "ines.pem"), "--name", INES) == 2
    assert "never written over" in capsys.readouterr().err


def test_a_list_older_than_the_record_has_seen(monkeypatch: Patch, capsys: Said, day: Path, image: Path) -> None:
    """Told by validate and check with its place; and another day is not begun on it."""
    first = (day / "images" / "images.yaml").read_bytes()
    assert called(monkeypatch, *adding(image, day)) == 0
    begin(day)
    assert checked(monkeypatch, capsys, day)[1]["newest_seen"] == 2
    (day / "images" / "images.yaml").write_bytes(first)
    status, told = checked(monkeypatch, capsys, day)
    assert status == 3
    (mistake,) = told["mistakes"]
    assert (mistake["line"], mistake["column"]) == (8, 11)
    assert mistake["expected"] == "at least 2, the newest that this record has seen (bench saltmere-1)"
    assert called(monkeypatch, "validate", str(day)) == 2
    text = (day / "day.yaml").read_text(encoding="utf-8")
    (day / "day.yaml").write_text(text.replace("2026-06-16", "2026-06-17"), encoding="utf-8")
    capsys.readouterr()
    assert called(monkeypatch, "run", str(day), "--operator", INES, "--no-input") == 2
    assert "images/images.yaml: the image list is refused: expected at least 2" in capsys.readouterr().err


def test_what_another_bench_of_the_record_has_seen_counts(monkeypatch: Patch, capsys: Said, day: Path) -> None:
    path = day / "images" / "images.yaml"
    first = path.read_bytes()
    path.write_bytes(first.replace(b"sequence: 1", b"sequence: 4"))
    begin(day)
    path.write_bytes(first)
    bench = (day / "bench.yaml").read_text(encoding="utf-8")
    (day / "bench.yaml").write_text(bench.replace("bench: saltmere-1", "bench: saltmere-2"), encoding="utf-8")
    assert called(monkeypatch, "run", str(day), "--operator", INES, "--no-input") == 2
    assert "at least 4, the newest that this record has seen (bench saltmere-1)" in capsys.readouterr().err


def test_a_record_that_cannot_be_read_is_no_reason_to_refuse_a_list(
    monkeypatch: Patch, capsys: Said, day: Path
) -> None:
    (day / "record").mkdir()
    (day / "record" / "journal.db").write_bytes(b"no database at all" * 100)
    status, told = checked(monkeypatch, capsys, day)
    assert status == 0
    assert any("was compared with nothing" in n["text"] for n in told["notices"])
