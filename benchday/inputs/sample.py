"""The sample day: a folder that validates, to begin from and to try things on. It is the demo's day too."""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path

from benchday.domain.errors import InputError, MistakesFound
from benchday.domain.scenario import Scenario
from benchday.inputs import sample_text
from benchday.inputs.checked import checked
from benchday.inputs.playbook_files import shipped_folder
from benchday.inputs.sample_images import BuildImage, write_images
from benchday.inputs.sample_units import plain_units
from benchday.inputs.schemas import write_shipped
from benchday.inputs.source import plain_bytes
from benchday.inputs.yaml_text import read_yaml
from benchday.inputs.yaml_writing import yaml_lines

SCENARIO = "demo.yaml"
USUAL_UNITS, MOST_UNITS = 20, 60


def write_sample(
    folder: Path,
    seed: int,
    *,
    build_image: BuildImage,
    units: int | None = USUAL_UNITS,
    without: frozenset[str] = frozenset(),
) -> Scenario:
    """Write a whole day's files and return the scenario behind them.

    Args:
        folder: made if it is not there.
        seed: what images and drawn units follow from.
        build_image: builds the images of the invented models.
        units: how many, the most telling first; None for all that are shipped.
        without: models of which there are to be none.

    Raises:
        InputError: the folder holds something, cannot be written, or the number is out of range.
    """
    scenario = scenario_of(units, seed, without)
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise InputError(f"{folder} is not empty; name a new folder, or one with nothing in it")
        _write(folder, seed, scenario, build_image)
    except OSError as error:
        raise InputError(f"the sample day cannot be written to {folder}: {error.strerror or error}") from error
    return scenario


def scenario_of(units: int | None, seed: int, without: frozenset[str] = frozenset()) -> Scenario:
    """Return the scenario of so many units: the shipped ones first, then plain ones drawn from the seed.

    Raises:
        InputError: the number is out of range.
    """
    if units is not None and not 1 <= units <= MOST_UNITS:
        raise InputError(f"a sample day has 1 to {MOST_UNITS} units, not {units}")

    shipped = shipped_scenario()
    told = tuple(unit for unit in shipped.units if unit.model not in without)
    count = len(told) if units is None else units
    more = plain_units(max(0, count - len(told)), seed, frozenset(u.serial for u in shipped.units))
    whole = shipped.model_copy(update={"units": (*told, *more), "seed": seed})
    return whole.first(count)


def shipped_scenario() -> Scenario:
    """Return the scenario that comes with the program."""
    return _read((shipped_folder() / SCENARIO).read_bytes(), SCENARIO)


def read_scenario(folder: Path) -> Scenario:
    """Return the scenario of a day's folder.

    Raises:
        InputError: there is none.
        MistakesFound: it holds mistakes.
    """
    try:
        data = plain_bytes(folder / SCENARIO)
    except OSError as error:
        raise InputError(f"{folder / SCENARIO} cannot be read: {error.strerror or error}") from error
    return _read(data, SCENARIO)


def _read(data: bytes, name: str) -> Scenario:
    text = read_yaml(data, name)
    scenario = checked(text, Scenario)
    if scenario is None:
        raise MistakesFound(tuple(text.mistakes))
    return scenario


def _write(folder: Path, seed: int, scenario: Scenario, build_image: BuildImage) -> None:
    store, schemas = folder / "images", folder / "schemas"
    for part in (store, schemas):
        part.mkdir(parents=True, exist_ok=True)

    images = list(write_images(store, seed, build_image))
    _text(store / "images.yaml", sample_text.IMAGES_HEAD + "\n".join(yaml_lines(images, "  ")) + "\n")
    _text(folder / "bench.yaml", sample_text.BENCH)
    _text(folder / "roster.csv", sample_text.roster_text(scenario.units))
    terms = folder / "terms.csv"
    _text(terms, sample_text.terms_text(scenario.units))
    as_of_s = datetime.fromisoformat(f"{sample_text.TERMS_AS_OF}T12:00+00:00").timestamp()
    # A list is of the day of its file.
    os.utime(terms, (as_of_s, as_of_s))
    _text(folder / "units.csv", sample_text.units_text(scenario.units))
    _text(folder / SCENARIO, scenario_text(scenario))
    write_shipped(schemas)
    # Last, because a folder is a day once it holds this file.
    _text(folder / "day.yaml", sample_text.DAY + _pins(scenario))


def _pins(scenario: Scenario) -> str:
    """Return the pins as they stand in day.yaml."""
    told = [pin.model_dump(mode="json", exclude_defaults=True) for pin in scenario.pins]
    return "\n".join(["", *yaml_lines({"pins": told})]) + "\n" if told else ""


def scenario_text(scenario: Scenario) -> str:
    """Return a scenario as it stands in its file."""
    told = scenario.model_dump(mode="json", exclude_defaults=True)
    return sample_text.SCENARIO_HEAD + "\n".join(yaml_lines(told)) + "\n"


def _text(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")
