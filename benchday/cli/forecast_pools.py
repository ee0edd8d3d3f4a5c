"""How busy each pool of the bench is over the day, drawn one below the other."""

from __future__ import annotations

from benchday.cli.forecast_hatch import area
from benchday.cli.forecast_scene import Scene
from benchday.cli.forecast_stations import Scale
from benchday.cli.forecast_style import LEFT, PLOT, WIDTH, fitted, line, path, rect, text
from benchday.cli.markup import Element, add
from benchday.planning.forecast.pools import PoolUse
from benchday.planning.forecast.telling import pool_words

POOL, GAP = 34.0, 12.0
"""Height of one pool's strip, and between two."""
HEAD, FOOT = 54.0, 24.0


def pools_height(scene: Scene) -> float:
    """Return the height of the part with the pools."""
    return HEAD + (POOL + GAP) * len(scene.outcomes.pools) + FOOT


def pools(root: Element, scene: Scene, y: float) -> None:
    """Draw the pools from this height on down."""
    text(root, 12, y + 16, f"How much is in use: {_head(scene)}", "part-head")
    text(root, WIDTH - 122, y + HEAD - 10, "who asks waits", "strong")
    scale, top = Scale(scene, busy=True), y + HEAD
    bottom = top + (POOL + GAP) * len(scene.outcomes.pools)
    for start, end in scene.breaks:
        if scale.shows(start):
            area(root, scale.x(start), top, scale.x(end) - scale.x(start), bottom - top - GAP, "break")
    for hour in scale.times:
        line(root, scale.x(hour), top, scale.x(hour), bottom - GAP, "grid")
        text(root, scale.x(hour), bottom + 4, scene.clock(hour), anchor="middle")
    for number, pool in enumerate(scene.outcomes.pools):
        _pool(root, scene, scale, pool, top + (POOL + GAP) * number)
    if scene.close is not None and scale.shows(scene.close):
        line(root, scale.x(scene.close), top, scale.x(scene.close), bottom - GAP, "close")


def _head(scene: Scene) -> str:
    found = scene.told.bottleneck
    if found is None:
        return "nothing is waited for long"
    return f"units wait most for {pool_words(found.pool, found.count).split(' ', 1)[1]}, the bottleneck"


def _pool(root: Element, scene: Scene, scale: Scale, pool: PoolUse, y: float) -> None:
    scarce = scene.told.bottleneck is not None and scene.told.bottleneck.pool == pool.name
    strip = add(root, "g", kind="pool", data_pool=pool.name)
    add(strip, "title", f"{pool_words(pool.name, pool.count)}, mean of the drawn days")
    name = fitted(_name(pool), LEFT - 24)
    text(strip, LEFT - 22, y + (14 if scarce else 20), name, "strong" if scarce else "", "end")
    if scarce:
        text(strip, LEFT - 22, y + 30, "bottleneck", "strong", "end")
    text(strip, LEFT - 5, y + 9, str(pool.count), "small", "end")
    text(strip, LEFT - 5, y + POOL, "0", "small", "end")
    _area(strip, scale, pool, y, "scarce" if scarce else "busy")
    rect(strip, LEFT, y, PLOT, POOL, "frame")
    wait = f"{pool.wait:.0f} min" if pool.wait >= 0.5 else "none"
    text(strip, WIDTH - 122, y + 20, wait, "strong" if scarce else "")


def _name(pool: PoolUse) -> str:
    word = pool_words(pool.name, 2).split(" ", 1)[1].replace("cables with connector", "cables,")
    return word[:1].upper() + word[1:]


def _area(parent: Element, scale: Scale, pool: PoolUse, y: float, kind: str) -> None:
    """Draw the means as an area of steps."""
    base = y + POOL
    way = [f"M{scale.x(0):.1f} {base:.1f}"]
    for slot, busy in enumerate(pool.busy):
        height = POOL * min(busy / pool.count, 1.0) if pool.count else 0.0
        ends = scale.x((slot + 1) * pool.slot_minutes)
        way.append(f"V{base - height:.1f}H{ends:.1f}")
    if pool.busy:
        path(parent, f"{''.join(way)}V{base:.1f}Z", kind)
