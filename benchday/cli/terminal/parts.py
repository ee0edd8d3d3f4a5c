"""The parts of the screen, each as lines of its own width: header, stations, waiting and held, queue, text."""

from __future__ import annotations

from benchday.cli.day_view import AsideView, StationView
from benchday.cli.terminal.paint import Line, Signs, bar, broken, fit, fit_line, rule
from benchday.cli.terminal.view import View

ROOM_FOR_THE_END, ROOM_FOR_FREE = 100, 76
"""Columns from which the day's foreseen end, and that of a unit's whole service, are shown."""


def header(view: View, columns: int, signs: Signs) -> Line:
    """Return the first line: the day, the time, who acts, and whether all this is simulated."""
    mark = "  SIMULATED " if view.simulated else " "
    ends = f"done by {view.ends} (80 %)  " if view.ends and columns >= ROOM_FOR_THE_END else ""
    right = f"  {view.time}  {ends}closes {view.closes}  {view.operator} acts"
    room = columns - len(right) - len(mark)
    return [
        ("class:title", fit(f" {view.day}", max(room, 0), signs)),
        ("class:title", fit(right, max(0, columns - max(room, 0) - len(mark)), signs)),
        ("class:simulated" if view.simulated else "class:title", mark),
    ]


def stations(view: View, columns: int, rows: int, signs: Signs) -> list[Line]:
    """Return one line for each station; where not all fit, the last line says how to see the others."""
    shown = view.stations if len(view.stations) <= rows else view.stations[: rows - 1]
    lines = [fit_line(_station(s, _ends(view, s.name, columns), columns, signs), columns, signs) for s in shown]
    left = len(view.stations) - len(shown)
    if left:
        lines.append([("class:dim", fit(f"  and {left} more stations: /stations", columns, signs))])
    return lines


def _ends(view: View, station: str, columns: int) -> str:
    """Return when the step is expected to end, and, where there is room, when the unit will probably leave."""
    until, free = view.until.get(station, ""), view.free.get(station, "")
    told = [f"until {until}"] if until else []
    if free and columns >= ROOM_FOR_FREE:
        told.append(f"free {free}")
    return ", ".join(told)


def _station(station: StationView, ends: str, columns: int, signs: Signs) -> Line:
    if station.unit is None:
        return [("", f" {fit(station.name, 4, signs)} "), ("class:dim", "free")]
    who = f"{fit(station.unit, 14, signs)} {fit(station.model, 9, signs)} {fit(station.step, 9, signs)} "
    head: Line = [("", f" {fit(station.name, 4, signs)} {who}")]
    if station.item is not None:
        runs = f", runs {station.runs}" if station.runs else ""
        return [*head, ("class:hands", f"hands: item {station.item}{runs}")]
    if station.percent is None:
        return [*head, ("class:dim", ends)]
    wide = 10 if columns < 100 else 16
    drawn = bar(station.percent, wide, signs)
    what = f" {station.what}" if columns >= 100 else ""
    return [*head, ("class:bar", drawn), ("", f" {station.percent:>3} % "), ("class:dim", f"{ends}{what}")]


def aside_line(name: str, units: tuple[AsideView, ...], columns: int, signs: Signs) -> Line:
    """Return waiting or held units in one line; what does not fit is counted."""
    command = f"/{name.lower()}"
    if not units:
        return [("class:dim", fit(f" {name} none", columns, signs))]
    head = f" {name} {len(units)}: "
    told: list[str] = []
    for number, unit in enumerate(units):
        left = len(units) - number - 1
        tail = f"; {left} more: {command}" if left else ""
        so_far = "; ".join([*told, f"{unit.serial} {unit.reason}"])
        if told and len(head + so_far + tail) > columns:
            rest = len(units) - len(told)
            text = head + "; ".join(told)
            note = f"; {rest} more: {command}"
            return [("", fit(text, columns - len(note), signs)), ("class:dim", note)]
        told.append(f"{unit.serial} {unit.reason}")
    text = head + "; ".join(told)
    note = f" {command}" if len(text) > columns else ""
    return [("", fit(text, columns - len(note), signs)), ("class:dim", note)]


