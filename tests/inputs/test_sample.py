"""The sample day: right as it stands, whole, and telling at every size."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchday.domain.cautions import Every, Moment, cautions_at
from benchday.domain.errors import InputError
from benchday.domain.releases import Version
from benchday.domain.scenario import Coming, Scenario
from benchday.domain.units import Ability, Role
from benchday.inputs.checked import checked
from benchday.inputs.day import load_day
from benchday.inputs.sample import read_scenario, scenario_of, scenario_text, shipped_scenario, write_sample
from benchday.inputs.sample_images import RELEASES
from benchday.inputs.yaml_text import read_yaml
from tests.inputs.conftest import mistakes_of, small_image


def test_it_validates(written: tuple[Path, Scenario]) -> None:
    folder, _ = written

    assert mistakes_of(folder) == []


def test_the_same_seed_writes_the_same_bytes(written: tuple[Path, Scenario], tmp_path: Path) -> None:
    folder, scenario = written
    assert write_sample(tmp_path / "again", 7, build_image=small_image) == scenario

    for path in folder.rglob("*"):
        if path.is_file():
            assert (tmp_path / "again" / path.relative_to(folder)).read_bytes() == path.read_bytes()


@pytest.mark.parametrize("units", [1, 3, 8, 20, 21, 60])
def test_every_size_validates(units: int, tmp_path: Path) -> None:
    scenario = write_sample(tmp_path / "day", 3, build_image=small_image, units=units)

    assert len(scenario.units) == units
    assert mistakes_of(tmp_path / "day") == []
    assert read_scenario(tmp_path / "day") == scenario
    expected = [unit.serial for unit in scenario.units if unit.coming is not Coming.WALKS_IN]
    assert [row.serial for row in load_day(tmp_path / "day").roster] == expected


def test_images_are_of_the_size_that_a_transfer_takes_half_a_minute_for(tmp_path: Path) -> None:
    asked: list[int] = []

    def build(
        *, model: str, version: str, hardware: list[str], payload_bytes: int, seed: int, enter_from: str
    ) -> bytes:
        asked.append(payload_bytes)
        return small_image(
            model=model,
            version=version,
            hardware=hardware,
            payload_bytes=payload_bytes,
            seed=seed,
            enter_from=enter_from,
        )

    write_sample(tmp_path / "day", 1, build_image=build)
    assert len(asked) == len(RELEASES)
    assert all(300_000 <= size < 400_000 for size in asked)


def test_a_folder_that_is_not_empty_is_refused(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("keep me", encoding="utf-8")

    with pytest.raises(InputError, match="is not empty; name a new folder"):
        write_sample(tmp_path, 1, build_image=small_image)

    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


@pytest.mark.parametrize("units", [0, 61])
def test_a_number_of_units_out_of_range_is_refused(units: int, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=f"1 to 60 units, not {units}"):
        write_sample(tmp_path / "day", 1, build_image=small_image, units=units)

    assert not (tmp_path / "day").exists()


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")

    with pytest.raises(InputError, match="cannot be written to"):
        write_sample(tmp_path / "file" / "day", 1, build_image=small_image)


def test_no_scenario_in_a_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_scenario(tmp_path)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**31), st.integers(1, 60))
def test_a_scenario_reads_back_as_it_was_written(seed: int, units: int) -> None:
    scenario = scenario_of(units, seed)

    text = read_yaml(scenario_text(scenario).encode(), "demo.yaml")
    assert checked(text, Scenario) == scenario
    assert text.mistakes == []


def test_the_scenario_holds_all_that_the_demo_shows(written: tuple[Path, Scenario]) -> None:
    """Each property is read off the data, not off what the data says it shows."""
    folder, scenario = written
    plan = load_day(folder)
    units = {unit.serial: unit for unit in scenario.units}

    def newest(model: str) -> Version:
        return plan.images_for(model)[-1].version

    assert any(u.starts.reported_serial not in (None, u.serial) for u in units.values())
    assert any(u.support_until and u.support_until < plan.images_for(u.model)[-1].issued for u in units.values())
    stones = [u for u in units.values() for i in plan.images_for(u.model) if Version(u.starts.release) < Version("2.6")]
    assert {u.model for u in stones} >= {"Millrace"}
    assert any(u.starts.charge_percent < 20 for u in units.values())
    assert len(scenario.units[0].starts.recordings) == 3
    assert any(u.lets_go is not None and u.starts.broken_recording for u in units.values())
    assert any(Version(u.starts.release) == newest(u.model) for u in units.values())
    assert any(plan.playbook_for(u.model) and u.model == "Tiller" for u in units.values())
    assert {u.coming for u in units.values()} == set(Coming)
    assert [t.what.value for t in scenario.trouble] == ["old version"]
    assert {lift.unit for lift in scenario.lifts} == {t.unit for t in scenario.trouble}
    tails = [u.serial[-4:] for u in units.values()]
    assert len(tails) > len(set(tails))


def test_a_base_and_a_rover_whose_set_must_match_come_early() -> None:
    first = shipped_scenario().units[:3]
    terms = {unit.role: unit.support_until or "" for unit in first if unit.crew == "Curlew"}

    assert set(terms) == {Role.BASE, Role.ROVER}
    assert "" < terms[Role.BASE] < "2026-05-04" < terms[Role.ROVER]


def test_the_bench_is_as_scarce_as_the_scenario_says(written: tuple[Path, Scenario]) -> None:
    bench = load_day(written[0]).bench

    assert [c.connector for c in bench.cables] == ["round", "round", "usb", "usb", "six-pin"]
    assert (len(bench.stations), len(bench.adapters), len(bench.chargers), len(bench.packs)) == (5, 1, 2, 3)
    technician, other = bench.operators
    assert set(technician.may) == set(Ability)
    assert set(other.may) == set(Ability) - {Ability.CONFIRM}


def test_general_cautions_come_daily_and_those_of_a_unit_every_time(written: tuple[Path, Scenario]) -> None:
    plan = load_day(written[0])
    general = cautions_at(Moment.START_OF_DAY, plan.cautions)
    millrace, tiller = plan.playbook_for("Millrace"), plan.playbook_for("Tiller")
    assert millrace is not None
    assert tiller is not None

    assert {c.every for c in general} == {Every.DAY}
    assert {c.every for c in plan.cautions if not c.general} == {Every.TIME}
    assert "antenna before power" in {c.name for c in cautions_at(Moment.CONNECT, plan.cautions, millrace.cautions)}
    assert "laser and telescope" in {c.name for c in cautions_at(Moment.CONNECT, plan.cautions, tiller.cautions)}
    assert cautions_at(Moment.CONNECT, plan.cautions) == ()


def test_every_caution_is_general_or_named_by_a_playbook(written: tuple[Path, Scenario]) -> None:
    plan = load_day(written[0])
    named = {name for playbook in plan.playbooks for name in playbook.cautions}

    assert {c.name for c in plan.cautions if not c.general} == named
