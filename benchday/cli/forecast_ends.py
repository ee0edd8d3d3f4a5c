"""When a forecast day ends, drawn: how often the last unit leaves when, and the chance that all are done by then."""

from __future__ import annotations

from collections import Counter

from benchday.cli.forecast_scene import Scene
from benchday.cli.forecast_style import WIDTH, line, path, rect, text, wide
from benchday.cli.markup import Element, add
from benchday.planning.wording import counted, in_percent

HEIGHT = 250.0
TOP, BOTTOM = 66.0, 30.0
"""Room above a panel for its words, and below for its hours."""
PANEL = WIDTH / 2 - 78
BINS = (1, 2, 5, 10, 15, 30, 60)
"""Minutes of a column of the distribution."""
MOST_COLUMNS = 30
STEPS = (1, 2, 5, 10, 15, 30, 60, 120, 180, 240)
"""Minutes between times that are written below a panel."""
MOST_TIMES = 8


class Axis:
    """Times below one panel; both panels show the same."""

    def __init__(self, scene: Scene, left: float) -> None:
        first, last = scene.ends.quantile(0) or 0.0, scene.ends.quantile(1) or 0.0
        close = scene.close
        reach = max(last - first, 15.0)
        # Closing is shown where that leaves the days themselves enough room.
        if close is not None and first - 1.5 * reach <= close <= last + 1.5 * reach:
            first, last = min(first, close), max(last, close)
        self.bin = next((b for b in BINS if (last - first) / b <= MOST_COLUMNS), 60)
        zero = int(scene.clock(0).split(":")[1])
        self.step = next((s for s in STEPS if (last - first) / s <= MOST_TIMES), 240)
        self.first = self._floor(first - self.bin / 2, zero)
        self.last = max(self._floor(last + 1.5 * self.bin, zero), self.first + self.bin)
        self.left = left
        self.times = [m for m in self._every(zero) if self.first <= m <= self.last]

    def _floor(self, minutes: float, zero: int) -> float:
        return (minutes + zero) // self.bin * self.bin - zero

    def _every(self, zero: int) -> list[float]:
        begins = (self.first + zero) // self.step * self.step - zero
        return [begins + self.step * n for n in range(MOST_TIMES + 4)]

    def x(self, minutes: float) -> float:
        """Return where a minute lies, never outside of the panel."""
        share = (minutes - self.first) / (self.last - self.first)
        return self.left + PANEL * min(max(share, 0.0), 1.0)

    def shows(self, minutes: float | None) -> bool:
        """Tell whether a minute lies within the panel."""
        return minutes is not None and self.first <= minutes <= self.last


def ends(root: Element, scene: Scene, y: float) -> None:
    """Draw both panels from this height on down."""
    text(root, 12, y + 16, "The day's end", "part-head")
    top, bottom = y + TOP, y + HEIGHT - BOTTOM
    left, right = Axis(scene, 60.0), Axis(scene, WIDTH / 2 + 60)
    for axis in (left, right):
        _frame(root, scene, axis, top, bottom)
    _distribution(root, scene, left, top, bottom)
    _chances(root, scene, right, top, bottom)


def _frame(root: Element, scene: Scene, axis: Axis, top: float, bottom: float) -> None:
    for minutes in axis.times:
        x = axis.x(minutes)
        line(root, x, top, x, bottom, "grid")
        text(root, x, bottom + 16, scene.clock(minutes), anchor="middle")
    rect(root, axis.left, top, PANEL, bottom - top, "frame")


