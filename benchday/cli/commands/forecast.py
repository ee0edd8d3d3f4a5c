"""forecast: when a day ends, whom to promise what; or what comes of a model from a file."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from benchday.cli.documents_forecast import forecast_facts
from benchday.cli.exits import Exit
from benchday.cli.forecast_bars import bars, shades
from benchday.cli.forecast_files import write_files
from benchday.cli.forecast_gains import gain_lines
from benchday.cli.forecast_later import later_lines, later_tables
from benchday.cli.forecast_more import page_tables
from benchday.cli.forecast_options import NOTHING_BESIDES, Options, further, in_order, named_options
from benchday.cli.forecast_scene import scene_of
from benchday.cli.forecast_view import COLUMNS, lines, model_lines
from benchday.cli.foreknown import foreknown
from benchday.cli.output import print_document, width
from benchday.cli.writing import write_file
from benchday.domain.errors import InputError
from benchday.domain.plan import DayPlan
from benchday.inputs.day import load_day
from benchday.inputs.source import LARGEST_BYTES
from benchday.planning.forecast import engines
from benchday.planning.forecast.assumptions import assumptions
from benchday.planning.forecast.document import document_of
from benchday.planning.forecast.emitting import model_text
from benchday.planning.forecast.later_dates import later_dates
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.telling import told
from benchday.planning.model import Model
from benchday.planning.model_file import read_durations, read_model

USUAL_REPLICATIONS = 1000
USUAL_SEED = 1
WORDS = {"svg": "picture", "html": "page"}
A_MODEL = re.compile(rb'\A\s*\{\s*"model"\s*:')
"""How a file begins that may be replaced by a model."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What a forecast is asked for."""

    folder: Path | None
    model: Path | None
    durations: Path | None
    emit: Path | None
    by: tuple[str, ...]
    replications: int | None
    seed: int | None
    record: Path | None
    as_json: bool
    all: bool = False
    """Every unit's finish in every replication."""
    trace: bool = False
    """Every stage of replication 0."""
    svg: Path | None = None
    """Where the picture goes."""
    html: Path | None = None
    """Where the page goes."""
    besides: Options = NOTHING_BESIDES


def forecast(asked: Asked) -> int:
    """Forecast a day, or run a model from a file.

    Raises:
        InputError: the files hold mistakes, or what was asked for does not go together.
        RecordError: there is a record, and it cannot be read.
    """
    if (asked.folder is None) == (asked.model is None):
        raise InputError("name either the day's folder (benchday forecast DIR) or a model (--model FILE)")
    return _of_day(asked, asked.folder) if asked.folder is not None else _of_model(asked)


def _of_day(asked: Asked, folder: Path) -> int:
    for name, value in (("--durations", asked.durations), ("--all", asked.all), ("--trace", asked.trace)):
        if value:
            raise InputError(f"{name} belongs to --model FILE; write the day's model with --emit-model FILE first")
    plan = load_day(folder)
    by_us = [_clock_us(plan, text) for text in asked.by]
    basis = foreknown(plan, folder, asked.record, USUAL_SEED if asked.seed is None else asked.seed)
    compiled, order = in_order(basis.compiled(asked.replications or USUAL_REPLICATIONS), asked.besides.search)
    if asked.emit is not None:
        text = model_text(compiled.model)
        write_file(asked.emit, text, option="--emit-model", what="model", ours=A_MODEL, whose="")
    outcomes = engines.replicate(compiled.model)
    found = told(compiled, outcomes, by_us)
    more = further(basis, compiled, outcomes, asked.besides, order, asked.record)
    later = later_dates(basis.plan, basis.known, compiled, outcomes)
    zone = basis.plan.zone
    scene = scene_of(basis.plan, compiled, outcomes, found, state=basis.state)
    supposed = assumptions(basis.plan, basis.known, compiled, basis.steps)
    tables = (*later_tables(later, zone), *page_tables(more, zone))
    write_files(scene, asked.svg, asked.html, supposed, tables)
    files = {"model": asked.emit, "svg": asked.svg, "html": asked.html}
    if asked.as_json:
        print_document("forecast", forecast_facts(str(folder), basis, compiled, outcomes, found, files, more, later))
    else:
        wide = width()
        drawn = bars(scene, wide if wide < 10_000 else COLUMNS, shades())
        besides = (*later_lines(later, zone), *gain_lines(more, zone, compiled.at_us))
        for line in lines(basis, compiled, found, drawn, besides):
            print(line)
        for what, file in files.items():
            if file is not None:
                print(f"\nThe {WORDS.get(what, what)} is in {file}.")
    return Exit.HELD if found.stops or basis.before.stops else Exit.DONE


def _of_model(asked: Asked) -> int:
    of_a_day = {"--by": asked.by, "--emit-model": asked.emit, "--svg": asked.svg, "--html": asked.html}
    for name, value in (*of_a_day.items(), ("--record", asked.record), *named_options(asked.besides)):
        if value:
            raise InputError(f"{name} belongs to a day's folder: benchday forecast DIR")
    assert asked.model is not None  # noqa: S101 - asked before
    model = read_model(_text(asked.model, "--model"), str(asked.model))
    outcomes = _run(asked, model)
    if asked.as_json or asked.all or asked.trace:
        given = asked.durations is not None
        print_document("forecast", document_of(outcomes, makespans=given, finish=asked.all, trace=asked.trace))
    else:
        for line in model_lines(outcomes):
            print(line)
    return Exit.DONE


def _run(asked: Asked, model: Model) -> Outcomes:
    if asked.durations is None:
        return engines.replicate(model, replications=asked.replications, seed=asked.seed)
    for name, value in (("--replications", asked.replications), ("--seed", asked.seed)):
        if value is not None:
            raise InputError(f"{name} is for drawn durations; --durations FILE gives each replication's")
    days = read_durations(_text(asked.durations, "--durations"), model, str(asked.durations))
    return engines.replay(model, days)


def _clock_us(plan: DayPlan, text: str) -> int:
    if not re.fullmatch(r"([01][0-9]|2[0-3]):[0-5][0-9]", text):
        raise InputError(f"--by {text}: expected a time of day, hours:minutes, like 16:00")
    return plan.at_us(text)


def _text(path: Path, option: str) -> str:
    try:
        with path.open("rb") as file:  # a pipe from another program will do
            data = file.read(LARGEST_BYTES + 1)
        if len(data) > LARGEST_BYTES:
            raise InputError(f"{option} {path}: expected at most {LARGEST_BYTES >> 20} MiB")
        return data.decode("utf-8")
    except UnicodeDecodeError:
        raise InputError(f"{option} {path}: expected a text file in UTF-8 (JSON, RFC 8259)") from None
    except OSError as error:
        raise InputError(f"{option} {path} cannot be read: {error.strerror or error}") from error


def times(texts: Sequence[str] | None) -> tuple[str, ...]:
    """Return the times that were asked for, each once."""
    return tuple(dict.fromkeys(texts or ()))
