"""A forecast as one page to read, print and pin up: the picture first, then its figures as tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchday.cli.forecast_picture import MADE_BY, basis, drawn, figures, summary
from benchday.cli.forecast_scene import Scene
from benchday.cli.forecast_style import STYLE as PICTURE_STYLE
from benchday.cli.layout_style import SIMULATED_STYLE
from benchday.cli.markup import Element, add, page, row, table, written
from benchday.domain.telling.figures import clock
from benchday.planning.forecast.outlook import AT_RISK
from benchday.planning.forecast.telling import When, pool_words
from benchday.planning.wording import counted, in_percent, listed

NEVER = "not even then"
NONE = "-"
"""Stands in a cell where there is nothing to say."""
STYLE = """
@page {
  size: A4 landscape;
  margin: 10mm 12mm 14mm;
  @bottom-right { content: "page " counter(page) " of " counter(pages); font: 10pt sans-serif; }
}
* { box-sizing: border-box; }
body { margin: 0; background: #fff; color: #000; font: 10pt/1.3 "Liberation Sans", Arial, Helvetica, sans-serif; }
main { max-width: 320mm; margin: 0 auto; padding: 0 4mm; }
h1 { font-size: 17pt; margin: 2mm 0 1mm; overflow-wrap: anywhere; }
h2 { font-size: 13pt; margin: 5mm 0 1mm; break-after: avoid; }
p, ul { margin: 0 0 1.5mm; }
ul { padding-left: 5mm; }
.simulated { float: right; border: 1mm solid #000; padding: 0 3mm; margin: 0 0 1mm 3mm; font-size: 18pt;
  font-weight: bold; }
.sum { font-size: 12pt; }
figure { margin: 0; break-after: page; break-inside: avoid; }
figure svg { display: block; width: 100%; height: auto; }
table { border-collapse: collapse; margin: 4mm 0; min-width: 60%; }
caption { text-align: left; font-size: 13pt; font-weight: bold; padding-bottom: 1mm; break-after: avoid; }
th, td { border: 0.3mm solid #000; padding: 0.8mm 2mm; text-align: left; vertical-align: top; overflow-wrap: anywhere; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
@media print { main { max-width: none; padding: 0; } figure svg { max-height: 158mm; } }
"""


@dataclass(frozen=True, slots=True)
class More:
    """A table that is told besides, like what would help most."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    words: str = ""
    """What stands below it."""


def forecast_page(scene: Scene, assumptions: Sequence[str], more: Sequence[More] = ()) -> str:
    """Return the page as HTML: one file, no script, nothing fetched from outside.

    Args:
        scene: what is told.
        assumptions: what it supposes, in sentences.
        more: further tables.
    """
    style = STYLE + PICTURE_STYLE + (SIMULATED_STYLE if scene.simulated else "")
    root, body = page(f"Forecast of {scene.day}, {scene.date}", style, made_by=MADE_BY)
    main = add(body, "main")
    _head(main, scene)
    for title, parts in figures(scene).items():
        figure = add(main, "figure", aria_label=title)
        figure.append(drawn(scene, title, parts, head=False))
    _end(main, scene)
    _crews(main, scene)
    for extra in more:
        _more(main, extra)
    _cannot(main, scene)
    _units(main, scene)
    _supposed(main, scene, assumptions)
    return written(root)


def _head(main: Element, scene: Scene) -> None:
    if scene.simulated:
        add(main, "p", "SIMULATED", kind="simulated")
    as_of = f", as it stood at {scene.clock(0)}" if scene.live else ""
    add(main, "h1", f"Forecast: {scene.day}, {scene.date}{as_of}")
    add(main, "p", summary(scene), kind="sum")
    add(main, "p", f"{scene.bench}; {_waited_for(scene)}")


def _waited_for(scene: Scene) -> str:
    found = scene.told.bottleneck
    if found is None:
        return "nothing is waited for long"
    full = listed(f"{clock(a, scene.zone)} to {clock(b, scene.zone)}" for a, b in found.full_us)
    when = f", nearly all in use from {full}" if found.full_us else ""
    return f"waited for most: {pool_words(found.pool, found.count)} ({found.wait:.0f} min for whoever asks{when})"


def _end(main: Element, scene: Scene) -> None:
    body = table(main, "End of the day", ("", "time"))
    for share, at_us in zip((50, 80, 95), _three(scene.told.end), strict=True):
        row(body, f"the last unit leaves its station in {share} of 100 days by", _clock(scene, at_us))
    for by in scene.told.by:
        closing = " (closing)" if by.closing else ""
        row(body, f"chance that all are done by {clock(by.at_us, scene.zone)}{closing}", _percent(by.share))


def _crews(main: Element, scene: Scene) -> None:
    if not scene.told.crews:
        return
    heads = ("crew", "units", "ready in 50 %", "in 80 %", "in 95 %", "promised", "kept in", "")
    body = table(main, "Crews against their promises", heads, "crews")
    for crew in scene.told.crews:
        promised = NONE if crew.promised_us is None else clock(crew.promised_us, scene.zone)
        risk = "AT RISK" if crew.kept is not None and crew.kept < AT_RISK else ""
        times = (_clock(scene, at_us) for at_us in _three(crew.ready))
        row(body, crew.title, str(len(crew.units)), *times, promised, _percent(crew.kept), risk)


def _more(main: Element, extra: More) -> None:
    body = table(main, extra.caption, extra.heads)
    for head, *cells in extra.rows:
        row(body, head, *cells)
    if extra.words:
        add(main, "p", extra.words)


def _cannot(main: Element, scene: Scene) -> None:
    if not scene.told.cannot:
        add(main, "h2", "Cannot be begun, or not brought to an end")
        add(main, "p", "Every unit that comes can be begun, as things are.")
        return
    body = table(main, "Cannot be begun, or not brought to an end", ("unit", "model", "on", "why"))
    for out in scene.told.cannot:
        share = "every day" if out.share == 1 else f"{_percent(out.share)} of the days"
        why = f"STOP: {out.reason}" if out.stops else out.reason
        row(body, out.serial, scene.model_of(out.serial), share, why)


def _units(main: Element, scene: Scene) -> None:
    heads = ("unit", "model", "crew", "ready in 50 %", "in 80 %", "in 95 %", "promised", "kept in")
    body = table(main, "Units", heads, "units")
    for unit in scene.told.units:
        promised = NONE if unit.promised_us is None else clock(unit.promised_us, scene.zone)
        who = (scene.model_of(unit.serial), scene.crew_of.get(unit.serial, ""))
        times = (_clock(scene, at_us) for at_us in _three(unit.ready))
        row(body, unit.serial, *who, *times, promised, _percent(unit.kept))


def _supposed(main: Element, scene: Scene, assumptions: Sequence[str]) -> None:
    add(main, "h2", "What this supposes")
    listing = add(main, "ul")
    for text in assumptions:
        add(listing, "li", text)
    typical = (
        f"The picture shows drawn day {scene.typical.replication + 1} of {counted(scene.told.replications, 'day')}"
    )
    add(main, "p", f"{typical}: the one that ends nearest the median. {basis(scene)}.")


def _three(when: When) -> tuple[int | None, int | None, int | None]:
    return when.p50_us, when.p80_us, when.p95_us


def _clock(scene: Scene, at_us: int | None) -> str:
    return NEVER if at_us is None else clock(at_us, scene.zone)


def _percent(share: float | None) -> str:
    return NONE if share is None else in_percent(share)
