"""The picture of how often predictions held: stated share against observed share (a reliability diagram)."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from benchday.cli.markup import Element, add
from benchday.planning.calibration import SHARES, Calibration
from benchday.planning.wording import counted

MADE_BY = "benchday durations"
SIZE, LEFT, TOP, SIDE = 480, 70, 60, 360
"""Of the whole picture, and of the square within it."""
STYLE = (
    "text{font:14px sans-serif;fill:#000}.small{font-size:12px}.frame,.right{fill:none;stroke:#000}"
    ".grid{stroke:#bbb}.right{stroke-dasharray:6 4}.held{fill:none;stroke:#0072b2;stroke-width:2}"
    ".point{fill:#0072b2;stroke:#000}.error{stroke:#0072b2;stroke-width:2}"
)


def picture(calibration: Calibration, record: str, *, simulated: bool) -> str:
    """Draw it as SVG 1.1: points on the broken line held as often as stated; bars are two standard errors."""
    overall = calibration.overall
    root = ET.Element("svg", xmlns="http://www.w3.org/2000/svg", width=str(SIZE), height=str(SIZE), role="img")
    root.set("viewBox", f"0 0 {SIZE} {SIZE}")
    add(root, "title", "How often stated shares held")
    told = "; ".join(
        f"{100 * share:.0f} % stated, {100 * held:.1f} % held"
        for share in SHARES
        if (held := overall.observed(share)) is not None
    )
    add(root, "desc", told or "Nothing was predicted yet.")
    add(root, "metadata", MADE_BY)
    ET.SubElement(root, "style").text = STYLE
    _rect(root)
    head = f"{counted(overall.predictions, 'step')} predicted by what was known when the day began"
    add(root, "text", ("SIMULATED: " if simulated else "") + "How often what was stated held", x="20", y="24")
    add(root, "text", head, x="20", y="44", kind="small")
    _axes(root)
    _points(root, calibration)
    add(root, "text", f"record {record}", x="20", y=str(SIZE - 6), kind="small")
    return ET.tostring(root, encoding="unicode") + "\n"


def _rect(root: Element) -> None:
    add(root, "rect", width="100%", height="100%", fill="#fff")
    add(root, "rect", x=str(LEFT), y=str(TOP), width=str(SIDE), height=str(SIDE), kind="frame")


def _axes(root: Element) -> None:
    for percent in range(0, 101, 20):
        x, y = _x(percent / 100), _y(percent / 100)
        if 0 < percent < 100:
            add(root, "line", x1=x, x2=x, y1=_y(0), y2=_y(1), kind="grid")
            add(root, "line", x1=_x(0), x2=_x(1), y1=y, y2=y, kind="grid")
        add(root, "text", str(percent), x=x, y=f"{TOP + SIDE + 16}", text_anchor="middle", kind="small")
        add(root, "text", str(percent), x=f"{LEFT - 8}", y=f"{float(y) + 4:.1f}", text_anchor="end", kind="small")
    add(root, "line", x1=_x(0), y1=_y(0), x2=_x(1), y2=_y(1), kind="right")
    middle = f"{TOP + SIDE / 2:.1f}"
    add(root, "text", "stated share, %", x=_x(0.5), y=f"{TOP + SIDE + 36}", text_anchor="middle")
    turned = f"rotate(-90 24 {middle})"
    add(root, "text", "observed share, %", x="24", y=middle, text_anchor="middle", transform=turned)


def _points(root: Element, calibration: Calibration) -> None:
    overall = calibration.overall
    held = [(share, overall.observed(share) or 0.0, overall.error(share) or 0.0) for share in SHARES]
    if not overall.predictions:
        return
    add(root, "polyline", points=" ".join(f"{_x(share)},{_y(seen)}" for share, seen, _ in held), kind="held")
    for share, seen, error in held:
        x = _x(share)
        add(root, "line", x1=x, x2=x, y1=_y(max(seen - 2 * error, 0)), y2=_y(min(seen + 2 * error, 1)), kind="error")
        point = add(root, "circle", cx=x, cy=_y(seen), r="4", kind="point")
        add(point, "title", f"{100 * share:.0f} % stated, {100 * seen:.1f} % held")


def _x(share: float) -> str:
    return f"{LEFT + share * SIDE:.1f}"


def _y(share: float) -> str:
    return f"{TOP + (1 - share) * SIDE:.1f}"
