"""demo --trouble: read before anything starts, kept by the day that was begun with it."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchday.cli.commands.demo import demo
from benchday.cli.conduct import status_of
from benchday.demo.troubles import laid_out, named
from benchday.domain.errors import InputError, MistakesFound
from benchday.inputs.sample import scenario_of
from benchday_simulators.trouble_file import Script


def asked(folder: Path, trouble: Path) -> int:
    """Call the command as a shell would; gives its exit status."""
    return status_of(lambda: demo(folder, 3, 1, 600, trouble, as_json=False))


def test_a_bad_file_ends_it_before_anything_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "bad.yaml"
    file.write_text('- {unit: "007421530018", what: cabel out}\n- {unit: any, what: silent, secs: 3}\n')
    assert asked(tmp_path / "day", file) == 2
    said = capsys.readouterr()
    assert f"{file}:1:32: expected one of cable out, " in said.err
    assert said.err.count("(did you mean cable out?)") == 1
    assert f"{file}:2:29: expected one of the keys unit, " in said.err
    assert (said.out, (tmp_path / "day").exists()) == ("", False)


def test_who_is_not_there_cannot_suffer(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "bad.yaml"
    file.write_text('- {unit: "WS-41-00298", what: silent}\n- {unit: "WS-41-00297", what: hangs up}\n')
    assert asked(tmp_path / "day", file) == 2
    said = capsys.readouterr().err
    assert "found WS-41-00298 (did you mean WS-41-00297?)" in said
    assert "expected what a Weirstone can suffer: " in said
    assert not (tmp_path / "day").exists()


def test_a_shipped_file_goes_by_its_name() -> None:
    assert named(Path("bad-morning")).name == "bad-morning.yaml"
    with pytest.raises(InputError, match=r"did you mean bad-morning\?"):
        named(Path("bad-mornin"))


def test_a_day_keeps_what_it_was_begun_with(tmp_path: Path) -> None:
    scenario = scenario_of(3, 1)
    file, other = tmp_path / "one.yaml", tmp_path / "other.yaml"
    # In any style of YAML; it is written down in one.
    file.write_text("[{unit: any, what: garbled, times: always, then: [{what: silent, seconds: 0.5}]}]")
    other.write_text("- {unit: any, what: stuck}")
    told = Script(laid_out(tmp_path / "instruments", scenario, file))
    assert [entry.what for entry in told.entries][-1] == "garbled"
    assert len(told.entries) == len(scenario.trouble) + 1
    for again in (file, None):
        assert Script(laid_out(tmp_path / "instruments", scenario, again)).as_data() == told.as_data()
    with pytest.raises(InputError, match="was begun with other trouble"):
        laid_out(tmp_path / "instruments", scenario, other)


def test_a_day_begun_without_is_not_given_any_later(tmp_path: Path) -> None:
    scenario = scenario_of(3, 1)
    other = tmp_path / "other.yaml"
    other.write_text("- {unit: any, what: stuck}")
    assert len(Script(laid_out(tmp_path / "instruments", scenario, None)).entries) == len(scenario.trouble)
    with pytest.raises(InputError, match="was begun with other trouble"):
        laid_out(tmp_path / "instruments", scenario, other)


def test_what_was_kept_is_checked_again(tmp_path: Path) -> None:
    scenario = scenario_of(3, 1)
    laid_out(tmp_path / "instruments", scenario, named(Path("half-written")))
    (tmp_path / "instruments" / "more-trouble.yaml").write_text("- {unit: any, what: stuk}")
    with pytest.raises(MistakesFound, match="did you mean stuck"):
        laid_out(tmp_path / "instruments", scenario, None)
