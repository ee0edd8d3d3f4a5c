"""The drill of the docs, run to the letter in a shell on a day that is running."""

import json
import os
import re
import sqlite3
import subprocess
import sys
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "benchday" / "docs" / "copies.md").read_text(encoding="utf-8")
LONGEST_S = 600


@pytest.fixture
def environment(tmp_path: Path) -> Mapping[str, str]:
    """Let ``benchday`` be this tree's, in an environment of its own."""
    program = tmp_path / "bin" / "benchday"
    program.parent.mkdir()
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m benchday.cli.main "$@"\n', encoding="utf-8")
    program.chmod(0o755)
    paths = os.pathsep.join(str(p) for p in (ROOT, ROOT / "simulators", ROOT / "playbooks"))
    return os.environ | {
        "PATH": f"{program.parent}{os.pathsep}{os.environ['PATH']}",
        "PYTHONPATH": paths,
        "XDG_STATE_HOME": str(tmp_path / "state"),
    }


def test_the_drill_can_be_followed(tmp_path: Path, environment: Mapping[str, str]) -> None:
    """Each command ends as the page says; nothing that stood in the copy is lost, and the day comes to its end."""
    (drill,) = re.findall(r"```sh\n(.*?)```", PAGE, re.DOTALL)
    here = tmp_path / "drill-ground"
    here.mkdir()
    ran = subprocess.run(
        ["bash", "-e", "-x", "-c", drill],
        cwd=here,
        env=environment,
        capture_output=True,
        text=True,
        timeout=LONGEST_S,
        check=False,
    )
    told = f"{ran.stdout}\n{ran.stderr}"
    assert ran.returncode == 0, told
    assert not list((tmp_path / "state").rglob("*.txt")), told
    assert "DOES NOT PROVE" in ran.stdout
    assert "is empty, although entries were recorded there" in ran.stderr
    assert "The day is done and closed." in ran.stdout
    (aside,) = (here / "drill").glob("record.aside-*")
    assert f"set aside, nothing of it deleted: drill/{aside.name}" in ran.stdout
    lost = re.search(r"LOST: entries (\d+) to (\d+) of bench", ran.stdout)
    with closing(sqlite3.connect(here / "drill" / "record" / "journal.db")) as database:
        rows = database.execute("SELECT seq, kind, body FROM entry ORDER BY seq").fetchall()
    (restored,) = [json.loads(body)["facts"] | {"seq": seq} for seq, kind, body in rows if kind == "record_restored"]
    assert restored["seq"] == restored["through"] + 1
    assert restored["lost"] == (int(lost[2]) - int(lost[1]) + 1 if lost else 0)
    held = re.findall(r"HELD until .*: (.*)\.$", ran.stdout, re.MULTILINE)
    after = [(kind, json.loads(body)) for seq, kind, body in rows if seq > restored["seq"]]
    assert [e["unit"] for kind, e in after if kind == "unit_held"][: len(held)] == held
