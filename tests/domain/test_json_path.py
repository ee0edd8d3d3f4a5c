"""The subset of JSONPath, on the RFC's own example."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchday.domain.json_path import found_in, json_steps
from benchday.domain.words import Expected

# RFC 9535, 1.5: the example document, and those of its queries that are in our subset.
STORE: Any = {
    "store": {
        "book": [
            {"category": "reference", "author": "Nigel Rees", "title": "Sayings of the Century", "price": 8.95},
            {"category": "fiction", "author": "Evelyn Waugh", "title": "Sword of Honour", "price": 12.99},
            {"category": "fiction", "author": "Herman Melville", "title": "Moby Dick", "isbn": "0-553-21311-3"},
            {"category": "fiction", "author": "J. R. R. Tolkien", "title": "The Lord of the Rings"},
        ],
        "bicycle": {"color": "red", "price": 399},
    }
}


@pytest.mark.parametrize(
    ("path", "found"),
    [
        ("$.store.book[*].author", ["Nigel Rees", "Evelyn Waugh", "Herman Melville", "J. R. R. Tolkien"]),
        ("$.store.bicycle.color", ["red"]),
        ("$.store.book[2].title", ["Moby Dick"]),
        ("$.store.book[-1].title", ["The Lord of the Rings"]),
        ("$['store']['bicycle'][\"price\"]", [399]),
        ("$.store.*", [STORE["store"]["book"], STORE["store"]["bicycle"]]),
        ("$.store.book[9]", []),
        ("$.store.bicycle[0]", []),
        ("$.nothing.at.all", []),
        ("$", [STORE]),
    ],
)
def test_the_rfcs_example(path: str, found: list[Any]) -> None:
    """Each finds what the RFC says."""
    assert found_in(STORE, path) == found


@pytest.mark.parametrize(
    "path",
    ["", "store", "$..author", "$.book[0:2]", "$.book[?(@.price<10)]", "$.", "$[01]", "$[-0", "$" + ".a" * 21],
)
def test_what_is_not_in_the_subset(path: str) -> None:
    """Refused with what was expected, not guessed at."""
    with pytest.raises(Expected, match="names, indexes and"):
        json_steps(path)


_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from("abc"), inner, max_size=3),
    max_leaves=10,
)


@given(_JSON, st.lists(st.sampled_from([".a", ".b", "['c']", "[0]", "[-1]", "[*]", ".*"]), max_size=5))
def test_it_never_fails_and_only_narrows(value: Any, steps: list[str]) -> None:
    """Whatever a unit answers: a path finds some of it or nothing; a longer one finds parts of what the shorter did."""
    path = "$" + "".join(steps)
    found = found_in(value, path)
    if steps:
        before = found_in(value, "$" + "".join(steps[:-1]))
        parts = [p for b in before if isinstance(b, (dict, list)) for p in (b.values() if isinstance(b, dict) else b)]
        assert all(any(one is part for part in parts) for one in found)
