"""The cells of a roster's row, and what spreadsheets do to them."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence

from benchday.domain.units import Role
from benchday.domain.words import A_DATE, A_TIME, Expected, clock_time, iso_date
from benchday.inputs.outcome import nearest, shown

Problem = tuple[str, str, str, str | None]
"""Column, what was expected, what was found, the nearest right word."""

LONGEST_SERIAL = 40
LONGEST_NAME = 80
LONGEST_NOTE = 500

_EXPONENT = re.compile(r"[0-9]+([.,][0-9]+)?[eE][+-]?[0-9]+")
_DECIMAL_TAIL = re.compile(r"[0-9]+[.,]0+")
_SERIAL = re.compile(r"[A-Za-z0-9][A-Za-z0-9./_-]*")
_LOCAL_DATE = re.compile(r"[0-9]{1,4}[./ -][0-9]{1,2}[./ -][0-9]{1,4}")
_AS_TEXT = "in the spreadsheet, set the column to text and read the serial off the label"


def check_cells(values: Mapping[str, str]) -> list[Problem]:
    """Return what is wrong with a row's cells, each judged by itself."""
    problems: list[Problem] = []
    problems += serial_problems(values["serial"])
    problems += _names(values)
    problems += _role(values["role"])
    for column in ("arrives", "promised"):
        problems += _time(column, values[column])
    problems += date_problems("support_until", values["support_until"])
    problems += _in_order(values) if not problems else []
    return problems


def serial_problems(serial: str) -> Iterator[Problem]:
    """Yield what is wrong with a serial, and what a spreadsheet did to it."""
    if not serial:
        yield "serial", "the serial on the unit's label", "nothing", None
    elif _EXPONENT.fullmatch(serial):
        yield "serial", "all digits of the serial", f"{serial}: a spreadsheet has rounded it; {_AS_TEXT}", None
    elif _DECIMAL_TAIL.fullmatch(serial):
        yield "serial", "the serial without decimals", f"{serial}: a spreadsheet took it for a number; {_AS_TEXT}", None
    elif len(serial) > LONGEST_SERIAL:
        yield "serial", f"a serial of at most {LONGEST_SERIAL} characters", f"{len(serial)} characters", None
    elif not _SERIAL.fullmatch(serial):
        yield "serial", "a serial of letters, digits, hyphens, dots, slashes and underscores", shown(serial), None


def _names(values: Mapping[str, str]) -> Iterator[Problem]:
    for column, longest in (
        ("model", LONGEST_NAME),
        ("customer", LONGEST_NAME),
        ("contact", LONGEST_NOTE),
        ("crew", LONGEST_NAME),
        ("note", LONGEST_NOTE),
    ):
        text = values[column]
        if column in ("model", "customer") and not text:
            yield column, f"the {column}", "nothing", None
        elif len(text) > longest:
            yield column, f"at most {longest} characters", f"{len(text)} characters", None
        elif not text.isprintable():
            yield column, "text on one line", shown(text), None


def _role(role: str) -> Iterator[Problem]:
    known = [r.value for r in Role]
    if role not in known:
        yield "role", "one of " + ", ".join(known), shown(role) or "nothing", nearest(role, known)


def _time(column: str, text: str) -> Iterator[Problem]:
    try:
        clock_time(text or "00:00")
    except Expected:
        near = f"0{text}" if re.fullmatch(r"[0-9]:[0-5][0-9]", text) else None
        yield column, A_TIME + ", or nothing", shown(text), near


def date_problems(column: str, text: str) -> Iterator[Problem]:
    """Yield what is wrong with a date that may be left empty."""
    try:
        iso_date(text or "2000-01-01")
    except Expected:
        local = _LOCAL_DATE.fullmatch(text) is not None
        why = ": nobody can tell day from month for sure; write the year first" if local else ""
        yield column, A_DATE + ", or nothing", shown(text) + why, None


def _in_order(values: Mapping[str, str]) -> Iterator[Problem]:
    arrives, promised = values["arrives"], values["promised"]
    if arrives and promised and promised <= arrives:
        yield "promised", f"a time after the arrival at {arrives}", promised, None


def looks_shortened(serials: Sequence[tuple[int, str, str]]) -> Iterator[tuple[int, str, int]]:
    """Yield the serials that have probably lost leading zeros: all digits, shorter than their neighbours' usual length.

    Args:
        serials: line, model and serial of each row.
    """
    digits: dict[str, list[tuple[int, str]]] = defaultdict(list)
    for line, model, serial in serials:
        if serial.isdigit():
            digits[model].append((line, serial))

    for rows in digits.values():
        usual, often = Counter(len(serial) for _, serial in rows).most_common(1)[0]
        if often < 2 or often * 2 <= len(rows):
            continue
        for line, serial in rows:
            if len(serial) < usual:
                yield line, serial, usual
