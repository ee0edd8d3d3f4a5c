"""Declared pages: picking, units, and every mistake at its place."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from benchday.domain.page import Network, Page
from benchday.domain.page_picks import Dimension, Pick, Unit
from benchday.inputs.checked import checked
from benchday.inputs.yaml_text import read_yaml
from tests.devices.page_server import PLAIN


@pytest.mark.parametrize(
    ("text", "unit", "dimension", "number"),
    [
        ("83 %", Unit.PERCENT, Dimension.PERCENT, 83),
        ("0.835", Unit.FRACTION, Dimension.PERCENT, 84),  # to the even one
        ("34.56", Unit.WH, Dimension.ENERGY, 34_560),
        ("2400", Unit.TEN_MWH, Dimension.ENERGY, 24_000),
        ("21.95", Unit.CELSIUS, Dimension.TEMPERATURE, 2951),
        ("-40", Unit.CELSIUS, Dimension.TEMPERATURE, 2332),
        ("7.401 V", Unit.V, Dimension.VOLTAGE, 7401),
        ("-0.3", Unit.A, Dimension.CURRENT, -300),
        ("2 KiB", Unit.KIB, Dimension.SIZE, 2048),
        ("1.5", Unit.MB, Dimension.SIZE, 1_500_000),
        ("12", None, Dimension.COUNT, 12),
        ("12 of 14", None, Dimension.COUNT, None),
        ("about 12", None, Dimension.COUNT, None),
        ("1e9", None, Dimension.COUNT, None),
        ("", None, Dimension.COUNT, None),
    ],
)
def test_numbers(text: str, unit: Unit | None, dimension: Dimension, number: int | None) -> None:
    """In our units, whole; what is no number is none."""
    assert Pick(after="=", unit=unit).whole(text, dimension) == number


@pytest.mark.parametrize(
    ("after", "before", "cut"),
    [("serial: ", ";", "7"), ("serial: ", None, "7; serial: 8;"), (None, ";", "x serial: 7"), ("nowhere", None, None)],
)
def test_cutting(after: str | None, before: str | None, cut: str | None) -> None:
    """Literally, at the first place."""
    assert Pick(after=after, before=before).cut("x serial: 7; serial: 8;") == cut


def test_networks() -> None:
    """A name for all, or the end of the serial behind it."""
    assert Network(name="Fenbook-", serial_end=4).of("FB2204-3371") == "Fenbook-3371"
    assert Network(name="survey").of("1") == "survey"


MISTAKES = [
    ("path: /who", "path: //other/who", "a path on the unit itself"),
    ("path: /who", "path: /a/../b", "a path on the unit itself"),
    ("path: /who", "path: http://192.0.2.9/who", "a path on the unit itself"),
    ("in_json: $.serial", "in_json: $..serial", "a path like $.power.charge"),
    ("in_html: a}", 'in_html: "a:has(b)"}', "a selector of names"),
    ("in_html: a}", 'in_html: "a", in_json: $.a}', "one of in_json, in_html, fixed"),
    ("{in_json: $.charge}", "{in_json: $.charge, unit: V}", "one of percent, fraction"),
    ("{in_json: $.charge}", "{in_json: $.charge, unit: furlong}", "one of percent, fraction"),
    ('{"true": "yes", "false": "no"}', '{"true": "aye"}', "choices that mean yes or no"),
    ("path_ends: name", "path_ends: nonce", "one of name"),
    ("body: raw,", "body: raw, file_field: image,", "file_field with multipart"),
    ("busy: [busy]", "busy: [done]", "each word once"),
    ("way: basic", "way: form", "post with the way form"),
    ("model: {fixed: Osier}", "model: {fixed: Osier, attribute: x}", "attribute beside in_html"),
    ("restart:\n", "restarts:\n", "restarts"),
]


@pytest.mark.parametrize(("was", "now", "told"), MISTAKES)
def test_mistakes_have_their_place(was: str, now: str, told: str) -> None:
    """Line, column, and what was expected."""
    assert was in PLAIN
    read = read_yaml(PLAIN.replace(was, now, 1).encode(), "page.yaml")
    checked(read, Page)
    assert read.mistakes
    assert any(told in str(mistake) for mistake in read.mistakes), read.mistakes
    line = next(n for n, text in enumerate(PLAIN.replace(was, now, 1).splitlines(), 1) if now.splitlines()[0] in text)
    assert any(abs(mistake.line - line) <= 1 for mistake in read.mistakes), (line, read.mistakes)


def test_a_password_is_not_shown() -> None:
    """A factory's password stands in the playbook, and in no error or log that prints the model."""
    text = PLAIN + "factory: {user: crew, password: lapwing}\n"
    page = checked(read_yaml(text.encode(), "page.yaml"), Page)
    assert page is not None
    assert "lapwing" not in repr(page)
    with pytest.raises(ValidationError):
        Page.model_validate({})
