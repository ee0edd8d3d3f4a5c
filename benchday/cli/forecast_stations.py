"""Stations and crews over the hours of a typical day, drawn: bars for units, marks for crews."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from benchday.cli.forecast_hatch import area
from benchday.cli.forecast_scene import CrewRow, Place, Scene
from benchday.cli.forecast_style import (
    KINDS,
    LEFT,
    LEGEND,
    PLOT,
    WIDTH,
    fitted,
    fitted_name,
    line,
    path,
    rect,
    text,
    wide,
)
from benchday.cli.markup import Element, add
from benchday.planning.forecast.typical import Part, Visit
from benchday.planning.wording import counted, in_percent

ROW, LABEL, STRIP = 36.0, 14.0, 15.0
"""Heights of a station's row, of a unit's name in it, and of its bar."""
CREW_ROW = 19.0
AXIS = 20.0


class Scale:
    """Where minutes lie on the paper."""

    def __init__(self, scene: Scene, *, busy: bool) -> None:
        """Make it.

        Args:
            scene: what is drawn.
            busy: only as far as things happen at the stations.
        """
        self._from, self._to = scene.busy_from_to if busy else scene.from_to

    def shows(self, minutes: float) -> bool:
        """Tell whether a minute lies within the plot."""
        return self._from <= minutes <= self._to

    @property
    def times(self) -> tuple[float, ...]:
        """The minutes that are written at the plot: whole hours, on a short day the quarters between them."""
        hours = (self._to - self._from) / 60
        step = 15 if hours <= 3 else 30 if hours <= 6 else 60
        return tuple(self._from + step * n for n in range(round(60 * hours / step) + 1))

    def x(self, minutes: float) -> float:
        """Return where a minute lies, never outside of the plot."""
        share = (minutes - self._from) / (self._to - self._from)
        return LEFT + PLOT * min(max(share, 0.0), 1.0)


def stations_height(scene: Scene) -> float:
    """Return the height of the part with the stations."""
    return 44 + AXIS + ROW * len(scene.places) + AXIS + 40 + 16 * len(_notes(scene))


def crews_height(scene: Scene) -> float:
    """Return the height of the part with the crews."""
    return 46 + AXIS + CREW_ROW * len(scene.crews) + 30


def stations(root: Element, scene: Scene, y: float) -> None:
    """Draw the stations from this height on down."""
    scale = Scale(scene, busy=True)
    head = f"Stations over time, in a typical day (drawn day {scene.typical.replication + 1} of "
    text(root, 12, y + 16, f"{head}{scene.outcomes.replications}: its end is nearest the median)", "part-head")
    top = y + 44 + AXIS
    bottom = top + ROW * len(scene.places)
    _ground(root, scene, scale, top, bottom, below=True)
    for number, place in enumerate(scene.places):
        _place(root, scene, scale, place, top + ROW * number)
    _over(root, scene, scale, top, bottom, named=True)
    _legend(root, bottom + AXIS + 6, charging=bool(scene.chargers))
    for number, note in enumerate(_notes(scene)):
        text(root, LEFT, bottom + AXIS + 34 + 16 * number, note)


def crews(root: Element, scene: Scene, y: float) -> None:
    """Draw the crews from this height on down."""
    scale = Scale(scene, busy=False)
    text(root, 12, y + 16, "Crews: when they come, when all their units are ready, what was promised", "part-head")
    top = y + 32 + AXIS
    text(root, WIDTH - 122, top - 22, "promised, kept in", "strong")
    bottom = top + CREW_ROW * len(scene.crews)
    _ground(root, scene, scale, top, bottom, below=False)
    for number, crew in enumerate(scene.crews):
        _crew(root, scene, scale, crew, top + CREW_ROW * number)
    _over(root, scene, scale, top, bottom, named=False)
    _marks(root, bottom + 20)


def _ground(root: Element, scene: Scene, scale: Scale, top: float, bottom: float, *, below: bool) -> None:
    """Draw what lies under the bars: hours, breaks, the time after closing."""
    for hour in scale.times:
        x = scale.x(hour)
        line(root, x, top, x, bottom, "grid")
        for y in (top - 6, bottom + 14)[: 2 if below else 1]:
            text(root, x, y, scene.clock(hour), anchor="middle")
    for start, end in scene.breaks:
        if not scale.shows(start):
            continue
        drawn = area(root, scale.x(start), top, scale.x(end) - scale.x(start), bottom - top, "break")
        add(drawn, "title", f"break {scene.clock(start)} to {scene.clock(end)}: nothing begins that needs hands")
    if scene.close is not None and scale.shows(scene.close):
        x = scale.x(scene.close)
        add(area(root, x, top, LEFT + PLOT - x, bottom - top, "closed"), "title", "after closing")
    if scene.live:
        add(area(root, LEFT, top, scale.x(0) - LEFT, bottom - top, "closed"), "title", "before now")
    rect(root, LEFT, top, PLOT, bottom - top, "frame")


def _over(root: Element, scene: Scene, scale: Scale, top: float, bottom: float, *, named: bool) -> None:
    """Draw what lies over the bars: closing, now, and the words for breaks."""
    if scene.close is not None and scale.shows(scene.close):
        x = scale.x(scene.close)
        line(root, x, top - 2, x, bottom + 2, "close")
    if scene.live:
        line(root, scale.x(0), top - 20, scale.x(0), bottom + 2, "now")
    if not named:
        return
    if scene.live:
        text(root, scale.x(0) + 4, top - 22, f"now {scene.clock(0)}", "strong")
    if scene.close is not None:
        words = f"closes {scene.clock(scene.close)}{'' if scale.shows(scene.close) else ', beyond this edge'}"
        text(root, min(scale.x(scene.close) + wide(words) / 2, WIDTH - 8), top - 22, words, "strong", "end")
    for start, end in scene.breaks:
        if not scale.shows(start):
            continue
        text(root, (scale.x(start) + scale.x(end)) / 2, top - 22, "break", anchor="middle")


def _place(root: Element, scene: Scene, scale: Scale, place: Place, y: float) -> None:
    name = text(root, LEFT - 8, y + ROW / 2 + 4, fitted_name(place.name, LEFT - 20), "strong", "end")
    add(name, "title", place.name)
    line(root, LEFT, y + ROW, LEFT + PLOT, y + ROW, "row")
    if place.kept:
        words = f"kept by {place.kept} until somebody decides"
        text(root, scale.x(0) + 6, y + ROW / 2 + 4, words)
    for visit in place.visits:
        _visit(root, scene, scale, visit, y)


def _visit(root: Element, scene: Scene, scale: Scale, visit: Visit, y: float) -> None:
    """Draw one unit at a place: its name above, the parts of its service as a bar below."""
    bar = add(root, "g", kind="visit", data_unit=visit.unit)
    add(bar, "title", _told(scene, visit))
    x1, x2 = scale.x(visit.start), scale.x(visit.end)
    for kind, parts in groupby(visit.parts, _kind):
        run = list(parts)
        left, right = scale.x(run[0].start), scale.x(run[-1].end)
        area(bar, left, y + LABEL + 3, right - left, STRIP, kind)
    line(bar, x1, y + 3, x1, y + LABEL + 3, "line")
    label = _label(visit.unit, scene.model_of(visit.unit), x2 - x1 - 4)
    text(bar, x1 + 3, y + LABEL - 1, label, "small")


def _kind(part: Part) -> str:
    return "wait" if part.waits else KINDS.get(part.name, "prepare")


def _label(unit: str, model: str, room: float) -> str:
    """Return as much of a unit's name as there is room for; the end of the serial is what people read off a label."""
    short = f"…{unit[-4:]}" if len(unit) > 5 else unit
    ends = (unit[-length:] for length in (4, 3, 2, 1))
    for words in (f"{unit} {model}", f"{short} {model}", unit, short, *ends):
        if wide(words, 11) <= room:
            return words.strip()
    return ""


