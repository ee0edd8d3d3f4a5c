"""What is there before a day is set aside from the collection of garbage while it runs, and not for longer."""

from __future__ import annotations

import gc

import pytest

from benchday.bench.at_rest import at_rest


def _day_with_a_fault(before: int) -> None:
    with at_rest():
        assert gc.get_freeze_count() > before + 1000
        assert len(gc.get_objects()) < 1000
        raise LookupError


def test_objects_are_set_aside_and_given_back_also_after_an_error() -> None:
    with pytest.raises(LookupError):
        _day_with_a_fault(gc.get_freeze_count())
    assert gc.get_freeze_count() == 0
