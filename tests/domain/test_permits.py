"""Permits: each thing a confirmation binds, the order of its acts, and that nobody else can hand one out."""

import json
from typing import Any

import pytest

from benchday.domain.errors import PermitRefused
from benchday.domain.permits import (
    Act,
    ConfirmedBy,
    Permit,
    SpentAct,
    Verb,
    mint_spent_act,
    refusal,
    restart_covered,
    use_act,
)
from tests.domain.permits import (
    EXPIRES_US,
    IMAGE,
    KEY,
    NOW_US,
    SETTINGS,
    a_permit,
    a_proof,
    a_reading,
    a_standing,
)


def why(permit: Permit | None = None, mono_us: int = NOW_US, key: bytes | None = KEY, **changed: Any) -> str | None:
    """Ask for the refusal; ``changed`` goes to the standing or to the reading, whichever has the field."""
    standing = {name: value for name, value in changed.items() if name in a_standing().__slots__}
    reading = {name: value for name, value in changed.items() if name not in standing}
    return refusal(
        permit or a_permit(), a_standing(**standing), a_reading(**reading), mono_us=mono_us, simulator_key=key
    )


def test_what_was_confirmed_is_allowed() -> None:
    """Nothing stands against the first act on the unit that was confirmed."""
    assert why() is None


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"serial": "QM-20442"}, "the serial is QM-20442, the permit is for QM-10442"),
        ({"serial": ""}, "the serial is not told, the permit is for QM-10442"),
        ({"model": "Weirstone"}, "the model is Weirstone"),
        ({"hardware": "D"}, "the hardware revision is D"),
        ({"verb": Verb.RESTART}, "the act is restart"),
        ({"digest": "20" * 32}, "the digest is 2020"),
        ({"playbook_digest": "cd" * 32}, "the playbook is cdcd"),
        ({"given": False}, "the permit was not given by the program that runs now"),
        ({"voided": "an image changed"}, "the permit was voided: an image changed"),
        ({"spent": 2}, "every act of the permit has been spent"),
        ({"line_stopped": "QM-2 failed its verify"}, "the line is stopped: QM-2 failed its verify"),
        ({"open_act": "write image of permit 12"}, "an act on this unit has begun and not ended"),
    ],
)
def test_each_binding_refuses(changed: dict[str, Any], reason: str) -> None:
    """One difference is enough, and the refusal names it."""
    said = why(**changed)
    assert said is not None
    assert reason in said


def test_it_expires() -> None:
    """It holds to its last microsecond and not longer."""
    assert why(mono_us=EXPIRES_US) is None
    assert why(mono_us=EXPIRES_US + 1) == "the permit has expired"


def test_acts_are_spent_in_order() -> None:
    """The second act is refused before the first is spent, and the first after it."""
    assert why(verb=Verb.PUT_SETTINGS, digest=SETTINGS) is not None
    assert why(spent=1, verb=Verb.PUT_SETTINGS, digest=SETTINGS) is None
    assert why(spent=1) is not None


@pytest.mark.parametrize("by", [by for by in ConfirmedBy if by is not ConfirmedBy.PERSON])
def test_without_a_person_the_unit_must_prove_itself(by: ConfirmedBy) -> None:
    """A confirmation by anything but a person counts only on a unit that proves to be one of the day's simulators."""
    permit = a_permit(confirmed_by=by)
    refused = "no person confirmed it, and the unit has not proved that it is a simulator"
    assert why(permit, proof=a_proof()) is None
    assert why(permit) == refused
    assert why(permit, proof=a_proof(), key=None) == refused
    assert why(permit, proof=a_proof(key=bytes(32))) == refused
    assert why(permit, proof=a_proof(serial="QM-20442")) == refused


def test_a_person_needs_no_proof() -> None:
    """Real instruments never can prove anything; a person's confirmation is enough for them."""
    assert why(proof=None, key=None) is None


def test_a_permit_names_an_act() -> None:
    """A confirmation of nothing is no permit."""
    with pytest.raises(ValueError, match="at least one act"):
        a_permit(acts=())


