"""Model files: read strictly, every mistake with its place."""

from __future__ import annotations

import copy
import json
import math
import random
import statistics
from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchday.domain.errors import InputError
from benchday.planning.engine import run
from benchday.planning.json_place import ModelMistakes
from benchday.planning.laws import LogNormal, Pert, Retried, Student, Triangular, draw
from benchday.planning.model import ModelUnit, Stage
from benchday.planning.model_file import read_durations, read_model
from benchday.planning.policy import Phase, Pool

SAMPLE: dict[str, Any] = {
    "model": 1,
    "pools": [
        {"name": "station", "count": 1, "phase": "places"},
        {"name": "technician", "count": 2, "phase": "hands", "breaks": [[240, 270]]},
    ],
    "units": [
        {
            "id": "u1",
            "arrival": 0,
            "priority": 0,
            "promised": 300,
            "stages": [
                {
                    "name": "connect",
                    "takes": ["station", "technician"],
                    "frees": ["technician"],
                    "law": {"dist": "pert", "min": 2, "mode": 3, "max": 6},
                },
                {
                    "name": "last look",
                    "takes": ["technician"],
                    "frees": ["technician", "station"],
                    "guard": 5,
                    "law": {
                        "dist": "triangular",
                        "min": 2,
                        "mode": 3,
                        "max": 8,
                        "retry": {"probability": 0.1, "law": {"dist": "fixed", "value": 4}},
                    },
                },
            ],
        }
    ],
    "close": 600,
    "replications": 50,
    "seed": 7,
    "quantiles": [0.5, 0.8],
}


def text(**changed: Any) -> str:
    return json.dumps({**SAMPLE, **changed})


def mistakes(written: str) -> tuple[str, ...]:
    with pytest.raises(ModelMistakes) as wrong:
        read_model(written)
    return wrong.value.mistakes


def test_a_right_file_is_read_whole() -> None:
    """Pools, breaks, laws, guard, closing and what the forecast is asked for."""
    model = read_model(text())

    assert model.pools[1].breaks == ((240, 270),)
    assert model.units[0].promised == 300
    assert model.units[0].stages[0].law == Pert(2, 3, 6)
    last = model.units[0].stages[1]
    assert isinstance(last.law, Retried)
    assert last.law.first == Triangular(2, 3, 8)
    assert (last.guard, model.close, model.replications, model.seed, model.quantiles) == (5, 600, 50, 7, (0.5, 0.8))


def test_the_file_s_day_runs() -> None:
    """From file to makespan, with durations from a file."""
    model = read_model(text())
    (day,) = read_durations('{"durations": [[[3, 2.5]]]}', model)

    assert run(model, day).makespan == 5.5


def test_every_mistake_is_told_at_once_with_its_place() -> None:
    """Places are paths into the file; the nearest right word is offered."""
    broken = copy.deepcopy(SAMPLE)
    broken["pools"][0]["count"] = -1
    broken["pools"][1]["phase"] = "hand"
    broken["units"][0]["stages"][0]["takes"] = ["statoin"]
    broken["units"][0]["stages"][1]["law"] = {"dist": "pert", "min": 9, "mode": 3, "max": 6}
    broken["units"][0]["gaurd"] = 1
    del broken["units"][0]["arrival"]
    broken["quantiles"] = [0.5, 1.5]

    assert mistakes(json.dumps(broken)) == (
        "quantiles[1]: expected a number from 0 to 1, found 1.5",
        "pools[0].count: expected a whole number from 0, found -1",
        'pools[1].phase: expected a phase (places, hands), found "hand" (did you mean hands?)',
        "units[0].gaurd: expected one of the keys arrival, id, priority, promised, stages, not 'gaurd', found 1",
        "units[0]: expected the key arrival, it is missing",
    )


def test_stage_and_law_mistakes() -> None:
    """Within a unit too, nothing hides behind the first."""
    broken = copy.deepcopy(SAMPLE)
    broken["units"][0]["stages"][0]["takes"] = ["statoin"]
    broken["units"][0]["stages"][1]["law"] = {"dist": "pert", "min": 9, "mode": 3, "max": 6}

    first, second = mistakes(json.dumps(broken))

    assert first == (
        "units[0].stages[0].takes[0]: expected a pool's name (station, technician), "
        'found "statoin" (did you mean station?)'
    )
    assert second.startswith("units[0].stages[1].law: expected min, mode, max in order, found")


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("{", "line 1, column 2: expected JSON, but here it breaks off"),
        ('{"model": 1, "model": 1}', "the key 'model' stands twice in one object"),
        (text(close=float("nan")), "expected a number, found NaN"),
        ("[]", "the whole file: expected an object with model, pools, units, found []"),
        (text(model=2), "model: expected 1, the form of model files that this program reads, found 2"),
        (text(units=3), "units: expected a list, found 3"),
        ("[" * 100_000, "expected a model, found lists within lists without end"),
    ],
)
def test_what_is_no_model_is_refused(written: str, said: str) -> None:
    """No traceback, the place where there is one."""
    assert mistakes(written)[0].startswith(said)


