"""The checker can say no: each kind of wrong is put into a copy of a day that was without fault, and found."""

from __future__ import annotations

import ast
import hashlib
import json
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from tests.faults.checker import COLUMNS, canonical, rows_of, violations
from tests.faults.days import TWO_WRITES

ROOT = Path(__file__).parents[2]
CHECKER = ROOT / "tests" / "faults" / "checker.py"
_RUN = """
import pathlib, sys
from tests.faults.days import TWO_WRITES, Ground
from tests.faults.forked import Instruments, Program
from tests.faults.points import Points
ground = Ground.laid_out(pathlib.Path(sys.argv[1]), (TWO_WRITES,))
instruments = Instruments(ground)
instruments.start()
print(Program(ground, Points(ground.folder)).ended(120))
instruments.stop()
"""


@pytest.fixture(scope="module")
def faultless(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Run a day of one unit with two writes to its end."""
    folder = tmp_path_factory.mktemp("checker") / "day"
    ran = subprocess.run([sys.executable, "-c", _RUN, folder], cwd=ROOT, capture_output=True, text=True, check=False)
    assert ran.stdout == "finished\n", ran.stdout + ran.stderr
    return folder


def test_it_shares_nothing_with_what_it_judges() -> None:
    """Its imports are the standard library's alone."""
    imported: set[str] = set()
    for node in ast.walk(ast.parse(CHECKER.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            imported |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0
            imported.add((node.module or "").split(".")[0])
    assert imported <= sys.stdlib_module_names
    assert "importlib" not in imported


def checked(folder: Path) -> tuple[int, str]:
    """Run the checker as its own program, outside the tree."""
    command = [sys.executable, "-I", str(CHECKER), str(folder), "--finished"]
    ran = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    assert ran.stderr == ""
    return ran.returncode, ran.stdout


def test_a_day_without_fault_is_found_so(faultless: Path) -> None:
    assert checked(faultless) == (0, "")


def test_a_day_that_never_began_holds_nothing_wrong(tmp_path: Path) -> None:
    """Nor does a database that was killed before it had its table."""
    assert violations(tmp_path) == []
    (tmp_path / "record").mkdir()
    sqlite3.connect(tmp_path / "record" / "journal.db").close()
    assert violations(tmp_path, finished=True) == []


def test_a_line_that_a_kill_cut_off_is_passed_over(faultless: Path, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(faultless, tmp_path / "day", symlinks=True))
    with _log(folder).open("ab") as log:
        log.write(b'{"at_us": 1, "what": "image_be\n{"at_us": 2, "what"')
    assert violations(folder) == []


# Ways to spoil a day.


def _log(folder: Path) -> Path:
    return folder / "instruments" / TWO_WRITES / "log.jsonl"


def _lines(folder: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in _log(folder).read_text(encoding="utf-8").splitlines()]


def _write_lines(folder: Path, lines: list[dict[str, Any]]) -> None:
    _log(folder).write_text("".join(json.dumps(line) + "\n" for line in lines), encoding="utf-8")


def _begins_again(folder: Path) -> None:
    lines = _lines(folder)
    begun = next(x for x in lines if x["what"] == "image_begin")
    _write_lines(folder, [*lines, {**begun, "at_us": lines[-1]["at_us"] + 1}])


def _begins_too_early(folder: Path) -> None:
    at = next(r.wall_us for r in rows_of(folder) if r.kind == "act_spent")
    _write_lines(folder, [x | {"at_us": at - 1} if x["what"] == "image_begin" else x for x in _lines(folder)])


def _another_image(folder: Path) -> None:
    _write_lines(folder, [x | {"sha256": "0" * 64} if x["what"] == "image_end" else x for x in _lines(folder)])


def _erases_too_early(folder: Path) -> None:
    at = next(r.wall_us for r in rows_of(folder) if r.kind == "recording_preserved")
    _write_lines(folder, [x | {"at_us": at - 1} if x["what"] == "erased" else x for x in _lines(folder)])


def _copy_lost(folder: Path) -> None:
    digest = next(r.facts["sha256"] for r in rows_of(folder) if r.kind == "recording_preserved")
    (folder / "record" / "archive" / digest[:2] / digest).write_bytes(b"something else")


def _copy_gone_of_what_was_let_go(folder: Path) -> None:
    lines = _lines(folder)
    other = [{**x, "sha256": "1" * 64} for line in lines for x in line.get("recordings", ())]
    _write_lines(folder, [x | {"recordings": other} if x["what"] == "erased" else x for x in lines])


def _never_whole(folder: Path) -> None:
    _write_lines(folder, [x | {"outcome": "cut"} if x["what"] == "image_end" else x for x in _lines(folder)])


def _other_size(folder: Path) -> None:
    _write_lines(folder, [x | {"bytes": 7} if x["what"] == "image_begin" else x for x in _lines(folder)])


def _state(folder: Path, **other: object) -> None:
    path = folder / "instruments" / TWO_WRITES / "state.json"
    path.write_text(json.dumps(json.loads(path.read_text(encoding="utf-8")) | other), encoding="utf-8")


def _another_release(folder: Path) -> None:
    _state(folder, release="2.9")


def _boot_loader(folder: Path) -> None:
    _state(folder, mode="boot")


def _still_writing(folder: Path) -> None:
    _state(folder, writing="taking")


def _sql(folder: Path, *texts: str) -> None:
    with closing(sqlite3.connect(folder / "record" / "journal.db")) as database:
        for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            database.execute(f'DROP TRIGGER "{name}"')
        for text in texts:
            assert database.execute(text).rowcount >= 1
        database.commit()


def _entry_missing(folder: Path) -> None:
    _sql(folder, "DELETE FROM entry WHERE kind = 'power_read'")


def _entry_changed(folder: Path) -> None:
    _sql(folder, "UPDATE entry SET body = CAST(body || ' ' AS BLOB) WHERE kind = 'act_spent'")


def _column_changed(folder: Path) -> None:
    _sql(folder, "UPDATE entry SET operator = 'Somebody Else' WHERE kind = 'permit_given'")


def _chained_anew(change: Callable[[list[dict[str, Any]]], list[dict[str, Any]]]) -> Callable[[Path], None]:
    """Return a way to spoil a day whose chain is made anew afterwards: it holds, and tells a wrong story."""

    def spoil(folder: Path) -> None:
        told = change([row.told for row in rows_of(folder)])
        with closing(sqlite3.connect(folder / "record" / "journal.db")) as database:
            for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
                database.execute(f'DROP TRIGGER "{name}"')
            database.execute("DELETE FROM entry")
            prev = bytes(32)
            for seq, entry in enumerate(told, 1):
                body = canonical({**entry, "seq": seq})
                digest = hashlib.sha256(prev + body).digest()
                columns = [{**entry, "seq": seq}[n] for n in COLUMNS]
                places = ", ".join("?" * 13)
                database.execute(f"INSERT INTO entry VALUES ({places})", (*columns, body, prev, digest))  # noqa: S608
                prev = digest
            database.commit()

    return spoil


def _without(kind: str, nth: int | None = None, **facts: str) -> Callable[[Path], None]:
    """Leave out the entries of a kind with these facts, or the n-th of them alone."""

    def change(told: list[dict[str, Any]]) -> list[dict[str, Any]]:
        out = [e for e in told if e["kind"] == kind and facts.items() <= e["facts"].items()]
        out = out if nth is None else out[nth : nth + 1]
        assert out
        return [e for e in told if e not in out]

    return _chained_anew(change)


def _with(kind: str, **facts: object) -> Callable[[Path], None]:
    """Let every entry of a kind say something else."""

    def change(told: list[dict[str, Any]]) -> list[dict[str, Any]]:
        assert any(e["kind"] == kind for e in told)
        return [{**e, "facts": {**e["facts"], **facts}} if e["kind"] == kind else e for e in told]

    return _chained_anew(change)


def _before(kind: str, *inserted: tuple[str, dict[str, object]]) -> Callable[[Path], None]:
    """Put entries before each of a kind."""

    def change(told: list[dict[str, Any]]) -> list[dict[str, Any]]:
        more = []
        for entry in told:
            if entry["kind"] == kind:
                more += [{**entry, "kind": k, "facts": f} for k, f in inserted]
            more.append(entry)
        return more

    return _chained_anew(change)


def _twice(kind: str) -> Callable[[Path], None]:
    return _chained_anew(lambda told: [e for entry in told for e in (entry, entry)[: 1 + (entry["kind"] == kind)]])


STOPPED: dict[str, object] = {"model": "Millrace", "release": "2.6", "reason": "another unit was cut short"}
SPOILT: dict[str, tuple[Callable[[Path], None], str]] = {
    "an image that begins again": (_begins_again, "a second image began under the act"),
    "an image before its intent": (_begins_too_early, "with no act spent before"),
    "another image": (_another_image, "another image than was permitted went in"),
    "an image of another size": (_other_size, "bytes began, entry"),
    "a write that never was whole": (_never_whole, "never went in whole"),
    "a recording erased before it was copied": (_erases_too_early, "was erased and not recorded as preserved before"),
    "a recording nobody copied": (_copy_gone_of_what_was_let_go, "was erased and not recorded as preserved before"),
    "a copy lost": (_copy_lost, "was erased and is not whole in the archive"),
    "a unit on another release": (_another_release, "handed back, and runs 2.9 (run)"),
    "a unit in its boot loader": (_boot_loader, "handed back, and runs 2.10 (boot)"),
    "a unit that is still being written": (_still_writing, "what it runs is not there for good"),
    "an entry that is missing": (_entry_missing, "are missing"),
    "an entry that was changed": (_entry_changed, "the digest is not that of its body"),
    "a column that was changed": (_column_changed, "column operator is 'Somebody Else'"),
    "an act spent twice": (_twice("act_spent"), "an act is spent a second time"),
    "an act of no permit": (_without("permit_given"), "of a permit that does not hold"),
    "a permit nobody confirmed": (_without("item_answered", by="simulated"), "did not confirm since the program"),
    "a permit voided": (
        _before("act_spent", ("unit_held", {"code": "x", "reason": "x", "lifts": "x"})),
        "of a permit that does not hold",
    ),
    "a permit of an earlier run": (_before("act_spent", ("program_started", {})), "of a permit that does not hold"),
    "an act for another image": (_with("act_spent", digest="0" * 64), "is not the one that entry"),
    "an act on a stopped line": (_before("act_spent", ("line_stopped", STOPPED)), "line of Millrace 2.6 is stopped"),
    "an act while another is open": (_without("act_ended"), "has not ended"),
    "a step left out": (_without("step_begun", step="confirm"), "write after preserve"),
    "a write not verified": (_without("unit_verified"), "ready, with nothing verified"),
    "a unit verified before its last write": (_without("unit_verified", nth=1), "ready, with nothing verified"),
    "a unit with another target": (_with("target_set", release="2.12"), "and 2.12 as its target"),
    "another release verified than was written": (_with("unit_verified", release="2.8"), "2.8 is verified, entry"),
    "a unit left on its way": (_without("unit_ready"), "unit_handed_back after last look"),
    "a unit not handed back": (_without("unit_handed_back"), "the day has ended, and the unit is left in unit_ready"),
}


@pytest.mark.parametrize("name", SPOILT)
def test_what_is_wrong_is_found(faultless: Path, tmp_path: Path, name: str) -> None:
    spoil, said = SPOILT[name]
    folder = Path(shutil.copytree(faultless, tmp_path / "day", symlinks=True))
    spoil(folder)
    found = violations(folder, finished=True)
    assert any(said in words for words in found), found


def test_it_says_so_and_ends_with_one(faultless: Path, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(faultless, tmp_path / "day", symlinks=True))
    _another_release(folder)
    status, said = checked(folder)
    assert status == 1
    assert said.startswith(f"unit {TWO_WRITES}, state.json: handed back, and runs 2.9")
