"""The page about recovery says what the table says."""

from __future__ import annotations

from benchday.domain.recovery import FORESEEN, TABLE
from tests.house.recovery_page import PAGE, page


def test_the_page_about_recovery_is_the_table() -> None:
    """Every row, with the words that an operator sees; python -m tests.house.recovery_page writes it anew."""
    told = PAGE.read_text(encoding="utf-8")
    assert told == page()
    for cell in FORESEEN:
        assert TABLE[cell].asked.words in told
        assert TABLE[cell].customer in told
