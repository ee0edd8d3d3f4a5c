"""The oracle can say no: each kind of wrong is put into a copy of a day that was without fault, and found."""

from __future__ import annotations

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

from tests.safety.kill_day import ONE_WRITE, end_instruments, write_day
from tests.safety.oracle import judge, rows_of

ROOT = Path(__file__).parents[2]
_RUN = """
import pathlib, sys
from tests.safety.kill_day import forked_run
print(forked_run(pathlib.Path(sys.argv[1]), None))
"""


@pytest.fixture(scope="module")
def faultless(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Run a day of one unit to its end."""
    folder = tmp_path_factory.mktemp("oracle") / "day"
    write_day(folder, (ONE_WRITE,))
    try:
        ran = subprocess.run(
            [sys.executable, "-c", _RUN, folder], cwd=ROOT, capture_output=True, text=True, check=False
        )
    finally:
        end_instruments(folder)
    assert ran.stdout == "finished\n", ran.stdout + ran.stderr
    return folder


def test_a_day_without_fault_is_found_so(faultless: Path) -> None:
    assert judge(faultless) == []


def _log(folder: Path) -> Path:
    return folder / "instruments" / ONE_WRITE / "log.jsonl"


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


def _entry_lost(folder: Path) -> None:
    _sql(folder, "DELETE FROM entry WHERE seq = (SELECT max(seq) FROM entry)")


def _entry_changed(folder: Path) -> None:
    _sql(folder, "UPDATE entry SET body = CAST(body || ' ' AS BLOB) WHERE kind = 'act_spent'")


def _act_twice(folder: Path) -> None:
    _sql(
        folder,
        "UPDATE entry SET kind = 'act_spent', body = (SELECT body FROM entry WHERE kind = 'act_spent') "
        "WHERE kind = 'unit_ready'",
    )


def _another_way(folder: Path) -> None:
    _sql(folder, "DELETE FROM entry WHERE kind = 'step_begun' AND instr(body, '\"confirm\"')")


def _another_release(folder: Path) -> None:
    path = folder / "instruments" / ONE_WRITE / "state.json"
    path.write_text(json.dumps(json.loads(path.read_text(encoding="utf-8")) | {"release": "2.9"}), encoding="utf-8")


def _not_handed_back(folder: Path) -> None:
    _sql(folder, "DELETE FROM entry WHERE kind = 'unit_handed_back'")


def _sql(folder: Path, text: str) -> None:
    with closing(sqlite3.connect(folder / "record" / "journal.db")) as database:
        for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            database.execute(f'DROP TRIGGER "{name}"')
        assert database.execute(text).rowcount >= 1
        database.commit()


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (_begins_again, "two images began under the act"),
        (_begins_too_early, "with no act spent before"),
        (_another_image, "another image than the act"),
        (_erases_too_early, "was erased and not recorded as preserved before"),
        (_copy_lost, "was erased and is not whole in the archive"),
        (_entry_lost, "was acknowledged and is lost"),
        (_entry_changed, "the chain is broken"),
        (_act_twice, "spends an act a second time"),
        (_another_way, "write after preserve"),
        (_another_release, "it was handed back and runs 2.9"),
        (_not_handed_back, "it ended as unit_ready"),
    ],
)
def test_what_is_wrong_is_found(faultless: Path, tmp_path: Path, spoil: Callable[[Path], None], said: str) -> None:
    folder = Path(shutil.copytree(faultless, tmp_path / "day", symlinks=True))
    spoil(folder)
    assert any(said in fault for fault in judge(folder)), judge(folder)