def _told(scene: Scene, visit: Visit) -> str:
    """Say in words what a bar shows."""
    steps = ", ".join(
        f"{'waits for ' + (part.name or 'its turn') if part.waits else part.name} {part.end - part.start:.0f} min"
        for part in visit.parts
        if part.end - part.start >= 0.5
    )
    who = ", ".join(
        word for word in (visit.unit, scene.model_of(visit.unit), scene.crew_of.get(visit.unit, "")) if word
    )
    return f"{who}: {scene.clock(visit.start)} to {scene.clock(visit.end)}; {steps or 'less than a minute'}"


def _legend(root: Element, y: float, *, charging: bool) -> None:
    x = float(LEFT)
    for kind, words in (*LEGEND, *((("charge", "charge"),) if charging else ())):
        area(root, x, y, 26, 12, kind)
        text(root, x + 31, y + 11, words)
        x += 31 + wide(words) + 14
    area(root, x, y, 26, 12, "break")
    text(root, x + 31, y + 11, "break: nothing begins that needs hands")


def _notes(scene: Scene) -> list[str]:
    """Say who is not on any station of the typical day."""
    typical, room = scene.typical, WIDTH - LEFT - 20.0
    found = []
    if typical.not_begun:
        found.append(f"Not begun before closing in this day: {_units(scene, typical.not_begun)}")
    if typical.stayed_away:
        found.append(f"Do not come in this drawn day: {_units(scene, typical.stayed_away)}")
    return [line for words in found for line in _broken(words, room)]


