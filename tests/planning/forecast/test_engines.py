"""Which loop runs, and what happens when one cannot."""

from __future__ import annotations

import subprocess
import sys

import pytest

from benchday.domain.errors import InputError
from benchday.planning.forecast import compiled, compiled_days, engines
from benchday.planning.forecast.engines import Engine
from benchday.planning.forecast.outcomes import joined
from benchday.planning.forecast.prepared import prepare
from tests.planning.forecast.usual import usual_day


def test_numba_is_installed_for_the_tests() -> None:
    """Both loops are compared here; without it nothing would be."""
    assert engines.best() is Engine.COMPILED, "install it: pip install -e '.[test]'"


def test_small_jobs_need_no_compiler() -> None:
    """One day of three units runs in plain Python, whatever there is; what was asked for by name is what runs."""
    small = prepare(usual_day(3))
    assert engines.choose(small, 1) is Engine.LOOP
    assert engines.choose(small, 1, "compiled") is Engine.COMPILED
    assert engines.choose(small, 10**9) is Engine.COMPILED
    assert engines.choose(small, 10**9, "loop") is Engine.LOOP
    assert engines.replicate(small, replications=2).engine == "loop"
    assert engines.replicate(small, replications=2, engine="compiled").engine == "compiled"


def test_a_compiler_is_loaded_for_what_is_asked_again_and_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """A second for loading what was kept pays once the same is asked every few seconds; compiling anew does not."""
    prepared = prepare(usual_day(3))
    few = engines.SMALL["loaded"] // prepared.stages + 1
    for there_is, alone, again in (
        ("loaded", Engine.COMPILED, Engine.COMPILED),
        ("kept", Engine.LOOP, Engine.COMPILED),
        ("absent", Engine.LOOP, Engine.LOOP),
    ):
        monkeypatch.setattr(compiled, "there_is", lambda there=there_is: there)
        assert (engines.choose(prepared, few), engines.choose(prepared, few, again=True)) == (alone, again)


@pytest.mark.parametrize("engine", ["loop", "compiled"])
def test_parts_joined_are_the_whole(engine: str) -> None:
    """Days 0 to 299 and 300 to 699, run apart, with and without their pools being watched."""
    day = usual_day(12, close=300.0)
    whole = engines.replicate(day, replications=700, engine=engine)
    parts = [
        engines.replicate(day, replications=300, engine=engine),
        engines.replicate(day, replications=400, engine=engine, first=300, watched=0),
    ]
    assert (parts[1].pools, parts[1].first_day) == ((), None)
    found = joined(parts)
    assert found.finishes.tobytes() == whole.finishes.tobytes()
    assert (found.makespans, found.pools, found.first_day) == (whole.makespans, whole.pools, whole.first_day)


def test_without_numba_plain_python_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever the size; asking for the compiled one says what to install."""
    monkeypatch.setattr(engines, "find_spec", lambda _: None)
    assert engines.choose(prepare(usual_day(3)), 10**9) is Engine.LOOP
    assert engines.warm() < 1
    with pytest.raises(InputError, match=r"the compiled engine needs numba and numpy: pip install 'benchday\[fast\]'"):
        engines.replicate(usual_day(3), engine="compiled")


def test_no_such_engine() -> None:
    """The message lists those there are."""
    with pytest.raises(InputError, match="there is no engine 'steam'; there are auto, loop, compiled"):
        engines.replicate(usual_day(1), engine="steam")


def test_a_broken_compiler_leaves_plain_python(monkeypatch: pytest.MonkeyPatch) -> None:
    """Only where nobody asked for it by name."""

    def broken(*_: object) -> None:
        raise OSError("the cache is full")

    monkeypatch.setattr(compiled_days, "run", broken)
    monkeypatch.setattr(engines, "SMALL", {"loaded": 0, "kept": 0, "absent": 0})
    assert engines.replicate(usual_day(2), replications=3).engine == "loop"
    assert engines.replay(usual_day(1), [[[1.0] * 9]]).engine == "loop"
    with pytest.raises(OSError, match="the cache is full"):
        engines.replicate(usual_day(2), replications=3, engine="compiled")


def test_numba_loads_only_when_a_forecast_runs() -> None:
    """Importing the engines and running a small forecast loads neither numba nor numpy."""
    code = (
        "import sys; from benchday.planning.forecast import engines; "
        "from tests.planning.forecast.usual import usual_day; engines.replicate(usual_day(2), replications=2); "
        "sys.exit(str([name for name in ('numba', 'numpy') if name in sys.modules]))"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert found.stderr.strip() == "[]"


def test_the_models_own_replications_and_seed() -> None:
    """Unless others are given; equal seeds are equal, others are not."""
    model = usual_day(3)
    assert engines.replicate(model).replications == 1000
    one, again = engines.replicate(model, replications=20), engines.replicate(model, replications=20, seed=model.seed)
    other = engines.replicate(model, replications=20, seed=99)
    assert one.finishes == again.finishes != other.finishes
