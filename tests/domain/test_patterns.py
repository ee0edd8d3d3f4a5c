"""Patterns: one way to read a line, in steps that its length bounds, and back again."""

from __future__ import annotations

import string

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from benchday.domain.patterns import KINDS, UNNAMED, Pattern, pattern_of
from benchday.domain.words import Expected

PLAIN = string.ascii_letters + string.digits + " ,.:;=+-*/#"
VALUES = {
    "word": st.text(string.ascii_letters + string.digits + "-._", min_size=1, max_size=12),
    "digits": st.text(string.digits, min_size=1, max_size=12),
    "decimal": st.from_regex(r"\A-?[0-9]{1,6}(\.[0-9]{1,4})?\Z"),
    "hex": st.text(string.hexdigits, min_size=1, max_size=64),
    "text": st.text(PLAIN, max_size=20),
    "rest": st.text(PLAIN, max_size=20),
}


@st.composite
def patterns(draw: st.DrawFn) -> tuple[str, dict[str, str]]:
    """Draw a pattern, and values that its kinds allow."""
    text, values = draw(st.text(PLAIN, min_size=1, max_size=8)), {}
    for number in range(draw(st.integers(0, 4))):
        kind = draw(st.sampled_from([k for k in KINDS if k != "rest"]))
        text += f"{{f{number}:{kind}}}" + draw(st.text(PLAIN, min_size=1, max_size=6))
        values[f"f{number}"] = draw(VALUES[kind])
    if draw(st.booleans()):
        text += "{last:rest}"
        values["last"] = draw(VALUES["rest"])
    return text, values


@given(patterns())
def test_what_is_said_is_read_back(drawn: tuple[str, dict[str, str]]) -> None:
    """A value that could be read otherwise is refused instead of said."""
    text, values = drawn
    assume(len(text) <= 200)
    pattern = pattern_of(text)
    try:
        line = pattern.say(values)
    except ValueError:
        return
    assert pattern.match(line) == values


@given(patterns(), st.text(PLAIN, max_size=1024))
@example(("a" + "{x:text}" + "a" * 100 + "b", {}), "a" * 1024)
@example(("{x:text}ab{y:text}ab{z:text}ab", {}), "ab" * 512)
def test_steps_are_bounded_by_the_length(drawn: tuple[str, dict[str, str]], line: str) -> None:
    assume(len(drawn[0]) <= 200)
    steps = 0

    def step() -> None:
        nonlocal steps
        steps += 1

    pattern_of(drawn[0]).match(line, step)
    assert steps <= 2 * len(line)


@given(st.text(max_size=60))
def test_any_text_is_a_pattern_or_a_mistake(text: str) -> None:
    try:
        pattern = pattern_of(text)
    except Expected:
        return
    assert isinstance(pattern, Pattern)


@pytest.mark.parametrize(
    ("text", "line", "found"),
    [
        ("ID {s} {model:text}, rev {rev}", "ID 7 Mill race, rev B", {"s": "7", "model": "Mill race", "rev": "B"}),
        ("T {t:decimal} C", "T -3.5 C", {"t": "-3.5"}),
        ("T {t:decimal} C", "T -+3.5 C", None),
        ("T {t:decimal} C", "T .5 C", None),
        ("T {t:decimal} C", "T 5. C", None),
        ("N {n:digits}", "N 12a", None),
        ("N {n:digits}", "N ", None),
        ("N {n:digits}", "N \u0663", None),
        ("{name}={value:rest}", "mask=", {"name": "mask", "value": ""}),
        ("{name}={value:rest}", "a=b=c", {"name": "a", "value": "b=c"}),
        ("X {-:text},{b}", "X a b,c", {"b": "c"}),
        ("{{{a}}}", "{7}", {"a": "7"}),
        ("OK", "OK ", None),
        ("OK", "OKAY", None),
        ("{a} x {b}", "1 x 2 x 3", None),
        ("{a:hex}", "00fG", None),
    ],
)  # fmt: skip
def test_a_line_is_read_in_one_way(text: str, line: str, found: dict[str, str] | None) -> None:
    assert pattern_of(text).match(line) == found


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("ID {serial}{model}", "text between two placeholders"),
        ("ID {a:rest} {b}", "rest only at the end"),
        ("ID {a:rest}.", "nothing after"),
        ("ID {a} {a}", "each placeholder once"),
        ("ID {a:wrod}", "one of the kinds"),
        ("ID {a", "a closing }"),
        ("ID a}", "}} for a closing brace"),
        ("ID {A}", "a placeholder like"),
        ("ID {}", "a placeholder like"),
        ("ID {a.b}", "a placeholder like"),
        ("", "a pattern"),
        ("x" * 201, "a pattern"),
        ("ID\r{a}", "a pattern"),
        ("ID \u00e9", "a pattern"),
    ],
)
def test_what_can_be_read_in_two_ways_is_refused(text: str, expected: str) -> None:
    with pytest.raises(Expected) as refused:
        pattern_of(text)
    assert expected in refused.value.expected


def test_the_nearest_kind_is_named() -> None:
    with pytest.raises(Expected) as refused:
        pattern_of("{bytes:digit}")
    assert refused.value.nearest == "digits"


@pytest.mark.parametrize("value", ["a\rRESTART", "a\nb", "a\x1b[2J", "\u00e9", "a b", "", "a\x00"])
def test_nothing_is_smuggled_into_what_is_said(value: str) -> None:
    with pytest.raises(ValueError, match="name"):
        pattern_of("SEND {name}").say({"name": value})


def test_what_nobody_wants_to_know_has_no_name() -> None:
    assert pattern_of("A {-} {b}").names == {"b"}
    assert pattern_of("A {-} {b}").parts[0].name == UNNAMED
