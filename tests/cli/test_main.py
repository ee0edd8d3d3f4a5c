"""The commands as a shell calls them: help, versions, exit statuses, mistakes, faults; and what stays unloaded."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from benchday import __version__
from benchday.cli import main
from benchday.cli.commands.schema import schema_of
from benchday.cli.conduct import status_of
from benchday.cli.documents import DOCUMENTS
from benchday.cli.exits import MEANINGS, Exit
from benchday.domain.errors import IllegalMove, InputError, LinkGone, RecordHeld
from benchday.domain.kinds import KINDS
from benchday.inputs.schemas import FILES

HEAVY = (
    "pydantic",
    "structlog",
    "httpx",
    "cryptography",
    "sqlite3",
    "prompt_toolkit",
    "ruamel",
    "rich",
    "anyio",
    "asyncio",
)
LOADED = """
import sys
from benchday.cli.main import run
sys.argv = ["benchday", *sys.argv[1:]]
try:
    run()
except SystemExit as ended:
    assert not ended.code, ended.code
print("\\n".join({name.split(".")[0] for name in sys.modules}), file=sys.stderr)
"""


def called(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> int:
    """Call benchday in this process; return its exit status."""
    monkeypatch.setattr(sys, "argv", ["benchday", *arguments])
    with pytest.raises(SystemExit) as ended:
        main.run()
    return int(ended.value.code or 0)


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["run", "--help"]])
def test_nothing_heavy_is_loaded_to_say_a_help_or_a_version(arguments: list[str]) -> None:
    ended = subprocess.run([sys.executable, "-c", LOADED, *arguments], capture_output=True, text=True, check=True)
    loaded = set(ended.stderr.split())
    assert "typer" in loaded
    # Typer itself takes pydantic to read the options of a command.
    assert sorted(loaded & set(HEAVY)) == (["pydantic"] if arguments[0] == "run" else [])


def test_the_version_is_told(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    assert called(monkeypatch, "--version") == 0
    assert capsys.readouterr().out == f"benchday {__version__}\n"


def test_every_exit_status_is_in_the_help(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    assert called(monkeypatch, "--help") == 0
    told = capsys.readouterr().out
    assert {int(s) for s in Exit} == {0, 1, 2, 3, 4, 5, 130}
    for status, meaning in MEANINGS.items():
        assert f"{int(status):>3}  {meaning}" in told


def test_unknown_words_name_the_nearest_right_one(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert called(monkeypatch, "validat") == 2
    assert "'validate'" in capsys.readouterr().err
    assert called(monkeypatch, "status", "--jsno") == 2
    assert "--json" in capsys.readouterr().err


def test_mistakes_in_a_day_end_with_two(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], day: Path
) -> None:
    assert called(monkeypatch, "validate", str(day)) == 0
    bench = (day / "bench.yaml").read_text(encoding="utf-8")
    (day / "bench.yaml").write_text(bench.replace("stations:", "statons:"), encoding="utf-8")
    capsys.readouterr()
    assert called(monkeypatch, "validate", str(day), "--json") == 2
    told = json.loads(capsys.readouterr().out)
    DOCUMENTS["validate"].model_validate(told)
    assert any(m["nearest"] == "stations" for m in told["mistakes"])
    assert called(monkeypatch, "run", str(day), "--operator", "Ines Halloran") == 2
    assert "did you mean stations?" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "status", "told"),
    [
        (["status", "{day}"], 1, "there is no record"),
        (["unit", "X1", "--day", "{day}/nowhere"], 2, "holds no day.yaml"),
        (["run", "{day}", "--operator", "Ines Haloran"], 2, "did you mean 'Ines Halloran'?"),
        (["run", "{day}", "--operator", "Ines Halloran", "--pipe", "--no-input"], 2, "exclude each other"),
        (["close", "{day}", "--operator", "Ines Halloran"], 1, "there is no record"),
        (["new", "{day}"], 2, "is not empty"),
        (["schema", "bensch"], 2, "did you mean bench?"),
        (["demo", "{day}/x", "--trouble", "{day}/none"], 2, "no such file"),
    ],
)
def test_what_goes_wrong_is_a_sentence_and_a_status(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    day: Path,
    arguments: list[str],
    status: int,
    told: str,
) -> None:
    assert called(monkeypatch, *(a.format(day=day) for a in arguments)) == status
    said = capsys.readouterr()
    assert told in said.err
    assert "Traceback" not in said.err
    assert not said.out


def test_new_writes_a_day_that_validates(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert called(monkeypatch, "new", str(tmp_path / "mine"), "--json") == 0
    DOCUMENTS["new"].model_validate(json.loads(capsys.readouterr().out))
    assert called(monkeypatch, "validate", str(tmp_path / "mine")) == 0


def test_each_file_entry_and_document_has_a_schema(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert called(monkeypatch, "schema") == 0
    listed = set(capsys.readouterr().out.split())
    for name in (*FILES, *DOCUMENTS, *KINDS):
        assert name in listed
        assert schema_of(name)["$id"] == f"urn:benchday:{name}"


@pytest.mark.parametrize(
    ("raised", "status", "told"),
    [
        (InputError("no such thing"), 2, "no such thing"),
        (LinkGone("the cable is out"), 1, "the cable is out"),
        (RecordHeld("another program writes"), 1, "another program writes"),
        (ExceptionGroup("tasks", [LinkGone("a"), ExceptionGroup("more", [LinkGone("b")])]), 1, "a"),
        (KeyboardInterrupt(), 130, "interrupted"),
    ],
)
def test_what_a_command_raises_becomes_its_status(
    capsys: pytest.CaptureFixture[str], raised: BaseException, status: int, told: str
) -> None:
    def command() -> int:
        raise raised

    assert status_of(command) == status
    assert told in capsys.readouterr().err


@pytest.mark.parametrize("raised", [ZeroDivisionError("oh"), IllegalMove("a unit cannot")])
def test_a_fault_of_ours_is_a_sentence_and_a_report(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path, raised: Exception
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))

    def command() -> int:
        raise raised

    assert status_of(command) == 1
    said = capsys.readouterr().err
    assert type(raised).__name__ in said
    assert "Traceback" not in said
    reports = list(tmp_path.rglob("*.txt"))
    assert len(reports) == 1
    assert str(reports[0]) in said
    assert "Traceback" in reports[0].read_text(encoding="utf-8")


def test_what_an_error_quotes_cannot_steer_the_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    def command() -> int:
        raise LinkGone("it said \x1b[2J\x9b31m\u202e")

    assert status_of(command) == 1
    assert capsys.readouterr().err == "benchday: it said \\x1b[2J\\x9b31m\\u202e\n"
