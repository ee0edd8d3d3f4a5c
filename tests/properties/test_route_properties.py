"""Routes against a graph library and against brute force, over stores with rules of all kinds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations

import networkx
from hypothesis import given, settings
from hypothesis import strategies as st

from benchday.domain.releases import Image, Version
from benchday.planning.routes import Start, reachable, route
from tests.planning.shop import image

RELEASES = ("2.1", "2.2", "2.8", "2.9", "2.10", "2.11", "3.0", "3.1")

Cost = tuple[int, int, tuple[Version, ...]]
"""Time of all writes, their number, the releases: less is better."""


@st.composite
def stores(draw: st.DrawFn) -> tuple[Image, ...]:
    """Draw a store of up to eight releases; stones may be missing, out of order, or go round in a circle."""
    chosen = draw(st.lists(st.sampled_from(RELEASES), unique=True, max_size=8))
    return tuple(
        image(
            release,
            enter_from=draw(st.sampled_from([None, None, *RELEASES])),
            through=draw(st.lists(st.sampled_from(RELEASES), unique=True, max_size=2)),
        )
        for release in chosen
    )


times = st.fixed_dictionaries({release: st.integers(0, 4) for release in RELEASES})
starts = st.sampled_from([None, *RELEASES])


def may_follow(step: Image, here: Version, passed: frozenset[Version], begun: Version) -> bool:
    """Say the rules of one write anew: upwards, not from below ``enter_from``, after the stones that are demanded."""
    if step.version <= here or (step.enter_from is not None and here < Version(step.enter_from)):
        return False
    return all(Version(stone) in passed for stone in step.through if begun < Version(stone))


def lawful_ways(begun: Version, goal: Version, store: tuple[Image, ...]) -> Iterator[tuple[Image, ...]]:
    """Yield all ways by trying every choice of releases."""
    ordered = sorted(store, key=lambda i: i.version)
    for length in range(1, len(ordered) + 1):
        for way in combinations(ordered, length):
            if way[-1].version != goal:
                continue
            befores = [begun, *(step.version for step in way)]
            if all(may_follow(s, befores[n], frozenset(befores[1 : n + 1]), begun) for n, s in enumerate(way)):
                yield way


def cost(way: tuple[Image, ...], us: Mapping[str, int]) -> Cost:
    return sum(us[i.release] for i in way), len(way), tuple(i.version for i in way)


def graph(begun: Version, store: tuple[Image, ...], us: Mapping[str, int]) -> networkx.DiGraph:
    """Draw everything that can be: a node is a release with all releases passed, an edge is a write."""
    drawn = networkx.DiGraph()
    todo = [(begun, frozenset[Version]())]
    drawn.add_node(todo[0])
    while todo:
        here, passed = node = todo.pop()
        for step in store:
            if may_follow(step, here, passed, begun):
                after = (step.version, passed | {step.version})
                if after not in drawn:
                    todo.append(after)
                # Writes count where times are equal.
                drawn.add_edge(node, after, weight=us[step.release] * 1000 + 1)
    return drawn


@settings(max_examples=1000, deadline=None)
@given(store=stores(), start=starts, goal=st.sampled_from(RELEASES), us=times)
def test_the_best_of_all_ways(store: tuple[Image, ...], start: str | None, goal: str, us: dict[str, int]) -> None:
    """Of all lawful ways it is the one with the least time, the fewest writes, the oldest releases."""
    found = route(Start(Version(start) if start else None), Version(goal), store, lambda i: us[i.release])

    if start == goal:
        assert found == ()
    elif start is None:
        assert [i.release for i in found or ()] == [i.release for i in store if i.release == goal]
    else:
        best = min((cost(way, us) for way in lawful_ways(Version(start), Version(goal), store)), default=None)
        assert (None if found is None else cost(found, us)) == best


@settings(max_examples=1000, deadline=None)
@given(store=stores(), start=st.sampled_from(RELEASES), us=times)
def test_a_graph_library_agrees(store: tuple[Image, ...], start: str, us: dict[str, int]) -> None:
    """Dijkstra's way in networkx takes as long and as many writes, and ends exactly where ours do."""
    begun = Version(start)
    drawn = graph(begun, store, us)
    lengths = networkx.single_source_dijkstra_path_length(drawn, (begun, frozenset()))
    for goal in {i.version for i in store} - {begun}:
        library = min((length for (end, _), length in lengths.items() if end == goal), default=None)
        found = route(Start(begun), goal, store, lambda i: us[i.release])

        assert (None if found is None else sum(us[i.release] * 1000 + 1 for i in found)) == library
    assert {i.version for i in reachable(Start(begun), store)} == {end for end, _ in lengths} - {begun}


def test_a_circle_of_stepping_stones_ends() -> None:
    """2.9 demands 2.10 and 2.10 demands 2.9: neither can be reached from below, and that is said at once."""
    store = (image("2.9", through=["2.10"]), image("2.10", through=["2.9"]), image("2.11", through=["2.11"]))

    assert route(Start(Version("2.8")), Version("2.10"), store) is None
    assert route(Start(Version("2.8")), Version("2.11"), store) is None
    assert reachable(Start(Version("2.8")), store) == ()


def test_two_short_writes_may_be_better_than_one_long_one() -> None:
    """3.0 may be entered from 2.10 on: over 2.10 it takes 9 and itself, over 2.8 and 2.11 only 1 and 1 and itself."""
    store = (
        image("2.8"),
        image("2.10"),
        image("2.11", enter_from="2.8"),
        image("3.0", enter_from="2.10"),
    )
    us = {"2.8": 1, "2.10": 9, "2.11": 1, "3.0": 5}
    found = route(Start(Version("2.1")), Version("3.0"), store, lambda i: us[i.release])
    equal = route(Start(Version("2.1")), Version("3.0"), store)

    assert [i.release for i in found or ()] == ["2.8", "2.11", "3.0"]
    assert [i.release for i in equal or ()] == ["2.10", "3.0"]
