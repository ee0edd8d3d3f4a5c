"""Chromium prints the page, poppler reads the paper, zbar scans the codes: what a crew and a scanner will see."""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

import pytest

from benchday.cli.layout_page import layout_page
from benchday.domain.plan import DayPlan
from benchday.inputs.day import load_day
from benchday.inputs.sample import write_sample
from benchday.planning.layout import Layout, layout_of
from tests.inputs.conftest import small_image
from tests.planning.bench_day import aims

pytestmark = pytest.mark.peer
LIMIT_S = 120
QUIET = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
LISTS = ("To lay out", "Who comes")


def program(name: str, package: str) -> str:
    """Find a program."""
    found = shutil.which(name)
    if found is None:
        pytest.fail(f"{name} is missing: install {package} (Debian: apt-get install {package})")
    return found


def said(*command: str | Path) -> str:
    """Run a program; return what it says."""
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=LIMIT_S)
    assert done.returncode == 0, done.stderr
    return done.stdout


@dataclass(frozen=True, slots=True)
class Printed:
    """The sample day's page on paper."""

    plan: DayPlan
    layout: Layout
    pdf: Path
    pages: tuple[str, ...]
    """The text of each page."""


@pytest.fixture(scope="module")
def printed(tmp_path_factory: pytest.TempPathFactory) -> Printed:
    """Print the page of the sample day, once for all tests here."""
    folder = tmp_path_factory.mktemp("layout")
    write_sample(folder / "day", 7, build_image=small_image)
    plan = load_day(folder / "day")
    layout = layout_of(plan, aims(plan), free_bytes=10**10)
    page, pdf = folder / "layout.html", folder / "layout.pdf"
    page.write_text(layout_page(plan, layout), encoding="utf-8")
    profile = f"--user-data-dir={folder / 'profile'}"
    said(
        program("chromium", "chromium"),
        *QUIET,
        profile,
        "--no-pdf-header-footer",
        f"--print-to-pdf={pdf}",
        page.as_uri(),
    )
    text = said(program("pdftotext", "poppler-utils"), "-layout", pdf, "-")
    return Printed(plan, layout, pdf, tuple(text.split("\f")[:-1]))


def page_of(printed: Printed, title: str) -> str:
    """Return the one page that begins with a title."""
    (found,) = [page for page in printed.pages if page.split("\n\n")[0].strip().startswith(title)]
    return found


def test_there_is_a_page_for_each_list_and_each_crew(printed: Printed) -> None:
    told = said(program("pdfinfo", "poppler-utils"), printed.pdf)
    count = len(LISTS) + len(printed.layout.slips)
    assert f"Pages:           {count}\n" in told
    assert "(A4)" in told
    assert "to lay out" in told
    for title in (*LISTS, *(slip.title for slip in printed.layout.slips)):
        assert page_of(printed, title)


def test_each_unit_is_on_the_page_of_its_crew_alone(printed: Printed) -> None:
    for slip in printed.layout.slips:
        page = page_of(printed, slip.title)
        for row in printed.plan.roster:
            assert (row.serial in page) is (row.serial in {unit.serial for unit in slip.units})
        for word in ("Brought by", "Signature", "its label says this serial", "recordings are erased", "days"):
            assert word in page


def test_every_page_is_numbered_and_says_that_nothing_is_real(printed: Printed) -> None:
    for number, page in enumerate(printed.pages, start=1):
        assert page.count("SIMULATED") == 2
        assert f"page {number} of {len(printed.pages)}" in page


def test_whole_digests_are_on_paper(printed: Printed) -> None:
    page = page_of(printed, LISTS[0])
    for need in printed.layout.images:
        assert need.image.sha256 in page


def test_a_scanner_reads_each_code_as_its_unit(printed: Printed, tmp_path: Path) -> None:
    said(program("pdftoppm", "poppler-utils"), "-r", "110", "-gray", "-png", printed.pdf, tmp_path / "page")
    scan = program("zbarimg", "zbar-tools")
    slips = sorted(tmp_path.glob("page-*.png"))[len(LISTS) :]
    lines = said(scan, "--quiet", "--raw", *slips).splitlines()
    units = [unit for slip in printed.layout.slips for unit in slip.units]
    assert sorted(lines) == sorted(unit.code or "" for unit in units)
    for unit in units:
        playbook = printed.plan.playbook_for(unit.model)
        assert playbook is not None
        assert [playbook.serial_in(line) for line in lines].count(unit.serial) == 1