def _distribution(root: Element, scene: Scene, axis: Axis, top: float, bottom: float) -> None:
    """Draw how many of the drawn days end when."""
    counts = Counter(int((end - axis.first) // axis.bin) for end in scene.ends.came)
    most = max(counts.values(), default=1)
    head = f"In how many of {counted(scene.outcomes.replications, 'drawn day')} the last unit leaves its station when"
    text(root, axis.left, top - 34, head)
    for number, count in sorted(counts.items()):
        begins = axis.first + number * axis.bin
        x1, x2 = axis.x(begins), axis.x(begins + axis.bin)
        height = (bottom - top - 6) * count / most
        column = rect(root, x1, bottom - height, x2 - x1, height, "days")
        add(column, "title", f"{scene.clock(begins)} to {scene.clock(begins + axis.bin)}: {counted(count, 'day')}")
    text(root, axis.left - 6, top + 12, str(most), anchor="end")
    text(root, axis.left - 6, bottom, "0", anchor="end")
    _quantiles(root, scene, axis, top, bottom)
    if axis.shows(scene.close):
        _closing(root, scene, axis, top, bottom, "")


def _quantiles(root: Element, scene: Scene, axis: Axis, top: float, bottom: float) -> None:
    """Mark the ends of 50, 80 and 95 of 100 days; their words never run into one another or over the edge."""
    ends = [(share, end) for share in (50, 80, 95) if (end := scene.ends.quantile(share / 100)) is not None]
    named: dict[str, tuple[float, str]] = {}
    for share, end in ends:
        line(root, axis.x(end), top - 4, axis.x(end), bottom, "share")
        _, so_far = named.get(scene.clock(end), (0.0, ""))
        named[scene.clock(end)] = (axis.x(end), f"{so_far}, P{share}".removeprefix(", "))
    words = [(x, f"{shares} {clock}") for clock, (x, shares) in named.items()]
    for at, told in _side_by_side(words, axis.left - 20, axis.left + PANEL):
        text(root, at, top - 8, told, "strong")


def _side_by_side(words: list[tuple[float, str]], first: float, last: float) -> list[tuple[float, str]]:
    """Return where each bold text begins: centred where it belongs, if the ones beside it and the edge leave room."""
    begins: list[float] = []
    for x, told in words:
        begins.append(max(x - wide(told, strong=True) / 2, first))
        first = begins[-1] + wide(told, strong=True) + 4
    for number in range(len(words) - 1, -1, -1):
        begins[number] = min(begins[number], last - wide(words[number][1], strong=True))
        last = begins[number] - 4
    return [(at, told) for at, (_, told) in zip(begins, words, strict=True)]


def _chances(root: Element, scene: Scene, axis: Axis, top: float, bottom: float) -> None:
    """Draw the chance that every unit that comes is done by a time."""
    text(root, axis.left, top - 34, "Chance that every unit that comes is done by a time")
    for percent in (0, 50, 80, 95, 100):
        y = bottom - (bottom - top) * percent / 100
        line(root, axis.left, y, axis.left + PANEL, y, "grid")
        # 95 and 100 stand too close to be both written.
        if percent != 100:
            text(root, axis.left - 6, y + 4, f"{percent} %", anchor="end")
    axis_end, done = axis.left + PANEL, scene.done
    points, total = [f"M{axis.left:.1f} {bottom:.1f}"], max(len(done.ordered), 1)
    for number, end in enumerate(done.came, 1):
        points.append(f"H{axis.x(end):.1f}V{bottom - (bottom - top) * number / total:.1f}")
    path(root, f"{''.join(points)}H{axis_end:.1f}", "curve")
    closing = next((by.share for by in scene.told.by if by.closing), None)
    words = f": all done by then in {in_percent(closing)} of the days" if closing is not None else ""
    _closing(root, scene, axis, top, bottom, words)


def _closing(root: Element, scene: Scene, axis: Axis, top: float, bottom: float, words: str) -> None:
    """Mark closing, or say that it lies beyond the edge."""
    close = scene.close
    if close is None:
        return
    told = f"closes {scene.clock(close)}{words}"
    if axis.shows(close):
        line(root, axis.x(close), top - 4, axis.x(close), bottom, "close")
    elif close > axis.last:
        told = f"{told} (beyond the right edge)"
    else:
        told = f"{told} (before the left edge)"
    # Where the day ends near closing its words stand above those of the quantiles.
    text(root, axis.left + PANEL, top - (8 if words else 20), told, "strong", "end")
