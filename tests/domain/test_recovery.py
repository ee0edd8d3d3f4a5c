"""The table of what follows when something befalls a unit: total, careful where a unit may be half written."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product
from string import Formatter

import pytest

from benchday.domain import errors
from benchday.domain.errors import BenchdayError, DeviceError, RecordDamaged
from benchday.domain.happenings import MEANS, TROUBLES, Happening, Stage, of_error, of_release, read_back, stage_of
from benchday.domain.playbook import StepName
from benchday.domain.readings import Identity, Mode
from benchday.domain.recovery import (
    AS_IT_IS,
    ASIDE,
    CERTIFICATE,
    FORESEEN,
    HALF_WRITTEN,
    LOOK_AGAIN,
    MAY_BE_DARK,
    REFUSED,
    RESTORE,
    TABLE,
    Own,
    row_for,
)

CELLS = list(product(Stage, Happening))
CHANGES = (Stage.WRITE, Stage.RESTART, Stage.PUT_BACK)
"""Where an act is spent."""
NOTHING_WAS_SENT = (Happening.REFUSED, Happening.PERMIT, Happening.NO_PERMIT)


def kinds(of: type[BenchdayError]) -> Iterator[type[BenchdayError]]:
    """Yield an error and every kind of it."""
    yield of
    for kind in of.__subclasses__():
        yield from kinds(kind)


def an_error(kind: type[BenchdayError]) -> BenchdayError:
    """Make an error without asking for its facts."""
    return kind.__new__(kind)


def test_every_happening_at_every_stage_has_a_row() -> None:
    assert set(TABLE) == set(CELLS)
    assert set(MEANS) == set(Happening)
    assert set(CELLS) >= FORESEEN
    assert {h for _, h in FORESEEN} == set(Happening), "each happening can come up somewhere"
    assert {s for s, _ in FORESEEN} == set(Stage)


@pytest.mark.parametrize("step", StepName)
@pytest.mark.parametrize("kind", [k for t in TROUBLES for k in kinds(t)], ids=lambda k: k.__name__)
def test_whatever_a_step_may_raise_has_a_row(step: StepName, kind: type[BenchdayError]) -> None:
    """Also an error of a kind that is added tomorrow below one that is known."""
    happening = of_error(an_error(kind))
    for half, sent in product((False, True), repeat=2):
        stage = stage_of(step, half_written=half, sent=sent)
        assert (stage, happening) in FORESEEN or happening in (Happening.SWAPPED, Happening.PERMIT, Happening.FULL)
        assert row_for(stage, happening).reason


def test_errors_that_befall_no_unit_are_not_taken_for_one_that_does() -> None:
    for kind in kinds(BenchdayError):
        if kind.__module__ == errors.__name__ and not issubclass(kind, (*TROUBLES, RecordDamaged)):
            with pytest.raises(ValueError, match="befalls no unit"):
                of_error(an_error(kind))


@pytest.mark.parametrize(("stage", "happening"), CELLS)
def test_each_row_is_safe(stage: Stage, happening: Happening) -> None:
    row = row_for(stage, happening)
    fields = {name for _, name, _, _ in Formatter().parse(row.reason) if name}
    assert "said" in fields
    assert fields <= {"said", "stage", "became"}
    assert "cut short" not in row.reason or stage is Stage.PUT_BACK, "how far a write came is told by its own entries"
    assert row.customer.endswith(".")
    assert (row.lifts and row.code) or (stage, happening) in FORESEEN, "only a finding says these itself"
    if stage in (*CHANGES, Stage.BEFORE_ACT, Stage.BEFORE_ACT_AGAIN):
        assert row.own is Own.NOTHING, "nothing is tried again where it could change the unit"
    if stage in CHANGES and happening not in NOTHING_WAS_SENT:
        assert row.asked.connected, "what may be half done stays where it is"
    if stage in (Stage.LOOK_ANEW, Stage.AGAIN, Stage.BEFORE_ACT_AGAIN):
        assert row.asked.connected
        assert not row.stops_line, "the line was stopped when it was cut, and a person may have lifted that since"
    if row.stops_line:
        assert stage in (Stage.WRITE, Stage.RESTART, Stage.VERIFY)


@pytest.mark.parametrize("happening", Happening)
def test_what_cuts_a_write_or_fails_a_verify_stops_the_line(happening: Happening) -> None:
    for stage in (Stage.WRITE, Stage.RESTART):
        if (stage, happening) in FORESEEN and (stage is Stage.RESTART or happening not in NOTHING_WAS_SENT):
            assert row_for(stage, happening).stops_line
    if (Stage.VERIFY, happening) in FORESEEN and row_for(Stage.VERIFY, happening).code not in (
        "line",
        "refused",
        "full",
        "certificate",
    ):
        assert row_for(Stage.VERIFY, happening).stops_line


@pytest.mark.parametrize(
    "asked", [ASIDE, CERTIFICATE, HALF_WRITTEN, MAY_BE_DARK, REFUSED, RESTORE], ids=lambda a: a.topic
)
def test_what_is_asked_can_be_answered(asked: object) -> None:
    rows = [row for row in TABLE.values() if row.asked is asked]
    assert rows
    words = rows[0].asked.words.format(unit="1", station="S1", reason="r", lifts="l")
    assert "1" in words
    assert "r" in words
    if rows[0].asked.moment is not None:
        assert {LOOK_AGAIN, AS_IT_IS} <= set(rows[0].asked.choices)
    assert rows[0].asked.connected == (rows[0].asked is not ASIDE)


@pytest.mark.parametrize(
    ("mode", "release", "before", "settled"),
    [
        (Mode.BOOT, None, "2.9", "broken"),
        (Mode.RUN, "2.10", "2.9", "written"),
        (Mode.RUN, "2.9", "2.9", "untouched"),
        (Mode.RUN, "2.6", "2.9", "other"),
        (Mode.RUN, "2.9", None, "untouched"),
    ],
)
def test_what_answers_settles_what_became_of_the_write(
    mode: Mode, release: str | None, before: str | None, settled: str
) -> None:
    found = Identity("1", "Millrace", "B", mode, release)
    assert read_back(found, "2.10", before) == settled


@pytest.mark.parametrize(
    ("mode", "release", "boots_failed", "wrong"),
    [
        (Mode.RUN, "2.10", 0, None),
        (Mode.RUN, "2.9", 0, Happening.OLD_RELEASE),
        (Mode.RUN, "2.6", 0, Happening.OTHER_RELEASE),
        (Mode.BOOT, None, 0, Happening.BOOT_LOADER),
        (Mode.BOOT, None, 1, Happening.BOOT_AGAIN),
    ],
)
def test_what_is_wrong_with_a_release(
    mode: Mode, release: str | None, boots_failed: int, wrong: Happening | None
) -> None:
    found = Identity("1", "Millrace", "B", mode, release)
    assert of_release(found, "2.10", "2.9", boots_failed=boots_failed) is wrong


def test_device_errors_are_all_there() -> None:
    """So that the walk above walks."""
    assert len(list(kinds(DeviceError))) > 10
