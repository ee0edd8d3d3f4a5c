"""Models run by the forecast's loops beside what queueing and scheduling theory has published.

Service and arrival times are drawn here and handed in as given durations: an arrival is a first stage that takes
nothing. Statistical checks hold within three standard errors, from batch means, of a fixed seed.
"""

from __future__ import annotations

import itertools
import random
import statistics
from collections.abc import Callable, Sequence
from fractions import Fraction
from math import exp, sqrt

import pytest

from benchday.planning.forecast import engines
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.prepared import prepare
from benchday.planning.model import Model, ModelUnit
from tests.planning.days import places, stage, unit

Draw = Callable[[random.Random], float]
CUSTOMERS, DAYS, SKIPPED = 4_000, 40, 400


def queue(servers: int, rate: float, service: Draw) -> tuple[Outcomes, list[list[list[float]]]]:
    """Run many days of a queue with Poisson arrivals; also return each day's durations."""
    source = random.Random(f"{servers} {rate}")
    work = stage("work", "server", "server")
    model = Model((places("server", servers),), tuple(unit(f"c{n}", stage("arrive"), work) for n in range(CUSTOMERS)))
    days = []
    for _ in range(DAYS):
        at = itertools.accumulate(source.expovariate(rate) for _ in range(CUSTOMERS))
        days.append([[arrival, service(source)] for arrival in at])
    return engines.replay(model, days, engine="compiled"), days


def waits(outcomes: Outcomes, days: Sequence[Sequence[Sequence[float]]]) -> list[list[float]]:
    """Return by day how long each customer waits, the first of each day left out."""
    return [
        [end - service - arrival for end, (arrival, service) in zip(outcomes.finish_in(number), day, strict=True)][
            SKIPPED:
        ]
        for number, day in enumerate(days)
    ]


def means(days: Sequence[Sequence[float]]) -> tuple[float, float]:
    """Return the mean over days, and three of its standard errors."""
    of_days = [statistics.fmean(day) for day in days]
    return statistics.fmean(of_days), 3 * statistics.stdev(of_days) / sqrt(len(of_days))


def erlang_c(servers: int, load: Fraction) -> Fraction:
    """Return the probability of waiting (Erlang 1917), by the recursion B(k) = aB / (k + aB)."""
    blocked = Fraction(1)
    for k in range(1, servers + 1):
        blocked = load * blocked / (k + load * blocked)
    return servers * blocked / (servers - load * (1 - blocked))


@pytest.mark.parametrize(
    ("servers", "arrivals", "served", "waiting"),
    [
        (1, 2, 3, Fraction(2, 3)),
        (2, 3, 2, Fraction(9, 14)),
        (3, 5, 2, Fraction(125, 178)),
        (3, 12, 5, Fraction(288, 445)),
        (6, 10, 2, Fraction(3125, 5319)),
    ],
)
def test_exponential_servers(servers: int, arrivals: int, served: int, waiting: Fraction) -> None:
    """M/M/c: P(wait), mean wait and P(wait > 1) (Erlang 1917; Kleinrock 1975); L = lambda W (Little 1961)."""
    assert erlang_c(servers, Fraction(arrivals, served)) == waiting
    spare = servers * served - arrivals
    outcomes, days = queue(servers, arrivals, lambda source: source.expovariate(served))
    waited = waits(outcomes, days)

    share, share_error = means([[float(wait > 1e-9) for wait in day] for day in waited])
    assert share == pytest.approx(float(waiting), abs=share_error)
    mean, mean_error = means(waited)
    assert mean == pytest.approx(float(waiting / spare), abs=mean_error)
    long, long_error = means([[float(wait > 1) for wait in day] for day in waited])
    assert long == pytest.approx(float(waiting) * exp(-spare), abs=long_error)


def test_little_1961() -> None:
    """How many servers are in use is rate of arrival times time of service, by the use that is told of pools."""
    outcomes, days = queue(3, 5, lambda source: source.expovariate(2))
    use = outcomes.pools[0]
    in_use = sum(use.busy) * use.slot_minutes
    served = statistics.fmean(sum(service for _, service in day) for day in days)
    assert in_use == pytest.approx(served, rel=1e-9)
    assert use.waiting == pytest.approx(
        statistics.fmean(
            sum(end - service - arrival for end, (arrival, service) in zip(outcomes.finish_in(n), day, strict=True))
            for n, day in enumerate(days)
        ),
        rel=1e-9,
    )


@pytest.mark.parametrize(
    ("sd", "service", "wait"),
    [
        (3, lambda source: source.gammavariate(16, 0.75), 9.5625),
        (0, lambda _: 12.0, 9.0),
        (12, lambda source: source.expovariate(1 / 12), 18.0),
    ],
)
def test_pollaczek_1930_khinchine_1932(sd: int, service: Draw, wait: float) -> None:
    """M/G/1 with lambda 1/20 and mean 12: Wq = lambda (ES^2 + sd^2) / (2 (1 - rho))."""
    assert Fraction(1, 20) * (12**2 + sd**2) / (2 * (1 - Fraction(12, 20))) == Fraction(wait)
    outcomes, days = queue(1, 1 / 20, service)
    mean, error = means(waits(outcomes, days))
    assert mean == pytest.approx(wait, abs=error)


def listed(machines: int, jobs: Sequence[float], engine: str = "compiled") -> float:
    """Return the makespan of jobs on equal machines in the order of the list."""
    units = tuple(unit(f"j{n}", stage("work", "machine", "machine")) for n in range(len(jobs)))
    return engines.replay(Model((places("machine", machines),), units), [[[j] for j in jobs]], engine=engine).makespans[
        0
    ]


