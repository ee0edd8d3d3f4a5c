"""What is worth knowing about a day's files and is no mistake: sets without a base, pins that hold for nobody."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchday.domain.bench import DayFile
from benchday.domain.units import Role, RosterRow
from benchday.inputs.outcome import Notice, nearest
from benchday.inputs.yaml_text import YamlText


def about_crews(rows: Sequence[RosterRow], file: str) -> Iterator[Notice]:
    """Yield the crews that bring rovers and nothing that can be their base."""
    for crew in dict.fromkeys(row.crew for row in rows if row.crew):
        its = [row for row in rows if row.crew == crew]
        roles = {row.role for row in its}
        if Role.ROVER in roles and not roles & {Role.BASE, Role.EITHER}:
            first = next(row for row in its if row.role is Role.ROVER)
            text = (
                f"crew {crew} brings rovers and no base: its set can be matched, but not proved together here; "
                "is a base missing on the roster, or a role wrong?"
            )
            yield Notice(file, first.line, text)


def about_pins(day: DayFile, text: YamlText, rows: Sequence[RosterRow]) -> Iterator[Notice]:
    """Yield the pins that hold for nobody on the roster, or not any more."""
    units, crews = [row.serial for row in rows], sorted({row.crew for row in rows if row.crew})
    for number, pin in enumerate(day.pins):
        key, named, known = ("unit", pin.unit, units) if pin.unit is not None else ("crew", pin.crew, crews)
        line = text.spot(("pins", number, key)).line
        if named is not None and named not in known:
            near = nearest(named, known)
            meant = f"; did you mean {near}?" if near else ""
            yield Notice(text.file, line, f"the pin of {key} {named} holds for nobody: it is not on the roster{meant}")
        elif pin.until < day.hours[0].date:
            yield Notice(text.file, line, f"the pin of {key} {named} ended on {pin.until} and holds no longer")