def aside_list(name: str, units: tuple[AsideView, ...], columns: int, rows: int, signs: Signs) -> list[Line]:
    """Return waiting or held units in lines of their own, below a rule."""
    lines = [rule(f"{name} {len(units) or 'none'}", columns, signs)]
    fits = len(units) <= rows - 1
    for unit in units if fits else units[: rows - 2]:
        text = f" {fit(unit.serial, 14, signs)} {fit(unit.model, 9, signs)} {unit.reason}"
        lines.append([("", fit(text, columns, signs))])
    if not fits:
        note = f"  and {len(units) - (rows - 2)} more: /{name.lower()}"
        lines.append([("class:dim", fit(note, columns, signs))])
    return lines


def queue(view: View, columns: int, rows: int, signs: Signs) -> list[Line]:
    """Return the queue below its rule: as many items as fit around the selected one, the others counted."""
    ids = [row.id for row in view.queue]
    at = ids.index(view.selected) if view.selected in ids else 0
    first = max(0, min(at - rows + 1, len(ids) - rows)) if at >= rows else 0
    above, below = first, max(0, len(ids) - first - rows)
    hidden = [f"{above} above"] * bool(above) + [f"{below} below"] * bool(below)
    note = f"{', '.join(hidden)}: /items" if hidden else ""
    safety = sum(row.safety for row in view.queue)
    title = f"For hands: {len(ids) or 'nothing'}" + (f", {safety} SAFETY" if safety else "")
    lines = [rule(title, columns, signs, note)]
    for row in view.queue[first : first + rows]:
        chosen = signs.chosen if row.id == view.selected else " "
        mark = "!" if row.safety else " "
        who = f" ({row.taken_by})" if row.taken_by else "" if row.mine else " (not yours)"
        place = f"{fit(row.station, 3, signs)} {fit(row.unit, 14, signs)}"
        text = f"{mark}{row.id:>3} {place} {'SAFETY ' if row.safety else ''}{row.text}"
        style = "class:safety" if row.safety else "" if row.mine else "class:dim"
        lines.append([("class:chosen", chosen), (style, fit(text, columns - 1 - len(who), signs)), ("class:dim", who)])
    return lines


def text_pane(view: View, columns: int, rows: int, signs: Signs) -> list[Line]:
    """Return the text that is shown, below its rule, from where it is scrolled to."""
    lines = broken(view.text, columns - 2)
    first = max(0, min(view.scroll, len(lines) - rows))
    note = (
        f"lines {first + 1} to {min(first + rows, len(lines))} of {len(lines)}: PgUp, PgDn" if len(lines) > rows else ""
    )
    shown: list[Line] = [rule(view.title, columns, signs, note)]
    for line in lines[first : first + rows]:
        style = "class:caution" if line.startswith(("CAUTION", "LOST FOR GOOD", "DO NOT")) else ""
        shown.append([(style, fit(f" {line}", columns, signs))])
    return shown


def bottom(view: View, columns: int, signs: Signs) -> list[Line]:
    """Return the lines above the input line: what was said last, what is asked for, how to answer.

    A long message takes the place of the hint, so that nothing that matters is cut away.
    """
    kept = f" [{view.question.kept}]" if view.question.kept else ""
    said = broken(view.message, columns - 2)
    if len(said) > 1:
        said = [said[0], " ".join(said[1:])]
    lines: list[Line] = [[("class:message", fit(f" {line}", columns, signs))] for line in said]
    lines.append([("class:question", fit(f" {view.question.label}{kept}", columns, signs))])
    hint: Line = [("class:dim", fit(f" {view.question.hint}", columns, signs))]
    return [rule("", columns, signs), *lines, *([hint] if len(said) == 1 else [])]
