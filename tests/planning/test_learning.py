"""From records to laws: what is learnt of sizes, of tries, of wrong playbooks; and whether it can be trusted."""

from __future__ import annotations

import math
import random
import statistics
from collections.abc import Sequence

import pytest

from benchday.domain.playbook import Playbook, StepName
from benchday.planning.durations import Load, Pert
from benchday.planning.laws import Fixed, Retried, Student
from benchday.planning.learning import (
    Seen,
    disagreement,
    learnt,
    learnt_law,
    learnt_laws,
    own_points,
    retry_chance,
)
from benchday.planning.learning_records import Records, Served, StepRecords
from benchday.planning.learnt import Prior
from benchday.planning.student import quantile as t_quantile
from tests.planning.shop import POINTS, playbook
from tests.planning.taught import MINUTE_US, MODEL
from tests.speed.calibration import P80, P95, SHOPS, covered

NOTHING = Load((), 0, None)
FIRST = StepName.VERIFY


def records(step: StepName, *tries: tuple[float, int | None], lost: Sequence[float] = ()) -> Records:
    """Return records of one step: (minutes, bytes moved) each; the first ones after so much was lost."""
    served = [
        Served(1, MODEL, step, round(minutes * MINUTE_US), moved, round(lost[n] * MINUTE_US) if n < len(lost) else None)
        for n, (minutes, moved) in enumerate(tries)
    ]
    return {step: StepRecords(tuple(served))}


def with_step(name: str, **changed: object) -> Playbook:
    """Return the playbook with one step changed."""
    service = [
        {"step": step, "minutes": dict(zip(("shortest", "usual", "longest"), points, strict=True))}
        | (changed if step == name else {})
        for step, points in POINTS.items()
    ]
    return playbook(service=service)


def test_without_records_the_playbook_holds() -> None:
    """Every step has a law, by its own points; the cap is three times the longest."""
    laws = learnt_laws(playbook(), {}, NOTHING)
    assert set(laws) == set(StepName)
    law = laws[StepName.WRITE]
    assert isinstance(law, Student)
    assert (law.location, law.degrees) == pytest.approx((2.8737427504, 3))
    assert law.cap == pytest.approx(78)


def test_records_take_over() -> None:
    """After many the median is theirs and the spread too; the cap follows the worst seen."""
    source = random.Random(3)
    took = [source.lognormvariate(math.log(40), 0.1) for _ in range(400)]
    known = learnt(Pert(13, 17, 26), took)
    assert known.quantile(0.5) == pytest.approx(statistics.median(took), rel=0.02)
    assert known.scale == pytest.approx(0.1, rel=0.15)
    assert known.cap == pytest.approx(3 * max(took))


def test_draws_and_quantiles_agree() -> None:
    """The law that is drawn from is the one that is shown: shares below each quantile, four standard errors."""
    known = learnt(Pert(13, 17, 26), [19, 22.5, 20])
    source = random.Random(11)
    draws = [known.law.draw(source) for _ in range(20_000)]
    for share in (0.1, 0.5, 0.8, 0.95):
        below = sum(d <= known.quantile(share) for d in draws) / len(draws)
        assert below == pytest.approx(share, abs=4 * math.sqrt(share * (1 - share) / len(draws)))
        assert known.share_at(known.quantile(share)) == pytest.approx(share, abs=1e-12)


def test_a_quantile_is_capped() -> None:
    """The tail without records is heavy; nobody is told of days."""
    known = learnt(Pert(1, 2, 30), [])
    assert known.quantile(0.9999) == known.cap == pytest.approx(90)


def test_points_that_coincide_and_times_of_nothing() -> None:
    """Neither gives a logarithm of nothing or a spread of nothing."""
    assert learnt(Pert(5, 5, 5), []).quantile(0.8) == pytest.approx(5, rel=0.02)
    known = learnt(Pert(0, 0, 0), [0, 0.001])
    assert known.quantile(0.5) == pytest.approx(1 / 60)
    with pytest.raises(ValueError, match="variance above 0"):
        Prior(1.0, 0.0, 1.0)