def test_every_field_is_bound_by_the_id() -> None:
    """Two permits that differ in anything have different ids; equal ones have the same."""
    assert a_permit().id == a_permit().id
    others = {
        "unit": "QM-2",
        "model": "Weirstone",
        "hardware": "D",
        "acts": (Act(Verb.WRITE_IMAGE, IMAGE, 4096, "2.11"),),
        "losses": (),
        "playbook_digest": "cd" * 32,
        "operator": "Bo",
        "confirmed_by": ConfirmedBy.PIPE,
        "station": "2",
        "given_us": 1,
        "expires_mono_us": 1,
        "nonce": "01" * 16,
    }
    assert set(others) == set(Permit.__slots__)
    ids = {a_permit(**{name: value}).id for name, value in others.items()}
    assert len(ids | {a_permit().id}) == len(others) + 1
    assert json.loads(json.dumps(a_permit().as_facts())) == a_permit().as_facts()


@pytest.mark.parametrize("key", [None, object(), True, "mint"])
def test_nobody_outside_makes_a_spent_act(key: object) -> None:
    """Whatever is handed to the constructor, only a journal's own key works."""
    with pytest.raises(PermitRefused, match="only a journal hands out a spent act"):
        SpentAct(key, a_permit(), 0)


def test_an_act_is_used_once() -> None:
    """The second use is refused, also of what fitted the first time."""
    act = mint_spent_act(a_permit(), 0)
    act.use(Verb.WRITE_IMAGE, IMAGE)
    with pytest.raises(PermitRefused, match="was used before; a new permit is needed"):
        act.use(Verb.WRITE_IMAGE, IMAGE)


@pytest.mark.parametrize(("verb", "digest"), [(Verb.WRITE_IMAGE, SETTINGS), (Verb.PUT_SETTINGS, IMAGE)])
def test_an_act_for_something_else_is_used_up(verb: Verb, digest: str) -> None:
    """A wrong use is refused, and leaves nothing to try again with."""
    act = mint_spent_act(a_permit(), 0)
    with pytest.raises(PermitRefused, match="is for another write image"):
        act.use(verb, digest)
    with pytest.raises(PermitRefused, match="used before"):
        act.use(Verb.WRITE_IMAGE, IMAGE)


def test_a_restart_belongs_to_a_write_that_was_begun() -> None:
    """Before the write begins its act covers no restart; afterwards it does."""
    with pytest.raises(PermitRefused):
        mint_spent_act(a_permit(), 0).covers_restart()
    act = mint_spent_act(a_permit(), 0)
    act.use(Verb.WRITE_IMAGE, IMAGE)
    act.covers_restart()
    act.covers_restart()


def test_a_restart_of_its_own_is_an_act() -> None:
    """Once, like every act; putting settings covers no restart."""
    act = mint_spent_act(a_permit(acts=(Act(Verb.RESTART, IMAGE, 0),)), 0)
    act.covers_restart()
    with pytest.raises(PermitRefused):
        act.covers_restart()
    with pytest.raises(PermitRefused):
        mint_spent_act(a_permit(), 1).covers_restart()


@pytest.mark.parametrize("handed", [None, True, "yes", 1, a_permit(), a_reading(), object()])
def test_whatever_is_no_spent_act_is_refused(handed: object) -> None:
    """What a write capability was handed is looked at, since types are not checked at run time."""
    with pytest.raises(PermitRefused, match="takes a spent act of a permit"):
        use_act(handed, Verb.WRITE_IMAGE, IMAGE)
    with pytest.raises(PermitRefused, match="takes a spent act of a permit"):
        restart_covered(handed)


def test_a_spent_act_is_taken() -> None:
    """The same functions let a real one through, and use it up."""
    act = mint_spent_act(a_permit(), 0)
    assert use_act(act, Verb.WRITE_IMAGE, IMAGE) is act
    assert restart_covered(act) is act
    with pytest.raises(PermitRefused):
        use_act(act, Verb.WRITE_IMAGE, IMAGE)
