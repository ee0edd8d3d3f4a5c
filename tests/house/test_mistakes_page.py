"""The page of mistakes is true: every deliberate one stands there, with what must fail for it."""

from __future__ import annotations

from tests.house.mistakes_page import PAGE, page_with_table


def test_the_page_tells_every_mistake_and_what_notices_it() -> None:
    """Each in the layer whose test must fail for it."""
    text = PAGE.read_text(encoding="utf-8")
    assert text == page_with_table(text), "write it anew: python -m tests.house.mistakes_page"
