"""YAML as people write it: what is taken, what is refused, and where it stands."""

from __future__ import annotations

import time

import pytest

from benchday.inputs.scalars import value_of
from benchday.inputs.yaml_text import read_yaml


def read(text: str) -> object:
    """Return what a right text says."""
    told = read_yaml(text.encode(), "f.yaml")
    assert told.mistakes == []
    return told.value


def mistakes(data: str | bytes) -> list[str]:
    """Return the mistakes of a text as a person sees them."""
    told = read_yaml(data if isinstance(data, bytes) else data.encode(), "f.yaml")
    return [str(mistake) for mistake in told.mistakes]


def test_plain_values_are_read() -> None:
    text = "a: text\nb: 12\nc: 2.5\nd: true\ne: null\nf: [x, 'y', \"z\"]\ng: {h: >-\n  i\n  j\n}\n"
    assert read("b: 1\n") == {"b": 1}
    assert read(text.replace("g: {h: >-\n  i\n  j\n}\n", "g:\n  h: >-\n    i\n    j\n")) == {
        "a": "text",
        "b": 12,
        "c": 2.5,
        "d": True,
        "e": None,
        "f": ["x", "y", "z"],
        "g": {"h": "i j"},
    }


@pytest.mark.parametrize(
    ("raw", "value"),
    [
        # YAML 1.2.2, section 10.3.2, example 10.9 and its table, as far as the subset takes them
        ("null", None),
        ("~", None),
        ("", None),
        ("True", True),
        ("FALSE", False),
        ("0", 0),
        ("-19", -19),
        ("+12", 12),
        ("0.", 0.0),
        ("-0.0", 0.0),
        (".5", 0.5),
        ("+12e03", 12000.0),
        ("-2E+05", -200000.0),
        # No words of YAML 1.1
        ("yes", "yes"),
        ("off", "off"),
        ("1_000", "1_000"),
        ("0b1", "0b1"),
    ],
)
def test_core_schema(raw: str, value: object) -> None:
    assert value_of(raw) == value
    assert type(value_of(raw)) is type(value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a: &x 1\n", "f.yaml:1:4: expected the value alone, found the anchor &x"),
        ("a: 1\nb: *x\n", "f.yaml:2:4: expected the value itself, found the alias *x"),
        ("a: !!str 1\n", "f.yaml:1:4: expected the value alone, found the tag tag:yaml.org,2002:str"),
        ("a: 1\n<<: {b: 1}\n", "f.yaml:2:1: expected keys written out, found the merge key <<"),
        ("a: 1\nb: 2\na: 3\n", "f.yaml:3:1: expected each key once, found a again, which stands in line 1 too"),
        ("a: 1\n---\nb: 2\n", "f.yaml:2:1: expected one document in a file, found a second one, begun by ---"),
        ("%YAML 1.1\n---\na: 1\n", "f.yaml:2:1: expected no line with % above the ---, found one"),
        ("? [a]\n: 1\n", "f.yaml:1:3: expected a word as a key, found a list or group as a key"),
        ("2.10: a\n", "f.yaml:1:1: expected a word as a key, or one in quotes, found 2.10"),
        ('a: "x\\u0007y"\n', "f.yaml:1:4: expected text without control characters, found the character 0007 hex"),
        ("a: .inf\n", "f.yaml:1:4: expected a number of at most 15 digits, or text in quotes, found .inf"),
        ("a: 0x1F\n", "f.yaml:1:4: expected a number of at most 15 digits, or text in quotes, found 0x1F"),
        (
            "a: 2026-03-31\n",
            'f.yaml:1:4: expected a date in quotes, like "2026-03-31", found 2026-03-31 without quotes: ',
        ),
        (
            "a: 08:30\n",
            'f.yaml:1:4: expected a time in quotes, like "08:30", found 08:30 without quotes: ',
        ),
        ("a: [1, 2\n", "f.yaml:2:1: expected YAML 1.2, found "),
        ("a: 1\n\tb: 2\n", "f.yaml:2:1: expected YAML 1.2, found "),
        ("a: 1\n  b: 2\n", "f.yaml:2:4: expected YAML 1.2, found "),
    ],
)
def test_what_the_subset_leaves_out(text: str, said: str) -> None:
    assert any(mistake.startswith(said) for mistake in mistakes(text)), mistakes(text)


def test_the_bytes_must_be_utf_8() -> None:
    assert mistakes(b"a: 1\nb: caf\xe9\n") == [
        "f.yaml:2:7: expected text in UTF-8: save the file as UTF-8, found the byte E9 hex"
    ]


def test_depth_and_size_are_limited() -> None:
    assert mistakes("a: " + "[" * 20 + "]" * 20)[0].startswith("f.yaml:1:23: expected at most 20 levels")
    assert mistakes("a: " + "[" * 19 + "]" * 19) == []
    assert mistakes(b"#" * (1024 * 1024 + 1)) == ["f.yaml:0:0: expected a file of at most 1 MiB, found 1048577 bytes"]


def test_a_deep_text_is_refused_quickly() -> None:
    began = time.monotonic()
    assert mistakes("[" * 1_000_000)
    assert time.monotonic() - began < 5


def test_every_mistake_of_the_writing_is_told_at_once() -> None:
    assert len(mistakes("a: &x 1\nb: 08:30\nb: 2026-01-01\n")) == 4
