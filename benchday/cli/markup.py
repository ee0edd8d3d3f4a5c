"""HTML pages built as a tree, so that everything from outside is escaped: no text is ever pasted into markup."""

from __future__ import annotations

from collections.abc import Iterable
from xml.etree import ElementTree as ET

from benchday.domain.clean import clean

Element = ET.Element


def page(title: str, style: str, *, made_by: str) -> tuple[Element, Element]:
    """Begin a page of its own: no script, nothing fetched from outside. Returns the page and its body."""
    root = ET.Element("html", lang="en-GB")
    head = ET.SubElement(root, "head")
    ET.SubElement(head, "meta", charset="utf-8")
    add(head, "meta", name="generator", content=made_by)
    add(head, "meta", name="viewport", content="width=device-width, initial-scale=1")
    add(head, "title", title)
    ET.SubElement(head, "style").text = style
    return root, ET.SubElement(root, "body")


def written(root: Element) -> str:
    """Return a finished page as text."""
    return "<!DOCTYPE html>\n" + ET.tostring(root, encoding="unicode", method="html") + "\n"


def add(parent: Element, tag: str, text: str = "", **attributes: str) -> Element:
    """Add an element with a text; what steers is made visible. A ``kind`` becomes the class."""
    named = {("class" if name == "kind" else name.replace("_", "-")): value for name, value in attributes.items()}
    child = ET.SubElement(parent, tag, {name: clean(value) for name, value in named.items()})
    if text:
        child.text = clean(text)
    return child


def after(element: Element, text: str) -> None:
    """Add text behind an element, in its parent."""
    element.tail = (element.tail or "") + clean(text)


def table(parent: Element, caption: str, heads: Iterable[str], kind: str = "") -> Element:
    """Add a table with a caption and a row of column heads; returns its body."""
    made = add(parent, "table", **({"kind": kind} if kind else {}))
    add(made, "caption", caption)
    row = add(add(made, "thead"), "tr")
    for head in heads:
        add(row, "th", head, scope="col")
    return add(made, "tbody")


def row(body: Element, head: str, *cells: str) -> list[Element]:
    """Add a row whose first cell is its head; returns all its cells."""
    line = add(body, "tr")
    return [add(line, "th", head, scope="row"), *(add(line, "td", cell) for cell in cells)]


def scannable(parent: Element, code: str, label: str) -> Element:
    """Add a code for a scanner: a QR Code (ISO/IEC 18004) drawn as SVG, with the quiet zone that readers need."""
    import segno

    drawn = segno.make(code, error="m", micro=False)
    width, height = drawn.symbol_size()
    figure = add(parent, "svg", viewBox=f"0 0 {width} {height}", role="img", aria_label=label, kind="code")
    figure.set("shape-rendering", "crispEdges")
    # Modules of a row that touch are one rectangle: hairlines between them can spoil a code on paper.
    add(figure, "path", d="".join(_rectangles([list(line) for line in drawn.matrix_iter()])))
    return figure


def _rectangles(rows: list[list[int]]) -> Iterable[str]:
    for y, modules in enumerate(rows):
        begun: int | None = None
        for x, dark in enumerate([*modules, 0]):
            if dark and begun is None:
                begun = x
            elif not dark and begun is not None:
                yield f"M{begun} {y}h{x - begun}v1h-{x - begun}z"
                begun = None