@pytest.mark.parametrize("machines", [2, 3, 4, 6])
def test_graham_1966(machines: int) -> None:
    """m(m-1) ones, then one m: list order over optimum is 2 - 1/m exactly (Bell Syst. Tech. J. 45(9))."""
    jobs = [1.0] * (machines * (machines - 1)) + [float(machines)]
    assert Fraction(listed(machines, jobs)) / machines == 2 - Fraction(1, machines)


@pytest.mark.parametrize("machines", [2, 3, 4, 6])
def test_graham_1969(machines: int) -> None:
    """2m-1 .. m+1 twice, then three m: longest first over the optimum 3m is 4/3 - 1/(3m) (SIAM J. Appl. Math. 17)."""
    twice = [float(job) for job in range(2 * machines - 1, machines, -1) for _ in range(2)]
    jobs = [*twice, *([float(machines)] * 3)]
    ratio = Fraction(listed(machines, jobs)) / (3 * machines)
    assert ratio == Fraction(4, 3) - Fraction(1, 3 * machines)


def test_mcnaughton_1959() -> None:
    """17 21 9 14 30 8 12 on three: list order 47, longest first 39, optimum 38 (Management Sci. 6(1))."""
    jobs = [17.0, 21.0, 9.0, 14.0, 30.0, 8.0, 12.0]
    assert listed(3, jobs) == 47
    assert listed(3, sorted(jobs, reverse=True)) == 39
    assert min(listed(3, order, "loop") for order in itertools.permutations(jobs)) == 38


def test_johnson_1954() -> None:
    """Two machines in a row: order 2 4 3 5 1 gives 30, and no order gives less (Naval Res. Logist. Q. 1(1))."""
    jobs = [(5.0, 2.0), (1.0, 6.0), (9.0, 7.0), (3.0, 8.0), (10.0, 4.0)]
    way = (stage("one", "first", "first"), stage("two", "second", "second"))
    model = Model((places("first", 1), places("second", 1)), tuple(unit(f"j{n}", *way) for n in range(5)))

    def makespan(order: Sequence[int]) -> float:
        return engines.replay(model, [[jobs[n] for n in order]]).makespans[0]

    assert makespan((1, 3, 2, 4, 0)) == 30
    assert min(makespan(order) for order in itertools.permutations(range(5))) == 30


def test_jackson_1955_and_moore_1968() -> None:
    """One machine, 4 3 7 5 6 due at 6 8 14 12 20: by due date at most 5 late, and two; at least one is in any order."""
    jobs, due = [4.0, 3.0, 7.0, 5.0, 6.0], [6, 8, 14, 12, 20]

    def lateness(order: Sequence[int]) -> list[float]:
        units = tuple(
            ModelUnit(f"j{n}", 0, order.index(n), (stage("work", "one", "one"),), float(due[n])) for n in range(5)
        )
        outcomes = engines.replay(Model((places("one", 1),), units), [[[job] for job in jobs]])
        assert outcomes.late_units().mean == sum(end > limit for end, limit in zip(outcomes.finishes, due, strict=True))
        return [end - limit for end, limit in zip(outcomes.finishes, due, strict=True)]

    by_due_date = lateness(sorted(range(5), key=lambda n: due[n]))
    assert (max(by_due_date), sum(late > 0 for late in by_due_date)) == (5, 2)
    every = [lateness(order) for order in itertools.permutations(range(5))]
    assert min(max(row) for row in every) == 5
    assert min(sum(late > 0 for late in row) for row in every) == 1


MINUTES = "1 3 6 7 3 6/8 5 10 10 10 4/5 4 8 9 1 7/5 5 5 3 8 9/9 3 5 4 3 1/3 3 9 10 4 1"
MACHINES = "2 0 1 3 5 4/1 2 4 5 0 3/2 3 5 0 1 4/1 0 2 3 4 5/2 1 4 5 0 3/1 3 5 0 4 2"
"""Fisher, Thompson 1963, in Muth, Thompson (eds.), Industrial Scheduling, by job; the optimum is 55."""


def test_a_job_shop_that_never_idles_on_purpose() -> None:
    """ft06: no priorities give less than its optimum of 55, nor less than the busiest machine; some come near."""
    minutes = [[float(word) for word in job.split()] for job in MINUTES.split("/")]
    machines = [job.split() for job in MACHINES.split("/")]
    units = tuple(
        unit(f"j{n}", *(stage(f"s{k}", f"m{machine}", f"m{machine}") for k, machine in enumerate(row)))
        for n, row in enumerate(machines)
    )
    prepared = prepare(Model(tuple(places(f"m{n}", 1) for n in range(6)), units))
    found = [
        engines.replay(prepared.variant(priorities=order), [minutes], engine="loop").makespans[0]
        for order in itertools.permutations(range(6))
    ]
    assert min(found) >= 55
    assert min(found) < 65
    assert max(found) <= sum(map(sum, minutes))


@pytest.mark.parametrize("units", [1, 5, 12])
def test_one_station_is_arithmetic(units: int) -> None:
    """Common practice, no source: n units of fixed minutes take n times as long at one station, ceil(n/k) at k."""
    way = (stage("connect", "station hands", "hands"), stage("write"), stage("look", "hands", "hands station"))
    for stations in (1, 4):
        pools = (places("station", stations), places("hands", units))
        model = Model(pools, tuple(unit(f"u{n}", *way) for n in range(units)))
        makespan = engines.replay(model, [[[2.0, 15.0, 3.0]] * units]).makespans[0]
        assert makespan == -(-units // stations) * 20