# Gigabytes in a hundredth: 10 minutes each gigabyte, spread by a twentieth.
SIZED = [(10 * size * math.exp(0.05 * off), round(size * 1e9)) for size, off in ((0.1, 1), (0.4, -1), (1.6, 0.5))]


def test_minutes_for_each_gigabyte() -> None:
    """Where times follow sizes, a larger load takes longer: twice the size twice the time, and the same spread."""
    known = records(StepName.PRESERVE, *SIZED)
    one, two = (learnt_law(playbook(), StepName.PRESERVE, known, Load((), size, None)) for size in (10**9, 2 * 10**9))
    assert isinstance(one, Student)
    assert isinstance(two, Student)
    assert two.location - one.location == pytest.approx(math.log(2))
    assert two.cap == pytest.approx(2 * one.cap)
    assert (one.scale, one.degrees) == (two.scale, two.degrees)
    assert math.exp(one.location) == pytest.approx(10, rel=0.35)


def test_a_size_that_does_not_matter() -> None:
    """Where times do not follow sizes, minutes are learnt."""
    seen = Seen.of([(15.0, 10**6), (15.2, 4 * 10**6), (14.8, 16 * 10**6)])
    assert not seen.by_size
    small, large = (seen.learnt(Pert(10, 15, 20), size) for size in (10**6, 10**9))
    assert small.quantile(0.5) == large.quantile(0.5) == pytest.approx(15, rel=0.02)


def test_the_points_speak_of_the_usual_size() -> None:
    """At the geometric mean of the sizes both ways of learning agree on the median."""
    seen = Seen.of(SIZED)
    assert seen.by_size
    assert seen.usual_bytes == pytest.approx(0.4e9, rel=1e-6)
    at_usual = seen.learnt(Pert(1, 2, 6), seen.usual_bytes)
    assert at_usual.quantile(0.5) == pytest.approx(learnt(Pert(1, 2, 6), [m for m, _ in SIZED]).quantile(0.5))


def test_nothing_to_copy_is_learnt_apart() -> None:
    """A preserve without recordings takes seconds, whatever others take."""
    known = records(StepName.PRESERVE, *SIZED, *[(0.05, 0)] * 20)
    law = learnt_law(playbook(), StepName.PRESERVE, known, Load((), 0, None))
    assert isinstance(law, Student)
    assert math.exp(law.location) < 0.08


def test_never_less_than_the_line_needs() -> None:
    """What passes the line is computed and stands first; the rest is learnt, here about a minute."""
    load = Load((), 60_000_000, 100_000)
    known = records(StepName.PRESERVE, *[(6.0, 30_000_000)] * 12)
    law = learnt_law(playbook(), StepName.PRESERVE, known, load)
    assert isinstance(law, Retried)
    assert (law.first, law.probability) == (Fixed(10.0), 1.0)
    source = random.Random(5)
    draws = [law.draw(source) for _ in range(2000)]
    assert min(draws) > 10
    # Records of half the size took a minute besides the five of the line; the size may matter for that, or not.
    assert 10.8 < statistics.median(draws) < 12.4


def test_a_playbook_shorter_than_the_line() -> None:
    """Its points cannot hold; a line loses a little, and the law is above what it needs."""
    assert own_points(playbook(), StepName.PRESERVE, 100.0) == Pert(0, 5, 20)
    assert own_points(playbook(), StepName.PRESERVE, 1.5) == Pert(0, 0.5, 4.5)


def test_records_of_a_faster_line_do_not_make_the_rest_vanish() -> None:
    """They are believed to have taken a little besides it."""
    known = records(StepName.PRESERVE, (1.0, 60_000_000))
    law = learnt_law(playbook(), StepName.PRESERVE, known, Load((), 60_000_000, 100_000))
    assert law.mean > 10


