"""The newest image list of a record, from entries alone."""

from __future__ import annotations

import pytest

from benchday.domain.entries import Entry
from benchday.domain.image_lists import NOTHING_SEEN, SeenList, newest_seen, older
from benchday.domain.kinds import ImagesAccepted
from tests.domain.small_day import Telling

A, B = "aa" * 32, "bb" * 32


def used(*lists: tuple[int | None, str]) -> list[Entry]:
    """Tell that a bench used these lists, one after the other."""
    day = Telling()
    for sequence, sha256 in lists:
        day.tell(ImagesAccepted(sha256=sha256, sequence=sequence, expires=None, signed_by=[], needed=0))
    return day.entries


def test_nothing_seen_refuses_nothing() -> None:
    assert newest_seen([]) == NOTHING_SEEN
    assert newest_seen(used((None, A))) == NOTHING_SEEN
    assert older(1, A, NOTHING_SEEN) is None
    assert older(None, A, NOTHING_SEEN) is None


def test_the_highest_number_counts_whatever_came_last() -> None:
    """Of several benches the entries come in any order."""
    seen = newest_seen(used((3, A), (7, B), (5, A), (None, A)))
    assert seen == SeenList(7, frozenset({B}), "b1")
    assert newest_seen(used((4, A))).newer_of(seen) == seen
    assert seen.newer_of(NOTHING_SEEN) == seen


def test_equal_numbers_of_two_benches_are_both_known() -> None:
    seen = SeenList(2, frozenset({A}), "b1").newer_of(SeenList(2, frozenset({B}), "b2"))
    assert seen.digests == {A, B}
    assert older(2, A, seen) is None
    assert older(2, "cc" * 32, seen) is not None


@pytest.mark.parametrize(
    ("sequence", "sha256", "found"),
    [
        (7, B, None),
        (8, A, None),
        (None, A, None),
        (6, B, "6: an older list; fetch the newest one"),
        (7, A, "7 again with the digest aaaaaaaaaaaa: raise the number with every change"),
    ],
)
def test_what_is_refused(sequence: int | None, sha256: str, found: str | None) -> None:
    refused = older(sequence, sha256, SeenList(7, frozenset({B}), "b1"))
    assert (refused.found if refused else None) == found
