"""How the pictures of a forecast look: colours that pass, print in grey, and how wide a text is.

Colours are Okabe and Ito's (Color Universal Design, 2008), and tints of them. On white blue has a contrast of 5.19 to
1; orange (2.25) and sky (2.31) pass nothing by themselves, so every area has a black outline and lines or a grey of
its own, and all text is black on white: WCAG 2.2, 1.4.1 (not by colour alone), 1.4.3 (text 4.5 to 1), 1.4.11
(graphics 3 to 1).
"""

from __future__ import annotations

import unicodedata

from benchday.cli.markup import Element, add

WIDTH = 1200
LEFT, RIGHT = 150, 130
"""Columns for names and for figures beside the time."""
PLOT = WIDTH - LEFT - RIGHT
STRONG = 1.17
"""How much wider bold letters are than others, where they differ most."""
FONT = '"Liberation Sans",Arial,Helvetica,sans-serif'

STYLE = (
    f"svg.forecast text{{font:12px {FONT};fill:#000}}svg.forecast .head{{font-size:20px;font-weight:bold}}"
    "svg.forecast .part-head{font-size:15px;font-weight:bold}svg.forecast .strong{font-weight:bold}"
    "svg.forecast .small{font-size:11px}svg.forecast .grid{stroke:#ccc}svg.forecast .half{stroke:#e6e6e6}"
    "svg.forecast .frame{fill:none;stroke:#000}svg.forecast .row{stroke:#999}"
    "svg.forecast .prepare{fill:#d7edf9;stroke:#000}svg.forecast .hands{fill:#f3c667;stroke:#000}"
    "svg.forecast .write{fill:#0072b2;stroke:#000}svg.forecast .verify{fill:#9fdcc8;stroke:#000}"
    "svg.forecast .charge{fill:#f6efa0;stroke:#000}"
    "svg.forecast .wait{fill:#fff;stroke:#000;stroke-dasharray:2 2}"
    "svg.forecast .break,svg.forecast .closed{fill:none;stroke:none;pointer-events:all}"
    "svg.forecast .close{stroke:#000;stroke-width:2.5;stroke-dasharray:9 4}"
    "svg.forecast .now{stroke:#000;stroke-width:2}svg.forecast .mark{fill:#000;stroke:#000}"
    "svg.forecast .open{fill:#fff;stroke:#000;stroke-width:2}svg.forecast .line{fill:none;stroke:#000;stroke-width:1.5}"
    "svg.forecast .curve{fill:none;stroke:#0072b2;stroke-width:2.5}svg.forecast .days{fill:#767676;stroke:#000}"
    "svg.forecast .busy{fill:#ccc;stroke:#000}svg.forecast .scarce{fill:#767676;stroke:#000;stroke-width:2}"
    "svg.forecast .share{stroke:#000;stroke-width:1.5;stroke-dasharray:5 3}svg.forecast .box{fill:#fff;stroke:#000;"
    "stroke-width:3}svg.forecast .paper{fill:#fff}svg.forecast .lines{fill:none;stroke:#000;pointer-events:none}"
    "svg.forecast .of-break{stroke:#888;stroke-width:.8}svg.forecast .of-closed{stroke:#bbb;stroke-width:.6}"
)

KINDS = {
    "connect": "hands",
    "confirm": "hands",
    "last look": "hands",
    "set aside": "hands",
    "write": "write",
    "restart": "write",
    "verify": "verify",
    "charge": "charge",
}
"""Stage -> how its part of a bar is drawn; all others prepare the write."""
LEGEND = (
    ("hands", "hands: connect, confirm, last look"),
    ("prepare", "identify, check, preserve"),
    ("write", "write, restart"),
    ("verify", "verify"),
    ("wait", "waits"),
)

NARROW, BROAD = frozenset("ijltfrI.,:;|!'()[] /-"), frozenset("mwMW@%")


def svg(height: float, title: str, told: str) -> Element:
    """Begin a picture that scales: no script, nothing fetched from outside."""
    root = Element("svg", xmlns="http://www.w3.org/2000/svg")
    for name, value in (("viewBox", f"0 0 {WIDTH} {height:.0f}"), ("class", "forecast"), ("role", "group")):
        root.set(name, value)
    root.set("width", str(WIDTH))
    root.set("height", f"{height:.0f}")
    add(root, "title", title)
    add(root, "desc", told)
    add(root, "rect", width="100%", height="100%", kind="paper")
    return root


def wide(text: str, size: float = 12, *, strong: bool = False) -> float:
    """Return about how wide a text is drawn, rather too much than too little: in the widest of the usual fonts.

    Args:
        text: what is drawn.
        size: of the font, pixels.
        strong: drawn in bold letters, which are wider.
    """
    return size * sum(_share(char) for char in text) * (STRONG if strong else 1.0)


def _share(char: str) -> float:
    if unicodedata.east_asian_width(char) in "WF":
        return 1.05
    if char in NARROW:
        return 0.36
    return 0.99 if char in BROAD else 0.77 if char.isupper() else 0.64


def fitted(text: str, room: float, size: float = 12) -> str:
    """Return a text cut to a width, with a sign where something is cut away; empty where nothing would be told."""
    if wide(text, size) <= room:
        return text
    kept = text
    while kept and wide(f"{kept}…", size) > room:
        kept = kept[:-1]
    return f"{kept.rstrip()}…" if len(kept) > 1 else ""


def fitted_name(name: str, room: float, size: float = 12) -> str:
    """Return a name cut to a width in its middle: names that begin alike often differ at their ends."""
    if wide(name, size) <= room:
        return name
    half = len(name) // 2
    while half > 1 and wide(f"{name[:half]}…{name[-half:]}", size) > room:
        half -= 1
    return f"{name[:half].rstrip()}…{name[-half:].lstrip()}"


def text(parent: Element, x: float, y: float, words: str, kind: str = "", anchor: str = "") -> Element:
    """Add a text."""
    more = ({"kind": kind} if kind else {}) | ({"text_anchor": anchor} if anchor else {})
    return add(parent, "text", words, x=f"{x:.1f}", y=f"{y:.1f}", **more)


def line(parent: Element, x1: float, y1: float, x2: float, y2: float, kind: str) -> Element:
    """Add a line."""
    return add(parent, "line", x1=f"{x1:.1f}", y1=f"{y1:.1f}", x2=f"{x2:.1f}", y2=f"{y2:.1f}", kind=kind)


def rect(parent: Element, x: float, y: float, width: float, height: float, kind: str) -> Element:
    """Add a rectangle."""
    sizes = {"width": f"{max(width, 0):.1f}", "height": f"{height:.1f}"}
    return add(parent, "rect", x=f"{x:.1f}", y=f"{y:.1f}", **sizes, kind=kind)


def path(parent: Element, way: str, kind: str) -> Element:
    """Add a path."""
    return add(parent, "path", d=way, kind=kind)
