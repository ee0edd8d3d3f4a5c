"""The example of a plug-in, installed by itself: listed, named in a playbook, and conforming in its own test run."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from benchday.inputs.sample import write_sample
from tests.house.sizes import ROOT
from tests.inputs.conftest import small_image

EXAMPLE = ROOT / "tests" / "plugin_example"


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Install the example into a folder of its own; nothing is fetched."""
    folder = tmp_path_factory.mktemp("plugin")
    source = Path(shutil.copytree(EXAMPLE, folder / "source"))
    pip = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-build-isolation", "--no-index"]
    ran = subprocess.run(
        [*pip, "--target", str(folder / "site"), str(source)], capture_output=True, text=True, check=False
    )
    assert ran.returncode == 0, ran.stderr
    return folder / "site"


def done(installed: Path, *command: str, cwd: Path, expected: int = 0) -> str:
    """Run Python with the plug-in beside benchday, to its end."""
    path = os.pathsep.join(str(p) for p in (installed, ROOT, ROOT / "simulators", ROOT / "playbooks"))
    ran = subprocess.run(
        [sys.executable, *command],
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": path},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert ran.returncode == expected, f"{command} ended with {ran.returncode}:\n{ran.stdout}\n{ran.stderr}"
    return ran.stdout


def test_it_is_listed(installed: Path, tmp_path: Path) -> None:
    """With its distribution and what it can do; what it cannot, a person does."""
    document = json.loads(done(installed, "-m", "benchday.cli.main", "drivers", "--json", cwd=tmp_path))
    (teasel,) = [driver for driver in document["drivers"] if driver["name"] == "teasel"]
    assert (teasel["source"], teasel["version"]) == ("teasel-driver", "1.2")
    assert teasel["entry_point"] == "teasel_driver:make"
    assert teasel["usable"] is True
    assert teasel["capabilities"] == ["identify", "settings", "put settings", "write", "restart"]
    assert teasel["by_hand"] == ["power", "recordings", "fetch", "self-test", "position"]
    assert {"answer_s", "baud"} <= set(teasel["settings"])


def test_a_playbook_may_name_it(installed: Path, tmp_path: Path) -> None:
    """Where it is installed; its settings are checked before anything is opened."""
    day = tmp_path / "day"
    write_sample(day, 7, build_image=small_image)
    own = Path(shutil.copytree(ROOT / "playbooks" / "benchday_playbooks", day / "own"))
    (own / "demo.yaml").unlink()
    text = (day / "day.yaml").read_text(encoding="utf-8")
    (day / "day.yaml").write_text(text.replace("playbooks: shipped ", "playbooks: own "), encoding="utf-8")
    playbook = (own / "millrace.yaml").read_text(encoding="utf-8")
    chosen = playbook.replace("name: console ", "name: teasel ")
    assert chosen != playbook

    def mistakes(text: str) -> list[str]:
        (own / "millrace.yaml").write_text(text, encoding="utf-8")
        expected = 0 if "anser" not in text and "teasle" not in text else 2
        told = done(
            installed, "-m", "benchday.cli.main", "validate", str(day), "--json", cwd=tmp_path, expected=expected
        )
        return [m["nearest"] for m in json.loads(told)["mistakes"]]

    assert mistakes(chosen) == []
    assert mistakes(chosen.replace("    baud:", "    anser_s: 3\n    baud:")) == ["answer_s"]
    assert mistakes(chosen.replace("name: teasel", "name: teasle")) == ["teasel"]


def test_it_conforms_in_its_own_run(installed: Path, tmp_path: Path) -> None:
    """The suites run from the plug-in's side, with nothing of these tests."""
    for name in ("conformance.py", "teasel_unit.py"):
        shutil.copy(EXAMPLE / name, tmp_path)
    command = ("-m", "pytest", "-q", "--no-header", "-p", "no:cacheprovider", "conformance.py")
    assert "8 passed" in done(installed, *command, cwd=tmp_path)
