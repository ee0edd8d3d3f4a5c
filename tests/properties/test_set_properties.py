"""Matching sets against brute force, over crews, stores and rules of all kinds."""

from __future__ import annotations

import json
from typing import Any

from hypothesis import assume, event, given, settings
from hypothesis import strategies as st

from benchday.domain.checks import Answer
from benchday.domain.playbook import Together
from benchday.domain.releases import Version
from benchday.domain.sets import SetChoice
from benchday.domain.units import Role
from benchday.planning.rules import Rules
from benchday.planning.target import ReasonCode
from benchday.planning.targets import targets
from tests.planning.shop import image, unit_now
from tests.properties.set_oracle import Case

RELEASES = ("2.1", "2.2", "2.9", "2.10", "3.0")
DAYS = tuple(f"2025-0{month}-01" for month in range(1, 5))
MODELS = ("Millrace", "Osier", "Tiller")
release = st.sampled_from(RELEASES)
day = st.sampled_from(DAYS)


@st.composite
def stores(draw: st.DrawFn) -> tuple[Any, ...]:
    """Draw a store for several models; one release of two models is two images, with days of their own."""
    wanted = draw(st.lists(st.tuples(st.sampled_from(MODELS), release), unique=True, min_size=1, max_size=9))
    return tuple(
        image(
            version,
            draw(day),
            models=[model],
            file=f"{model}-{version}.fen".lower(),
            enter_from=draw(st.sampled_from([None, None, None, *RELEASES])),
            through=draw(st.lists(release, unique=True, max_size=1)),
            back_to=draw(st.sampled_from([None, *RELEASES])),
        )
        for model, version in wanted
    )


@st.composite
def groups(draw: st.DrawFn) -> Together:
    """Draw what a playbook says of releases that work together."""
    named = draw(st.lists(st.sampled_from(MODELS), unique=True, min_size=1, max_size=3))
    works = [{"model": m, "oldest": draw(release), "newest": draw(st.sampled_from([None, *RELEASES]))} for m in named]
    return Together.model_validate_json(json.dumps({"together": works}))


@st.composite
def cases(draw: st.DrawFn, most: int = 4) -> Case:
    """Draw a crew of up to four units, some of them away."""
    units = []
    for number in range(draw(st.integers(2, most))):
        model = draw(st.sampled_from([*MODELS, "Millrace"]))
        runs = draw(st.sampled_from([*RELEASES, *RELEASES, None]))
        units.append(
            unit_now(
                f"u{number}",
                runs,
                model=model,
                role=Role.NONE if model == "Tiller" else draw(st.sampled_from([Role.BASE, Role.ROVER])),
                support_until=draw(day),
                in_boot=runs is None,
                away=draw(st.sampled_from([None, None, None, "held"])),
            )
        )
    return Case(
        units=tuple(draw(st.permutations(units))),
        store=draw(stores()),
        together=tuple(draw(st.lists(groups(), max_size=3))),
        us=draw(st.fixed_dictionaries({r: st.integers(1, 3) for r in RELEASES})),
        choice=draw(st.sampled_from([None, *SetChoice])),
    )


def rules(case: Case) -> Rules:
    chosen = {"Avocet": case.choice} if case.choice is not None else {}
    return Rules(write_us=lambda _, i: case.us[i.release], together=case.together, choices=chosen)


@settings(max_examples=800, deadline=None)
@given(case=cases())
def test_no_choice_is_better(case: Case) -> None:
    """What is chosen has the best key of all that could be: outside, days of issue, writes, time, releases."""
    members = case.members()
    assume(len(members) > 1)
    found = {t.unit: t for t in targets(case.units, case.store, None, rules(case))}
    ends = [None if found[u.serial].outside else Version(found[u.serial].release or "") for u in members]
    event(f"outside: {sum(end is None for end in ends)}")

    assert case.key(members, ends) == min(case.keys())


@settings(max_examples=400, deadline=None)
@given(case=cases())
def test_every_target_can_be_reached_and_is_allowed(case: Case) -> None:
    """Routes are as long and take as long as the best; nothing beyond the term is written; back only if decided."""
    for target, unit in zip(targets(case.units, case.store, None, rules(case)), case.units, strict=True):
        assert all(step in case.allowed(unit) for step in target.images)
        assert all(bool(f.clears) == (f.answer is not Answer.CLEAR) for f in target.findings)
        assert target.expected_us == sum(case.us[r] for r in target.route)
        if target.route and unit.away is None:
            assert case.options(unit)[Version(target.route[-1])] == (len(target.route), target.expected_us)
        if target.back:
            assert case.choice is SetChoice.BACK
            assert target.reason_code is ReasonCode.BACK
            assert unit.release is not None
            assert Version(target.route[0]) < Version(unit.release)


@settings(max_examples=150, deadline=None)
@given(case=cases(), shuffle=st.randoms())
def test_the_order_of_units_and_images_is_nothing(case: Case, shuffle: Any) -> None:
    """Targets depend on what is there, not on the lines in which it stands."""
    units, store = list(case.units), list(case.store)
    shuffle.shuffle(units)
    shuffle.shuffle(store)
    found = {t.unit: t for t in targets(case.units, case.store, None, rules(case))}

    assert {t.unit: t for t in targets(units, store, None, rules(case))} == found
