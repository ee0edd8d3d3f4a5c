"""Chromium draws and prints the forecast: every word has its room, on the picture and on paper."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from html import unescape
from itertools import combinations
from pathlib import Path

import pytest

from benchday.cli.forecast_page import forecast_page
from benchday.cli.forecast_picture import forecast_picture
from tests.cli.forecast_scenes import DAYS, scene
from tests.peers.test_layout_page import QUIET, program, said

pytestmark = pytest.mark.peer

MEASURE = """
<script>
const box = (e) => { const b = e.getBBox(); return [b.x, b.y, b.x + b.width, b.y + b.height]; };
const told = {texts: [], visits: []};
for (const t of document.querySelectorAll("text")) told.texts.push([t.textContent, ...box(t)]);
for (const g of document.querySelectorAll("g.visit")) {
  const bar = [...g.querySelectorAll("rect")].map(box);
  told.visits.push([g.dataset.unit, box(g.querySelector("text")), Math.min(...bar.map((b) => b[0])),
    Math.max(...bar.map((b) => b[2]))]);
}
const out = document.createElement("pre");
out.textContent = JSON.stringify(told);
document.body.append(out);
</script>
"""


@dataclass(frozen=True, slots=True)
class Word:
    """A text and the box that it takes."""

    words: str
    left: float
    top: float
    right: float
    bottom: float

    def over(self, other: Word) -> bool:
        """Tell whether two texts run into one another."""
        across = min(self.right, other.right) - max(self.left, other.left)
        down = min(self.bottom, other.bottom) - max(self.top, other.top)
        # Boxes are of whole lines: letters stay apart where lines touch.
        return across > 1 and down > 4


def measured(day: str, folder: Path) -> tuple[list[Word], list[tuple[str, list[float], float, float]]]:
    """Have a picture drawn; return its texts with their boxes, and each unit's label with the ends of its bar."""
    page = folder / "measured.html"
    picture = forecast_picture(scene(day)).split("\n", 1)[1]
    page.write_text(f"<!DOCTYPE html><meta charset='utf-8'><body>{picture}{MEASURE}", encoding="utf-8")
    dumped = said(program("chromium", "chromium"), *QUIET, f"--user-data-dir={folder}/p", "--dump-dom", page.as_uri())
    found = re.search(r"<pre>(.*?)</pre>", dumped, re.DOTALL)
    assert found is not None
    told = json.loads(unescape(found[1]))
    return [Word(*text) for text in told["texts"]], told["visits"]


@pytest.mark.parametrize("day", DAYS)
def test_every_word_has_its_room(day: str, tmp_path: Path) -> None:
    words, visits = measured(day, tmp_path)
    height = float(forecast_picture(scene(day)).split('viewBox="0 0 1200 ')[1].split('"')[0])
    for word in words:
        assert word.left >= 0, word
        assert word.right <= 1200, word
        assert word.bottom <= height, word
    assert [(a.words, b.words) for a, b in combinations(words, 2) if a.over(b)] == []
    for unit, (left, _, right, _), begins, ends in visits:
        assert begins <= left, unit
        assert right <= ends + 1, unit


@dataclass(frozen=True, slots=True)
class Printed:
    """A page on paper."""

    pages: tuple[str, ...]
    about: str


@pytest.fixture(scope="module", params=["20", "60"])
def printed(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Printed]:
    """Print a day's page."""
    folder = tmp_path_factory.mktemp("forecast")
    page, pdf = folder / "forecast.html", folder / "forecast.pdf"
    page.write_text(forecast_page(scene(request.param), ["durations by the playbooks"]), encoding="utf-8")
    command = [*QUIET, f"--user-data-dir={folder / 'p'}", "--no-pdf-header-footer", f"--print-to-pdf={pdf}"]
    said(program("chromium", "chromium"), *command, page.as_uri())
    text = said(program("pdftotext", "poppler-utils"), "-layout", pdf, "-")
    return request.param, Printed(tuple(text.split("\f")[:-1]), said(program("pdfinfo", "poppler-utils"), pdf))


def test_each_figure_has_a_sheet_of_its_own_and_the_tables_follow(printed: tuple[str, Printed]) -> None:
    day, paper = printed
    first, second, third, *_ = paper.pages
    assert "Stations over time, in a typical day" in first
    assert "Crews: when they come" in first
    assert "The day's end" in second
    assert "bottleneck" in second
    assert "End of the day" in third
    assert re.search(r"Page size: +841\.\d+ x 59\d\.\d+ pts \(A4\)", paper.about)
    # Nothing of the picture has become a bitmap.
    size = re.search(r"File size: +(\d+) bytes", paper.about)
    assert size is not None
    assert int(size[1]) < 1_000_000
    assert all(unit.serial in "".join(paper.pages[2:]) for unit in scene(day).told.units)


def test_every_sheet_is_numbered_and_says_that_nothing_is_real(printed: tuple[str, Printed]) -> None:
    _, paper = printed
    for number, sheet in enumerate(paper.pages, start=1):
        assert "SIMULATED" in sheet
        assert f"page {number} of {len(paper.pages)}" in sheet
