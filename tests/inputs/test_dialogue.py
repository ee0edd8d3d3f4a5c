"""Declared dialogues: every mistake in one has its place, and none is a way to more than a dialogue."""

from __future__ import annotations

import pytest

from benchday.domain.playbook import Playbook
from benchday.inputs.checked import checked
from benchday.inputs.yaml_text import read_yaml
from tests.devices.declared import gantry, millrace, shipped_text

SPOILED = {
    "two placeholders": ("{serial} {model} REV", "{serial}{model} REV", "text between two placeholders"),
    "an unknown field": ("TERM {term}", "TERM {trem}", "one of the fields"),
    "an unknown kind": ("{charge_tenths:digits}", "{charge_tenths:digit}", "one of the kinds"),
    "nothing to tell the charge": ("{charge_tenths:digits}", "{-:digits}", "a field {charge_percent}"),
    "a value that is not defined there": ('"LOAD {bytes}"', '"LOAD {value}"', "one of the fields"),
    "a serial number of another exchange": ("SUM {name}", "SUM {nonce}", "one of the fields"),
    "an unknown way to carry": ("by: ymodem\n    name", "by: zmodem\n    name", "one of xmodem-crc"),
    "a word that means nothing": ("OPERATING: run", "OPERATING: running", "one of boot, run"),
    "an unknown key": ("echo: true", "ehco: true", "one of the keys"),
    "code": ("{say: WHO,", "{say: WHO, if: x,", "one of the keys"),
    "a list without an end": (', until: "END {count:digits}", most: 400', "", "until, or {count}"),
    "too many lines": ("most: 400", "most: 400000", "at most 5000"),
    "too long to wait": ("seconds: 180", "seconds: 86400", "at most 600"),
    "no time at all": ("seconds: 180", "seconds: 0", "above 0"),
    "too many tries": ("tries: 8}", "tries: 8000}", "at most 20"),
    "a path for a name": ("name: IMAGE.FEN", "name: ../../etc/passwd", "a file name"),
    "an escape": ("[LOAD READY]", '["LOAD\\u001b[2J"]', "text without control characters"),
    "a line end in what is said": ("say: BATT", 'say: "A\\rB"', "text without control characters"),
    "a prompt with a space": ('prompt: ">"', 'prompt: "> "', "printable ASCII characters without spaces"),
    "seven bits for bytes": ("echo: true", "data_bits: 7", "8 data bits"),
    "another driver": ("name: dialogue", "name: console", "the driver dialogue together with a dialogue"),
    "a rest in the middle": ("{name} {bytes:digits}", "{name:rest} {bytes:digits}", "rest only at the end"),
    "said where it only listens": ("whole: {hear", "whole: {say: X, hear", "no say"),
}  # fmt: skip


@pytest.mark.parametrize("what", SPOILED)
def test_a_mistake_has_its_place(what: str) -> None:
    before, after, expected = SPOILED[what]
    text = shipped_text("gantry")
    assert before in text
    spoiled = text.replace(before, after, 1)
    read = read_yaml(spoiled.encode(), "own.yaml")
    assert checked(read, Playbook) is None
    assert any(expected in m.expected for m in read.mistakes), [str(m) for m in read.mistakes]
    first = next(n for n, (a, b) in enumerate(zip(text.splitlines(), spoiled.splitlines(), strict=False), 1) if a != b)
    assert any(abs(m.line - first) <= 4 and m.column > 0 for m in read.mistakes), [str(m) for m in read.mistakes]


def test_a_mistaken_kind_points_into_the_pattern_s_line() -> None:
    text = shipped_text("gantry").replace("REL {release}", "REL {release:wrd}")
    read = read_yaml(text.encode(), "own.yaml")
    assert checked(read, Playbook) is None
    (mistake,) = read.mistakes
    assert (mistake.nearest, text.splitlines()[mistake.line - 1].strip()) == (
        "word",
        '- {say: REL, hear: ["REL {release:wrd}"]}',
    )


def test_the_shipped_and_the_declared_one_are_right() -> None:
    assert gantry().line_baud == 19_200
    assert millrace().line_baud == 115_200
    assert millrace("xmodem-crc").line_baud is None


def test_a_dialogue_comes_back_from_the_journal_as_it_was() -> None:
    """Entries hold no floating-point numbers; what is read back is the same."""
    playbook = gantry()
    assert Playbook.model_validate_json(playbook.model_dump_json()) == playbook
    assert ".0" not in str(playbook.model_dump(mode="json")["dialogue"]["wake"]["tries"])