def _units(scene: Scene, units: Sequence[str]) -> str:
    named = (f"{unit} {scene.model_of(unit)}".strip() for unit in units)
    return f"{counted(len(units), 'unit')}: {', '.join(named)}"


def _broken(words: str, room: float) -> list[str]:
    lines = [""]
    for word in words.split(" "):
        if lines[-1] and wide(f"{lines[-1]} {word}") > room:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}".strip()
    return [fitted(line, room) for line in lines]


def _crew(root: Element, scene: Scene, scale: Scale, crew: CrewRow, y: float) -> None:
    middle = y + CREW_ROW / 2
    mark = add(root, "g", kind="crew")
    add(mark, "title", _crew_told(scene, crew))
    text(mark, LEFT - 8, middle + 4, fitted_name(crew.title, LEFT - 14), anchor="end")
    line(mark, LEFT, y + CREW_ROW, LEFT + PLOT, y + CREW_ROW, "grid")
    for came in crew.came:
        _arrival(mark, scale.x(came), middle)
    p50, p80, p95 = crew.ready
    if p50 is not None:
        end = scale.x(p95) if p95 is not None else LEFT + PLOT
        line(mark, scale.x(p50), middle, end, middle, "line")
        if p95 is None:
            path(mark, f"M{end - 6:.1f} {middle - 4:.1f}l6 4l-6 4", "line")
        for quantile in (p50, p80, p95):
            if quantile is not None:
                line(mark, scale.x(quantile), middle - 5, scale.x(quantile), middle + 5, "line")
    if crew.typical is not None:
        add(mark, "circle", cx=f"{scale.x(crew.typical):.1f}", cy=f"{middle:.1f}", r="3.5", kind="mark")
    if crew.promised is not None:
        _promise(mark, scale.x(crew.promised), middle, at_risk=crew.at_risk)
        kind = "strong" if crew.at_risk else ""
        text(mark, WIDTH - 122, middle + 4, scene.clock(crew.promised), kind)
        text(mark, WIDTH - 50, middle + 4, _percent(crew.kept), kind, "end")
        if crew.at_risk:
            text(mark, WIDTH - 45, middle + 4, "at risk", kind)
    if p50 is None:
        edge = scale.x(crew.promised) - 12 if crew.promised is not None else LEFT + PLOT - 8
        text(mark, edge, middle + 4, "not ready by closing on most days", anchor="end")


def _arrival(parent: Element, x: float, y: float) -> None:
    path(parent, f"M{x - 4:.1f} {y - 5:.1f}h8l-4 7z", "mark")


def _promise(parent: Element, x: float, y: float, *, at_risk: bool) -> None:
    path(parent, f"M{x:.1f} {y - 7:.1f}l6 7l-6 7l-6 -7z", "open" if at_risk else "mark")


def _percent(share: float | None) -> str:
    return "" if share is None else in_percent(share)


def _crew_told(scene: Scene, crew: CrewRow) -> str:
    times = [scene.clock(minutes) if minutes is not None else "never" for minutes in crew.ready]
    ready = ", ".join(f"{share} of 100 days by {time}" for share, time in zip((50, 80, 95), times, strict=True))
    promised = ""
    if crew.promised is not None:
        promised = f"; promised for {scene.clock(crew.promised)}, kept in {_percent(crew.kept)} of the days"
    return f"{crew.title}: ready in {ready}{promised}"


def _marks(root: Element, y: float) -> None:
    """Explain the marks."""
    x = float(LEFT)
    _arrival(root, x + 5, y - 4)
    text(root, x + 16, y, "a unit comes")
    x += 120
    line(root, x, y - 4, x + 40, y - 4, "line")
    for at in (x, x + 20, x + 40):
        line(root, at, y - 9, at, y + 1, "line")
    text(root, x + 48, y, "ready in 50, 80 and 95 of 100 days")
    x += 270
    add(root, "circle", cx=f"{x:.1f}", cy=f"{y - 4:.1f}", r="3.5", kind="mark")
    text(root, x + 10, y, "ready in the typical day")
    x += 175
    _promise(root, x, y - 4, at_risk=False)
    text(root, x + 12, y, "promised")
    x += 95
    _promise(root, x, y - 4, at_risk=True)
    text(root, x + 12, y, "promised, and at risk: kept in fewer than 80 of 100 days")
