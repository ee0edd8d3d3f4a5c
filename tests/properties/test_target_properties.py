"""What holds for every target of a unit alone."""

from __future__ import annotations

from datetime import date

from hypothesis import given, settings
from hypothesis import strategies as st

from benchday.domain.releases import Image, Version
from benchday.domain.units import Role
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