def test_own_minutes_of_a_write() -> None:
    """Where the line is known the unit's own minutes are what is learnt, by image of the route."""
    own = {"shortest": 10, "usual": 15, "longest": 21}
    book = with_step("write", own_minutes=own)
    load = Load((6_000_000, 12_000_000), 0, 100_000)
    first, second = (learnt_law(book, StepName.WRITE, {}, load, image) for image in (0, 1))
    assert isinstance(first, Retried)
    assert isinstance(second, Retried)
    assert (first.first, second.first) == (Fixed(1.0), Fixed(2.0))
    assert first.extra == second.extra == learnt(Pert(10, 15, 21), []).law
    unknown = learnt_law(book, StepName.WRITE, {}, Load((6_000_000,), 0, None))
    assert unknown == learnt(Pert(13, 17, 26), []).law


def test_another_try_is_an_event_of_its_own() -> None:
    """Beta(0.5 + k, 9.5 + n - k): 1 of 20 before any record, and what records make of it."""
    assert retry_chance(0, 0) == 0.05
    assert retry_chance(10, 1) == pytest.approx(1.5 / 20)
    assert retry_chance(990, 99) == pytest.approx(0.0995)
    with pytest.raises(ValueError, match="of 3 steps 4"):
        retry_chance(3, 4)


def test_the_time_that_a_cut_costs() -> None:
    """Learnt from what was lost; before any was, as long as the step itself."""
    book = with_step("verify", tries=2)
    plain = learnt_law(book, FIRST, records(FIRST, (2, None)), NOTHING)
    assert isinstance(plain, Retried)
    assert plain.extra == plain.first
    lossy = learnt_law(book, FIRST, records(FIRST, *[(2, None)] * 10, lost=[8.0] * 6), NOTHING)
    assert isinstance(lossy, Retried)
    assert lossy.first == learnt(book.step(FIRST).minutes, [2] * 10).law
    assert lossy.extra == learnt(book.step(FIRST).minutes, [8] * 6).law
    assert lossy.probability == retry_chance(10, 6)


def test_what_is_never_tried_again() -> None:
    """A write and a restart; any other step that its playbook begins once and that was never cut."""
    book = with_step("verify", tries=2)
    laws = learnt_laws(book, {}, NOTHING)
    assert [name for name, law in laws.items() if isinstance(law, Retried)] == [StepName.VERIFY]
    cut = learnt_law(playbook(), StepName.CHECK, records(StepName.CHECK, (1, None), lost=[3]), NOTHING)
    assert isinstance(cut, Retried)
    written = learnt_law(playbook(), StepName.WRITE, records(StepName.WRITE, (1, None), lost=[3]), NOTHING)
    assert isinstance(written, Student)


@pytest.mark.parametrize(
    ("minutes", "wanted"),
    [
        ([30, 30, 30, 30, 30], 1.5),
        ([29.9, 29.9, 29.9, 29.9, 29.9], None),
        ([30, 30, 30, 30], None),
        ([10, 10, 13.3, 500, 500], 1 / 1.5),
        ([13.5, 13.5, 13.5, 13.5, 13.5], None),
        ([20, 20, 20, 20, 20, 500], None),
        ([5, 5, 5, 5, 5, 5], 0.25),
    ],
)
def test_a_playbook_that_disagrees(minutes: list[float], wanted: float | None) -> None:
    """Half as much again either way, by the median, from five records on."""
    found = disagreement(Pert(10, 20, 40), minutes)
    assert found == (None if wanted is None else pytest.approx(wanted, rel=0.01))


PREDICTIONS = 2_000


@pytest.mark.parametrize("records", [3, 10, 50])
@pytest.mark.parametrize("kind", SHOPS)
def test_stated_shares_hold_on_simulated_shops(kind: str, records: int) -> None:
    """P80 in 77 to 85 %, P95 in 93 to 97 %, and three standard errors more for so few predictions."""
    for held, (least, most), share in zip(covered(kind, records, PREDICTIONS), (P80, P95), (0.8, 0.95), strict=True):
        more = 3 * math.sqrt(share * (1 - share) / PREDICTIONS)
        assert least - more <= held <= most + more


def test_a_learner_too_sure_of_itself_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """The test above can fail: with half the spread it does."""
    monkeypatch.setattr("benchday.planning.learnt.quantile", lambda share, degrees: t_quantile(share, degrees) / 2)
    held80, held95 = covered("log-normal", 10, PREDICTIONS)
    assert held80 < 0.74
    assert held95 < 0.9
