"""The dispatch policy, rule by rule."""

from __future__ import annotations

import itertools

import pytest

from benchday.planning.policy import Ask, Phase, Pool, grant, next_grant, too_late

STATION = Pool("station", 2, Phase.PLACES)
ROUND = Pool("cable:round", 1, Phase.PLACES)
HANDS = Pool("technician", 1, Phase.HANDS, breaks=((240, 270),))
POOLS = {pool.name: pool for pool in (STATION, ROUND, HANDS)}


def asks(*rows: tuple[str, str, float, float, int]) -> list[Ask]:
    return [Ask(*row) for row in rows]


def names(granted: tuple[Ask, ...]) -> list[str]:
    return [ask.unit for ask in granted]


def test_the_queue_is_ordered_by_priority_then_asking_then_position() -> None:
    """Rule 2, each of the three in turn."""
    queue = asks(
        ("late", "station", 1, 5, 0),
        ("urgent", "station", 0, 9, 3),
        ("third", "station", 1, 2, 2),
        ("second", "station", 1, 2, 1),
    )
    for order in itertools.permutations(queue):
        granted = grant(POOLS, {"station": 3, "cable:round": 0, "technician": 0}, order, Phase.PLACES, 10)

        assert names(granted) == ["urgent", "second", "third"]


def test_whatever_is_free_and_asked_for_is_granted() -> None:
    """Rule 1: a unit far back gets what those before it do not want or cannot have."""
    queue = asks(("a", "cable:round", 0, 0, 0), ("b", "cable:round", 0, 0, 1), ("c", "station", 9, 9, 2))

    granted = grant(POOLS, {"station": 1, "cable:round": 1, "technician": 1}, queue, Phase.PLACES, 10)

    assert names(granted) == ["a", "c"]


def test_a_phase_grants_its_own_pools_only() -> None:
    """Rule 3: places and hands are granted apart."""
    queue = asks(("a", "technician", 0, 0, 0), ("b", "station", 0, 0, 1))
    free = {"station": 1, "cable:round": 1, "technician": 1}

    assert names(grant(POOLS, free, queue, Phase.PLACES, 0)) == ["b"]
    assert names(grant(POOLS, free, queue, Phase.HANDS, 0)) == ["a"]


@pytest.mark.parametrize(("now", "granted"), [(239.999, ["a"]), (240, []), (269.999, []), (270, ["a"])])
def test_hands_are_not_granted_in_a_break(now: float, granted: list[str]) -> None:
    """Rule 3: a break holds its beginning and not its end."""
    queue = asks(("a", "technician", 0, 0, 0))

    assert names(grant(POOLS, {"technician": 1}, queue, Phase.HANDS, now)) == granted


def test_next_grant_is_the_first_that_grant_gives() -> None:
    """One by one, with nothing asked in between, is the same as all together."""
    queue = asks(("a", "station", 2, 0, 0), ("b", "station", 1, 0, 1), ("c", "station", 0, 0, 2))
    free = {"station": 2, "cable:round": 1, "technician": 1}

    one_by_one = []
    waiting = list(queue)
    left = dict(free)
    while (ask := next_grant(POOLS, left, waiting, Phase.PLACES, 0)) is not None:
        waiting.remove(ask)
        left[ask.pool] -= 1
        one_by_one.append(ask)

    assert tuple(one_by_one) == grant(POOLS, free, queue, Phase.PLACES, 0)
    assert names(tuple(one_by_one)) == ["c", "b"]


def test_granting_changes_nothing_it_was_given() -> None:
    """Pure: the caller's counts are the caller's."""
    free = {"station": 1, "cable:round": 1, "technician": 1}
    grant(POOLS, free, asks(("a", "station", 0, 0, 0)), Phase.PLACES, 0)

    assert free == {"station": 1, "cable:round": 1, "technician": 1}


def test_a_guard_leaves_room_up_to_closing() -> None:
    """Rule 7: ending exactly at closing is in time."""
    assert not too_late(580, 20, 600)
    assert too_late(580.1, 20, 600)
    assert not too_late(580.1, None, 600)
    assert not too_late(580.1, 20, None)


def test_a_pool_checks_itself() -> None:
    """A pool that cannot be is refused where it is written."""
    with pytest.raises(ValueError, match="station has breaks, which only hands have"):
        Pool("station", 1, Phase.PLACES, breaks=((1, 2),))
    with pytest.raises(ValueError, match="ends after it begins, not at 1 after 2"):
        Pool("technician", 1, Phase.HANDS, breaks=((2, 1),))
    with pytest.raises(ValueError, match="cannot hold -1"):
        Pool("station", -1, Phase.PLACES)
