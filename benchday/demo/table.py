"""What the demo day came to, as a table that a person understands at once."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from benchday.demo.report import DemoReport, minutes_of
from benchday.domain.clean import clean
from benchday.domain.fold import DayState
from benchday.domain.story import UnitStory
from benchday.domain.telling.figures import clock

_SHAPES = {"handed-back": "✓", "ready": "✓", "held": "■", "absent": "·", "not-begun": "○"}
"""A shape beside each word, so that nothing rests on colour."""
_STYLES = {"handed-back": "green", "ready": "green", "held": "bold red", "not-begun": "yellow"}
_COLUMNS = ("serial", "model", "crew", "release", "min", "outcome")


MOST_FORECASTS = 8
NARROW = 112
"""Below so many columns the notes stand under each unit's line instead of beside it."""


def table_of(report: DemoReport, width: int) -> RenderableType:
    """Return the table with its summary, for a terminal of this width in columns."""
    head = Text("SIMULATED: these instruments do not exist.", style="bold")
    body = _beside(report) if width >= NARROW else _below(report, width)
    return Group(head, body, Text(summary(report)), Text("\n".join(["", *foreseen(report)])))


def _beside(report: DemoReport) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1))
    for name in _COLUMNS:
        table.add_column(name, no_wrap=True, justify="right" if name == "min" else "left")
    table.add_column("what happened", overflow="fold")
    for story in report.state.units.values():
        table.add_row(*_cells(report.state, story))
    return table


def _below(report: DemoReport, width: int) -> Group:
    lines = [Text("")]
    for story in report.state.units.values():
        *cells, told = _cells(report.state, story)
        line = Text()
        for cell, columns in zip(cells, (14, 10, 11, 12, 4, 0), strict=True):
            cell.pad_right(max(0, columns - len(cell)))
            line.append_text(cell).append(" ")
        lines.append(line)
        lines += [Text(f"    {part}") for part in textwrap.wrap(told.plain, max(width - 4, 30))]
    return Group(*lines, Text(""))


def _cells(state: DayState, story: UnitStory) -> Iterator[Text]:
    minutes, outcome = minutes_of(story), story.outcome
    for text in (story.serial, story.model, story.crew or "-", _releases(story)):
        yield Text(clean(text))
    yield Text("" if minutes is None else str(minutes))
    yield Text(f"{_SHAPES[outcome]} {outcome}", style=_STYLES.get(outcome, ""))
    yield Text(clean("; ".join(notes(state, story))))


def _releases(story: UnitStory) -> str:
    if story.had is None:
        return "-"
    return f"{story.had:>4} → {story.has or 'none'}" if story.has != story.had else f"{story.had:>4}"


def notes(state: DayState, story: UnitStory) -> Iterator[str]:
    """Yield what is worth knowing of a unit's day, the reason of a hold first."""
    if story.held_reason:
        yield story.held_reason
    if story.not_today:
        yield story.not_today
    if story.walked_in:
        yield "walked in"
    # The newest release is what everybody expects; anything else needs its reason.
    if story.reason_code not in ("", "newest") and not story.held_reason:
        yield story.target_reason
    if len(story.writes) > 1:
        yield f"{len(story.writes)} writes under {story.permits} permits: {', then '.join(story.writes)}"
    yield from story.remedies
    if story.preserved:
        yield f"{_recordings(len(story.preserved))} preserved"
    if story.let_go:
        yield f"{_recordings(len(story.let_go))} let go by the owner: {', '.join(story.let_go)}"
    proof = state.sets_proved.get(story.crew)
    if proof and story.serial in proof["units"]:
        yield f"set {story.crew} {'works together' if proof['works'] else 'does NOT work together'}"
    asked = dict.fromkeys(f["check"] for f in story.findings if f["answer"] == "ask" and f["check"] != "bench pc")
    if asked:
        yield f"a person decided on: {', '.join(asked)}"


def summary(report: DemoReport) -> str:
    """Sum the day up in two lines."""
    units = list(report.state.units.values())
    outcomes = Counter(u.outcome for u in units)
    counted = ", ".join(f"{n} {word}" for word, n in outcomes.most_common())
    writes, permits = sum(len(u.writes) for u in units), sum(u.permits for u in units)
    kept = [r for u in units for r in u.preserved.values()]
    size = sum(r["bytes"] for r in kept)
    let_go = sum(len(u.let_go) for u in units)
    return (
        f"{len(units)} units: {counted}.\n{writes} verified writes under {permits} permits; "
        f"{_recordings(len(kept))} ({size / 1000:,.0f} kB) preserved, {let_go} let go by the owner."
    )


def foreseen(report: DemoReport) -> Iterator[str]:
    """Yield how the day was foreseen as it went, and when it was done."""
    state, zone = report.state, report.plan.zone
    ended = [u.ended_us for u in state.units.values() if u.ended_us is not None and u.begun_us is not None]
    if not state.foreseen or not ended:
        return
    done_us = max(ended)
    yield "Foreseen as the day went, from the playbooks first, then from what its own steps took:"
    for at_us, f in state.foreseen[:MOST_FORECASTS]:
        half, most = clock(f["p50_us"], zone), clock(f["p80_us"], zone)
        held = "held" if done_us <= f["p80_us"] else "too early"
        yield f"  at {clock(at_us, zone)}: done by {half} as likely as not, by {most} in 80 of 100 days ({held})"
    yield f"  it was done at {clock(done_us, zone)}; at this speed the pauses of protocols, which are real, seem long"


def _recordings(count: int) -> str:
    return f"{count} recording{'' if count == 1 else 's'}"
