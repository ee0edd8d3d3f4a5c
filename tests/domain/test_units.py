"""What a confirmation shows of a serial, and what it asks for."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchday.domain.units import blanked, wanted_characters

serials = st.text("AB12", min_size=1, max_size=8)


@pytest.mark.parametrize(
    ("serial", "present", "wanted"),
    [
        ("QM-10442", {"QM-10442"}, "0442"),
        ("QM-10442", {"QM-10442", "QM-10443"}, "0442"),
        ("QM-10442", {"QM-10442", "QT-20442"}, "QM-10442"),
        # A short one that ends the same is a unit that could be mistaken for it.
        ("QM-10442", {"QM-10442", "0442"}, "QM-10442"),
        ("0442", {"0442"}, "0442"),
        ("42", {"42"}, "42"),
    ],
)
def test_what_is_read_off_the_label(serial: str, present: set[str], wanted: str) -> None:
    """The last four characters, or the whole serial where another unit in the house shares them."""
    assert wanted_characters(serial, frozenset(present)) == wanted


@pytest.mark.parametrize(("serial", "shown"), [("QM-10442", "QM-1····"), ("0442", "····"), ("42", "··"), ("", "")])
def test_what_the_screen_shows(serial: str, shown: str) -> None:
    """Nothing of the last four characters."""
    assert blanked(serial) == shown


@given(serials, st.frozensets(serials, max_size=6))
def test_no_other_unit_answers_the_prompt(serial: str, others: frozenset[str]) -> None:
    """Whatever is in the house, what is wanted is not the end of any other unit's serial."""
    wanted = wanted_characters(serial, others | {serial})
    if len(wanted) < len(serial):
        assert not any(other.endswith(wanted) for other in others - {serial})
    else:
        assert wanted == serial
