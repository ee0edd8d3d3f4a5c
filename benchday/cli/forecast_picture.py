"""A forecast as a picture (SVG 1.1): stations and crews over time, the day's end, how much of each pool is in use."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from xml.etree import ElementTree as ET

from benchday.cli import forecast_ends
from benchday.cli.forecast_ends import ends
from benchday.cli.forecast_pools import pools, pools_height
from benchday.cli.forecast_scene import Scene
from benchday.cli.forecast_stations import crews, crews_height, stations, stations_height
from benchday.cli.forecast_style import STYLE, WIDTH, fitted, rect, svg, text
from benchday.cli.markup import Element, add
from benchday.planning.wording import counted, in_percent

MADE_BY = "benchday forecast"
"""By this a picture or page is known for ours when it is written anew."""
HEAD, FOOT = 66.0, 26.0
Part = tuple[float, Callable[[Element, Scene, float], None]]
"""A part's height, and what draws it from a height on down."""


def forecast_picture(scene: Scene) -> str:
    """Return the whole picture as a file."""
    parts = [part for parts in figures(scene).values() for part in parts]
    root = drawn(scene, "Forecast of the day", parts, head=True)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ET.tostring(root, encoding="unicode")}\n'


def figures(scene: Scene) -> dict[str, Sequence[Part]]:
    """Return the parts of the picture, by the figure of a page in which they stand."""
    over_time: list[Part] = [(stations_height(scene), stations)]
    if scene.crews:
        over_time.append((crews_height(scene), crews))
    if not scene.outcomes.model.units:
        return {"Stations over time": over_time}
    end: Part = (forecast_ends.HEIGHT + 10, ends)
    return {
        "Stations and crews over time": over_time,
        "The day's end, and how much is in use": (end, (pools_height(scene), pools)),
    }


def drawn(scene: Scene, title: str, parts: Sequence[Part], *, head: bool) -> Element:
    """Draw parts one below the other.

    Args:
        scene: what to draw.
        title: of the picture.
        parts: from above.
        head: with the day's name above and what it rests on below, as a file of its own has them.
    """
    top = HEAD if head else 4.0
    root = svg(top + sum(height for height, _ in parts) + (FOOT if head else 4), title, summary(scene))
    if head:
        add(root, "metadata", MADE_BY)
        ET.SubElement(root, "style").text = STYLE
    if head:
        _head(root, scene)
    y = top
    for height, draw in parts:
        draw(root, scene, y)
        y += height
    if head:
        text(root, 12, y + 16, basis(scene), "small")
    return root


def summary(scene: Scene) -> str:
    """Say in one sentence what the picture shows."""
    if not scene.outcomes.model.units:
        return "There is no unit to be served."
    times = [scene.ends.quantile(share) for share in (0.5, 0.8, 0.95)]
    told = ", ".join(
        f"{share} of 100 days by {scene.clock(end)}"
        for share, end in zip((50, 80, 95), times, strict=True)
        if end is not None
    )
    closing = next((by.share for by in scene.told.by if by.closing), None)
    chance = f"; all done by closing, {scene.clock(scene.close or 0)}, in {in_percent(closing or 0)}"
    late = sum(1 for unit in scene.told.units if unit.not_begun > 0.5)
    kept_out = f"; {counted(late, 'unit')} not begun on most days" if late else ""
    return f"The day ends in {told}{chance if closing is not None else ''}{kept_out}."


def basis(scene: Scene) -> str:
    """Say what the picture rests on."""
    units = counted(len(scene.outcomes.model.units), "unit")
    days = f"{scene.outcomes.replications} days drawn with seed {scene.outcomes.model.seed}"
    return f"{MADE_BY}: {units}, {days}; times are local ({scene.zone}); a chance is no promise"


def _head(root: Element, scene: Scene) -> None:
    room = WIDTH - 24.0
    if scene.simulated:
        rect(root, WIDTH - 172, 8, 160, 32, "box")
        text(root, WIDTH - 92, 31, "SIMULATED", "head", "middle")
        room -= 180
    as_of = f", as it stood at {scene.clock(0)}" if scene.live else ""
    text(root, 12, 30, fitted(f"Forecast, {scene.date}{as_of}: {scene.day}", room, 22), "head")
    text(root, 12, 52, fitted(f"{summary(scene)} {scene.bench}", WIDTH - 24.0, 12.5))
