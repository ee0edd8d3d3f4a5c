"""The whole screen above the input line: where each part goes. Places follow from the size alone, so nothing jumps."""

from __future__ import annotations

from benchday.cli.terminal import parts
from benchday.cli.terminal.paint import Line, Signs, fit_line, rule
from benchday.cli.terminal.view import View

WIDE_COLUMNS, WIDE_ROWS = 130, 30
"""From this size on, the day stands on the left and the work for hands on the right."""
NARROWEST, LOWEST = 40, 12
BOTTOM_ROWS = 4


def picture(view: View, columns: int, rows: int, signs: Signs) -> list[Line]:
    """Return exactly ``rows`` lines of ``columns`` columns.

    Args:
        view: the moment to show.
        columns: of the terminal.
        rows: of the terminal, less the input line.
        signs: what to draw with.
    """
    if columns < NARROWEST or rows < LOWEST:
        text = f"The window is too small: {NARROWEST} columns and {LOWEST + 1} rows are needed."
        lines: list[Line] = [[("", text)], [("", f" {view.question.label}")]]
    elif columns >= WIDE_COLUMNS and rows >= WIDE_ROWS:
        lines = _wide(view, columns, rows, signs)
    else:
        lines = _narrow(view, columns, rows, signs)
    return _exactly(lines, columns, rows, signs)


def _narrow(view: View, columns: int, rows: int, signs: Signs) -> list[Line]:
    places = min(len(view.stations), max(2, (rows - 8) // 3))
    middle = rows - 1 - 1 - places - 2 - BOTTOM_ROWS
    # Two rules, then the queue and the text; an open item has the room for its text.
    listed = 1 if view.opened else max(2, (middle - 2) * 2 // 5)
    return [
        parts.header(view, columns, signs),
        rule("Stations", columns, signs),
        *_padded(parts.stations(view, columns, places, signs), places),
        parts.aside_line("Waiting", view.waiting, columns, signs),
        _held_line(view, columns, signs),
        *_padded(parts.queue(view, columns, listed, signs), listed + 1),
        *_padded(parts.text_pane(view, columns, middle - listed - 2, signs), middle - listed - 1),
        *parts.bottom(view, columns, signs),
    ]


def _held_line(view: View, columns: int, signs: Signs) -> Line:
    line = parts.aside_line("Held", view.held, columns, signs)
    if not view.stopped:
        return line
    note = f" {len(view.stopped)} LINES STOPPED: /held" if len(view.stopped) > 1 else " 1 LINE STOPPED: /held"
    return [*fit_line(line, columns - len(note), signs), ("class:safety", note)]


def _wide(view: View, columns: int, rows: int, signs: Signs) -> list[Line]:
    left = columns * 9 // 20
    right = columns - left - 2
    body = rows - 1 - BOTTOM_ROWS
    day = _day_column(view, left, body, signs)
    listed = max(6, body // 3)
    hands = [
        *_padded(parts.queue(view, right, listed, signs), listed + 1),
        *parts.text_pane(view, right, body - listed - 2, signs),
    ]
    lines = [parts.header(view, columns, signs)]
    for number in range(body):
        a = day[number] if number < len(day) else []
        b = hands[number] if number < len(hands) else []
        lines.append([*fit_line(a, left, signs), ("", "  "), *fit_line(b, right, signs)])
    return [*lines, *parts.bottom(view, columns, signs)]


def _day_column(view: View, columns: int, rows: int, signs: Signs) -> list[Line]:
    places = min(len(view.stations), rows // 2)
    stopped: list[Line] = []
    if view.stopped:
        stopped = [
            rule("Stopped lines", columns, signs),
            *([("class:safety", f" {text}")] for text in view.stopped[:3]),
        ]
    room = max(6, rows - places - 1 - len(stopped))
    held_rows = min(len(view.held) + 2, max(3, room // 2))
    return [
        rule("Stations", columns, signs),
        *_padded(parts.stations(view, columns, places, signs), places),
        *stopped,
        *_padded(parts.aside_list("Held", view.held, columns, held_rows, signs), held_rows),
        *parts.aside_list("Waiting", view.waiting, columns, room - held_rows, signs),
    ]


def _padded(lines: list[Line], rows: int) -> list[Line]:
    return [*lines[:rows], *([("", "")] for _ in range(rows - len(lines)))]


def _exactly(lines: list[Line], columns: int, rows: int, signs: Signs) -> list[Line]:
    fitted = [fit_line(line, columns, signs) for line in lines[:rows]]
    return [*fitted, *([("", " " * columns)] for _ in range(rows - len(fitted)))]
