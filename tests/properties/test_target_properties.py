"""What holds for every target and route, and brute force on small stores."""

from __future__ import annotations

from datetime import date
from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from benchday.domain.releases import Image, Version
from benchday.domain.units import Role
from benchday.planning.routes import Start, route
from benchday.planning.targets import ReasonCode, UnitNow, targets
from tests.planning.shop import image, unit_now

RELEASES = ("2.1", "2.2", "2.9", "2.10", "2.11")
DAYS = tuple(f"2025-0{month}-01" for month in range(1, 8))


@st.composite
def stores(draw: st.DrawFn) -> tuple[Image, ...]:
    """Draw a store of up to five releases with route rules of all kinds."""
    chosen = draw(st.lists(st.sampled_from(RELEASES), unique=True, max_size=5))
    return tuple(
        image(
            release,
            draw(st.sampled_from(DAYS)),
            hardware=draw(st.sampled_from([[], ["B"], ["C"], ["B", "C"]])),
            enter_from=draw(st.sampled_from([None, *RELEASES])),
            through=draw(st.lists(st.sampled_from(RELEASES), unique=True, max_size=2)),
        )
        for release in chosen
    )


@st.composite
def units(draw: st.DrawFn, serial: str = "u1") -> UnitNow:
    """Draw a unit of one crew whose release is known."""
    return unit_now(
        serial,
        draw(st.sampled_from(RELEASES)),
        hardware=draw(st.sampled_from(["B", "C"])),
        support_until=draw(st.sampled_from(DAYS)),
        role=draw(st.sampled_from([Role.BASE, Role.ROVER, Role.EITHER])),
    )


def allowed(unit: UnitNow, store: tuple[Image, ...]) -> list[Image]:
    """The images that may be put on a unit, said anew."""
    assert unit.support_until is not None
    last = date.fromisoformat(unit.support_until)
    return [i for i in store if (not i.hardware or unit.hardware in i.hardware) and i.issued_on <= last]


def lawful(start: str, way: tuple[Image, ...]) -> bool:
    """Judge a whole way by the rules as the image list words them."""
    here = Version(start)
    passed: list[Version] = []
    for step in way:
        if step.version <= here or (step.enter_from and here < Version(step.enter_from)):
            return False
        stones = [Version(s) for s in step.through if Version(start) < Version(s)]
        if any(s not in passed for s in stones):
            return False
        here = step.version
        passed.append(here)
    return True


def brute_force(start: str, goal: Version, store: list[Image]) -> int | None:
    """Length of the shortest lawful way to the goal, by trying all."""
    if Version(start) == goal:
        return 0
    ordered = sorted(store, key=lambda i: i.version)
    for length in range(1, len(ordered) + 1):
        for way in combinations(ordered, length):
            if way[-1].version == goal and lawful(start, way):
                return length
    return None


@settings(max_examples=300, deadline=None)
@given(store=stores(), start=st.sampled_from(RELEASES), goal=st.sampled_from(RELEASES))
def test_routes_agree_with_brute_force(store: tuple[Image, ...], start: str, goal: str) -> None:
    """As short as the shortest, lawful at every step, and none exactly where there is none."""
    found = route(Start(Version(start)), Version(goal), store)

    assert (None if found is None else len(found)) == brute_force(start, Version(goal), list(store))
    if found:
        assert lawful(start, found)
        assert found[-1].release == goal


@settings(max_examples=300, deadline=None)
@given(unit=units(), store=stores())
def test_nothing_outside_term_revision_or_rules_is_ever_written(unit: UnitNow, store: tuple[Image, ...]) -> None:
    """Every step of every route is allowed, upwards and lawful; a route ends on the target."""
    (found,) = targets([unit], store)

    assert all(step in allowed(unit, store) for step in found.images)
    assert unit.release is not None
    assert lawful(unit.release, found.images)
    if found.route:
        assert found.route[-1] == found.release
    elif found.reason_code is not ReasonCode.NO_ROUTE:
        assert found.release == unit.release


@settings(max_examples=300, deadline=None)
@given(store=stores(), crew=st.tuples(units("u1"), units("u2"), units("u3")))
def test_sets_agree_with_brute_force(store: tuple[Image, ...], crew: tuple[UnitNow, ...]) -> None:
    """All end on the newest release that each can end on, and where there is none a person is asked."""
    common = [
        version
        for version in map(Version, RELEASES)
        if all(
            brute_force(unit.release or "", version, allowed(unit, store)) is not None
            for unit in crew
            if any(i.suits(unit.model, unit.hardware) for i in store)
        )
    ]
    found = targets(crew, store)
    counted = [t for t, unit in zip(found, crew, strict=True) if any(i.suits(unit.model, unit.hardware) for i in store)]

    if len(counted) > 1 and common:
        assert {Version(t.release or "0") for t in counted} == {max(common)}
        assert all(t.reason_code is not ReasonCode.NO_ROUTE for t in counted)
    elif len(counted) > 1:
        assert all(any("no release can be reached by all" in f.text for f in t.findings) for t in counted)
    for t, unit in zip(found, crew, strict=True):
        assert all(step in allowed(unit, store) for step in t.images)
        assert lawful(unit.release or "", t.images)
