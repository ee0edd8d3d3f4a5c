"""The times of one day that was run, as short as they can be kept, and the day they tell of."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain, pairwise

from benchday.planning.engine import Day
from benchday.planning.forecast.prepared import Prepared, prepare
from benchday.planning.model import Durations

LATEST = 1e300
"""Beyond it no sum of times is looked at any more; it would become infinite."""


@dataclass(slots=True)
class DayTimes:
    """When things were asked for and granted, minutes; what does not happen keeps NaN."""

    asked: list[float]
    """Of each stretch: when it asked for its first thing; when it began if it takes nothing."""
    granted: list[float]
    """Of each take."""
    reached: list[int]
    """Of each unit: the number of the stretch it did not begin; one past its last if it went through all."""
    finish: list[float]
    """Of each unit; NaN if it was not begun."""
    left: list[float]
    """Of each unit: when closing time sent it away; NaN if it did not."""

    @property
    def makespan(self) -> float:
        """The largest end of any unit's last stage, 0 if there is none."""
        return max((end for end in self.finish if end == end), default=0.0)  # noqa: PLR0124 - NaN is not itself


def untold(prepared: Prepared) -> DayTimes:
    """Return the times of a day that has not been run."""
    nan = math.nan
    return DayTimes(
        asked=[nan] * len(prepared.table.firsts),
        granted=[nan] * prepared.table.take_first[-1],
        reached=list(prepared.stretch_first[:-1]),
        finish=[nan] * prepared.units,
        left=[nan] * prepared.units,
    )


def flat(durations: Durations) -> list[float]:
    """Return the durations of all stages, one unit after the other."""
    return list(chain.from_iterable(durations))


def advances(prepared: Prepared, least: float, total: float) -> bool:
    """Tell whether each duration is long enough to move any time of a day on.

    Added to a large double a small one may leave it as it is; then it matters which of two ends is looked at first, and
    stages must not be joined.

    Args:
        prepared: the day.
        least: the shortest duration, minutes.
        total: all durations together, minutes.
    """
    ends = (end for breaks in prepared.breaks for _, end in breaks)
    latest = max(*prepared.arrivals, *ends, 0.0, 0.0) + total
    return least > math.ulp(latest) if latest < LATEST else False


def begun(prepared: Prepared, times: DayTimes, stretch: int) -> float:
    """Return when a stretch began, minutes."""
    first, past = prepared.table.take_first[stretch : stretch + 2]
    return times.asked[stretch] if first == past else times.granted[past - 1]


def day_of(prepared: Prepared, durations: Sequence[float], times: DayTimes) -> Day:
    """Tell the day stage by stage."""
    told = [tuple(_stage_times(prepared, durations, times, unit)) for unit in range(prepared.units)]
    return Day(
        starts=tuple(tuple(start for start, _ in stages) for stages in told),
        ends=tuple(tuple(end for _, end in stages) for stages in told),
        finish=tuple(None if math.isnan(end) else end for end in times.finish),
        not_begun=tuple(u.id for u, left in zip(prepared.base.units, times.left, strict=True) if not math.isnan(left)),
    )


def _stage_times(
    prepared: Prepared, durations: Sequence[float], times: DayTimes, unit: int
) -> Iterator[tuple[float, float]]:
    table = prepared.table
    for stretch in range(prepared.stretch_first[unit], times.reached[unit]):
        now = begun(prepared, times, stretch)
        for stage in range(table.firsts[stretch], table.pasts[stretch]):
            end = now + durations[stage]
            yield now, end
            now = end


def held_by(prepared: Prepared, unit: int, reached: int, taken: int) -> Counter[int]:
    """Return what a unit holds that has come to this stretch and has so many of its takes, by pool number."""
    table = prepared.table
    held: Counter[int] = Counter(table.takes[reached][:taken])
    for stretch in range(prepared.stretch_first[unit], reached):
        held.update(table.takes[stretch])
        held.subtract(table.frees[stretch])

    return +held


def apart(prepared: Prepared) -> Prepared:
    """Return the same day with each stage as a stretch of its own."""
    return replace(
        prepare(prepared.base, joined=False),
        priorities=prepared.priorities,
        arrivals=prepared.arrivals,
        counts=prepared.counts,
        changed=prepared.changed,
    )


def rejoined(prepared: Prepared, single: Prepared, times: DayTimes) -> DayTimes:
    """Return the times of a day that was run stage by stage as those of its stretches."""
    joined = DayTimes([], times.granted, [], times.finish, times.left)
    for unit, (first, past) in enumerate(pairwise(prepared.stretch_first)):
        of_stage = single.stretch_first[unit] + 1 - prepared.stage_first[unit]
        places = [single.stretch_first[unit], *(of_stage + prepared.table.firsts[s] for s in range(first + 1, past))]
        joined.asked += [times.asked[place] for place in places]
        reached = times.reached[unit]
        joined.reached.append(first + places.index(reached) if reached in places else past)

    return joined
