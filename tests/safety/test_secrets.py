"""Passwords and keys stay where they are: a real unit with a sign-in, tried with all that can be said about it."""

from __future__ import annotations

import json
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from benchday.inputs.playbook_files import shipped_folder
from tests.simulators.stranger import SERIAL, unit

COMMAND = [sys.executable, "-m", "benchday.cli.main"]


@pytest.mark.parametrize("known", [True, False], ids=["let in", "turned away"])
@pytest.mark.parametrize("model", ["Osier", "Fenbook"])
def test_a_password_is_in_no_output_no_transcript_and_no_log(tmp_path: Path, model: str, known: bool) -> None:
    """Let in or turned away, as text and as JSON, with all that can be logged."""
    with unit(model, tmp_path / SERIAL) as process:
        process.hand(do="external power", on=True)
        process.wait_for("hands")
        told = json.loads(process.link.read_text(encoding="utf-8"))
        secret = told["password"] if known else "heron-and-reed"
        place = tmp_path / "unit.json"
        place.write_text(json.dumps({**told, "password": secret}), encoding="utf-8")
        playbook, transcript = shipped_folder() / f"{model.lower()}.yaml", tmp_path / "said.txt"
        for more in ([], ["--json"]):
            made = subprocess.run(
                [*COMMAND, "try", str(playbook), str(place), "--serial", SERIAL, "--transcript", transcript, *more],
                capture_output=True, timeout=600, check=False, env={**os.environ, "BENCHDAY_LOG": "debug"},
            )  # fmt: skip
            said = made.stdout + made.stderr + transcript.read_bytes()
            assert made.returncode in (0, 3), made.stderr.decode()
            assert len(secret) >= 8
            assert secret.encode() not in said
            assert (b"identify: works" in said or b'"outcome": "works"' in said) == known
        assert stat.S_IMODE(transcript.stat().st_mode) == 0o600


def test_a_transcript_replaces_nothing_but_a_transcript(tmp_path: Path) -> None:
    """A slip of the hand does not cost a roster, and no pipe is waited for."""
    roster, pipe = tmp_path / "roster.csv", tmp_path / "pipe"
    roster.write_text("serial,model\n", encoding="utf-8")
    os.mkfifo(pipe)
    for path, told in ((roster, "is no transcript"), (pipe, "a pipe or a device"), (tmp_path, "a folder")):
        made = subprocess.run(
            [*COMMAND, "try", str(shipped_folder() / "gantry.yaml"), "/dev/null", "--transcript", str(path)],
            capture_output=True, text=True, timeout=600, check=False,
        )  # fmt: skip
        assert made.returncode == 2
        assert told in made.stderr
    assert roster.read_text(encoding="utf-8") == "serial,model\n"
