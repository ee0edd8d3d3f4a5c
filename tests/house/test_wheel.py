"""The wheel is whole: installed by itself it has everything, and runs the demo in an empty folder."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import venv
import zipfile
from pathlib import Path
from sysconfig import get_path

import pytest

from tests.house.sizes import ROOT

PACKAGES = {
    "benchday": ROOT / "benchday",
    "benchday_simulators": ROOT / "simulators" / "benchday_simulators",
    "benchday_playbooks": ROOT / "playbooks" / "benchday_playbooks",
}


def done(command: list[str], cwd: Path, **environment: str) -> str:
    """Run a program to its end and return what it said."""
    ran = subprocess.run(
        command,
        cwd=cwd,
        env={**os.environ, **environment},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert ran.returncode == 0, f"{' '.join(command)} ended with {ran.returncode}:\n{ran.stdout}\n{ran.stderr}"
    return ran.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the wheel with what is installed; nothing is fetched."""
    folder = tmp_path_factory.mktemp("wheel")
    pip = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--no-build-isolation", "--wheel-dir"]
    done([*pip, str(folder), str(ROOT)], folder)
    (built,) = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Install the wheel alone into a new environment; return its folder of programs."""
    folder = tmp_path_factory.mktemp("new") / "venv"
    venv.create(folder, symlinks=os.name == "posix")
    bin_folder = folder / ("Scripts" if os.name == "nt" else "bin")
    python = str(bin_folder / "python")
    done([sys.executable, "-m", "pip", "--python", python, "install", "--quiet", "--no-deps", str(wheel)], folder)
    return bin_folder


def alone(installed: Path, *command: str, cwd: Path) -> str:
    """Run a program of the new environment.

    The core's dependencies come from the environment of this test by PYTHONPATH. Python reads no .pth file there, and
    an editable benchday is one: so what is imported as benchday is the wheel's.
    """
    return done([str(installed / command[0]), *command[1:]], cwd, PYTHONPATH=get_path("purelib"))


def shipped(folder: Path) -> set[str]:
    """Return what a package must ship, relative to its folder."""
    return {
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


@pytest.mark.parametrize("name", PACKAGES)
def test_every_file_is_in_it(wheel: Path, name: str) -> None:
    """Code and data (YAML, SQL, schemas, docs), no more and no less."""
    with zipfile.ZipFile(wheel) as zipped:
        packed = {n.removeprefix(f"{name}/") for n in zipped.namelist() if n.startswith(f"{name}/")}
    assert packed == shipped(PACKAGES[name])
    if name == "benchday":
        assert {"docs/files.md", "inputs/schemas/day.json", "record/migrations/0001.sql", "py.typed"} <= packed


def test_nothing_else_is_in_it(wheel: Path) -> None:
    """Three packages and the metadata, with the licence."""
    with zipfile.ZipFile(wheel) as zipped:
        tops = {name.partition("/")[0] for name in zipped.namelist()}
        (metadata,) = tops - set(PACKAGES)
        assert metadata.endswith(".dist-info")
        assert any(name.endswith("licenses/LICENSE") for name in zipped.namelist())


def test_there_are_no_stale_copies() -> None:
    """What is imported here is this tree, not a copy that an installation left behind."""
    assert [name for name in PACKAGES if (Path(get_path("purelib")) / name).exists()] == []


def test_it_is_the_wheel_that_runs(installed: Path, tmp_path: Path) -> None:
    """All three packages come from the new environment."""
    script = "import benchday, benchday_simulators, benchday_playbooks as p; print(benchday.__file__, p.__file__)"
    told = alone(installed, "python", "-c", script, cwd=tmp_path).split()
    assert all(Path(path).is_relative_to(installed.parent) for path in told)


def test_it_runs_the_demo_in_an_empty_folder(installed: Path, tmp_path: Path) -> None:
    """A whole day with a few units, with nothing but the wheel; it stays in its folder."""
    told = alone(installed, "benchday", "demo", "--units", "3", "--json", cwd=tmp_path)
    report = json.loads(told)
    assert report["benchday"] == "demo/1"
    assert report["simulated"] is True
    assert [unit["outcome"] for unit in report["units"]].count("handed-back") >= 2
    assert [path.name for path in tmp_path.iterdir()] == ["benchday-demo"]
