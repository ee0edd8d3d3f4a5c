"""What is told about a day's files without being a mistake."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchday.inputs.day import read_day

NOBODY = "holds for nobody: it is not on the roster; did you mean"


def notices(day: Path) -> list[str]:
    """Return what is told, whatever is told of the image list."""
    found = read_day(day)
    assert found.mistakes == ()
    return [str(n) for n in found.notices if not n.file.startswith("images/")]


def test_a_crew_with_rovers_and_no_base(day: Path) -> None:
    """Of the two units of Knot one may be either."""
    assert notices(day) == []
    path = day / "roster.csv"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('0555 0106",Knot,either', '0555 0106",Knot,rover', 1), encoding="utf-8")
    (told,) = notices(day)
    assert told.startswith("roster.csv:9: crew Knot brings rovers and no base")


@pytest.mark.parametrize(
    ("pin", "told"),
    [
        ('unit: TL7741D, until: "2026-09-30"', f"the pin of unit TL7741D {NOBODY} TL7741C?"),
        ('crew: Godwitt, until: "2026-09-30"', f"the pin of crew Godwitt {NOBODY} Godwit?"),
        ('crew: Godwit, until: "2026-06-15"', "the pin of crew Godwit ended on 2026-06-15 and holds no longer"),
    ],
)  # fmt: skip
def test_pins_that_hold_for_nobody(day: Path, pin: str, told: str) -> None:
    path = day / "day.yaml"
    text = path.read_text(encoding="utf-8")
    text = text[: text.index("\npins:")] + f"\npins:\n  - {{{pin}, reason: a project, decided_by: Ines Halloran}}\n"
    path.write_text(text, encoding="utf-8")
    line = text.splitlines().index("pins:") + 2
    assert f"day.yaml:{line}: {told}" in notices(day)


@pytest.mark.parametrize(
    ("pin", "expected"),
    [
        ('reason: r, until: "2026-09-30", decided_by: I', "either a crew or a unit"),
        ('crew: Godwit, unit: TL7741C, reason: r, until: "2026-09-30", decided_by: I', "either a crew or a unit"),
        ("crew: Godwit, reason: r, until: 2026-09-30, decided_by: I", "a date"),
        ('crew: Godwit, reason: r, until: "2026-09-30", decided_by: I, release: 2.10', "version"),
    ],
)
def test_pins_that_are_wrong(day: Path, pin: str, expected: str) -> None:
    path = day / "day.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.index("\npins:")] + f"\npins:\n  - {{{pin}}}\n", encoding="utf-8")
    (mistake,) = read_day(day).mistakes
    assert mistake.file == "day.yaml"
    assert mistake.line > 30
    assert expected in f"{mistake.expected} {mistake.found}"