def test_durations_of_another_shape_are_refused_with_their_place() -> None:
    """Which replication, which unit, which stage."""
    model = read_model(text())
    with pytest.raises(InputError, match=r"durations\[1\]: unit u1, stage last look: a duration is above 0 minutes"):
        read_durations('{"durations": [[[3, 2]], [[3, -1]]]}', model)
    with pytest.raises(InputError, match=r"durations\[0\]\[0\]\[1\]: expected a number, found \"2\""):
        read_durations('{"durations": [[[3, "2"]]]}', model)


def test_log_normal_and_student_as_published_formulas_give_them() -> None:
    """Log-normal, median 17, sigma 0.2: mean 17.3434227805; Student with 3 degrees: the median is exp(location)."""
    assert LogNormal(17, 0.2).mean == pytest.approx(17.3434227805)
    source = random.Random(7)
    law = Student(2.8737427504, 0.2096656598, 3, 60)
    draws = [law.draw(source) for _ in range(20_000)]

    # P50 and P95 of the predictive with no records: 17.703153 and 28.996126 (Gelman et al., section 3.3, computed).
    assert sum(d <= 17.703153 for d in draws) / len(draws) == pytest.approx(0.5, abs=0.015)
    assert sum(d <= 28.996126 for d in draws) / len(draws) == pytest.approx(0.95, abs=0.007)
    assert max(draws) <= 60.000001


def test_a_retry_adds_its_time_as_often_as_it_says() -> None:
    """Mean and share; a draw is never nothing."""
    law = Retried(Pert(2, 2, 2), 0.25, Pert(4, 4, 4))
    source = random.Random(3)
    draws = [draw(law, source) for _ in range(8_000)]

    assert set(draws) == {2, 6}
    assert statistics.fmean(draws) == pytest.approx(law.mean, abs=0.1)
    assert draw(Pert(0, 0, 0), source) == 1e-6


LEAVES = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5)
JSON = st.recursive(LEAVES, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner))


@settings(max_examples=150, deadline=None)
@given(where=st.integers(0, 200), value=JSON)
def test_any_value_anywhere_gives_a_model_or_mistakes(where: int, value: Any) -> None:
    """A replaced value never gives anything but a model or the list of mistakes."""
    broken = copy.deepcopy(SAMPLE)
    spots: list[tuple[Any, Any]] = []

    def walk(node: Any) -> None:
        for key in node if isinstance(node, dict) else range(len(node)):
            spots.append((node, key))
            if isinstance(node[key], (dict, list)):
                walk(node[key])

    walk(broken)
    node, key = spots[where % len(spots)]
    node[key] = value
    with suppress(ModelMistakes):
        assert read_model(json.dumps(broken)).units is not None


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=40))
def test_any_text_gives_a_model_or_mistakes(written: str) -> None:
    """Nor does any text."""
    with pytest.raises(ModelMistakes):
        read_model(written)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (
            {"pools.0.count": 0},
            "stage connect of unit u1 needs 1 of station at once, and there is none: raise the pool's",
        ),
        (
            {"units.0.stages.0.takes": ["station", "station", "technician"]},
            "stage connect of unit u1 needs 2 of station at once, and there are 1",
        ),
        (
            {"units.0.stages.0.frees": ["station", "station"]},
            "units[0]: stage connect of unit u1 frees station, which the unit does not hold",
        ),
        ({"units.0.stages.1.waits_for": "line"}, "nothing opens gate line, which unit u1 waits for"),
        ({"units.0.arrival": 601}, "units[0].arrival: expected a time up to closing, 600, found 601"),
        ({"pools.1.breaks": [[240, 1e400]]}, "pools[1].breaks[0][1]: expected a number, found Infinity"),
        ({"pools.1.breaks": [[270, 240]]}, "pools[1]: a break of technician ends after it begins, not at 240"),
    ],
)
def test_a_day_that_could_never_be_run_is_refused_with_the_place(changes: dict[str, Any], said: str) -> None:
    """A pool of none that somebody needs, what nobody holds or opens, who comes after closing, a break without end."""
    value = copy.deepcopy(SAMPLE)
    for path, new in changes.items():
        *way, last = [int(step) if step.isdigit() else step for step in path.split(".")]
        at: Any = value
        for step in way:
            at = at[step]
        at[last] = new
    with pytest.raises(InputError) as wrong:
        read_model(json.dumps(value).replace("Infinity", "1e400"))
    assert said in str(wrong.value)


def test_a_model_made_by_a_program_is_checked_too() -> None:
    """What JSON cannot say: a break without end, an arrival that is no number."""
    with pytest.raises(ValueError, match="a break of hands from 3 to inf has no end; give it one"):
        Pool("hands", 1, Phase.HANDS, ((3, math.inf),))
    with pytest.raises(ValueError, match="unit a arrives at nan with priority 0; give both a number"):
        ModelUnit("a", math.nan, 0, (Stage("work", (), (), LogNormal(1, 1)),))
