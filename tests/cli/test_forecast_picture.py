"""The forecast drawn: what stands in the picture, on the page and in the terminal, and that all of it has its place."""

from __future__ import annotations

import html
import json
import re
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from prompt_toolkit.utils import get_cwidth

from benchday.cli.commands.forecast import Asked, forecast
from benchday.cli.conduct import status_of
from benchday.cli.forecast_bars import LETTERS, Shades, bars, shades
from benchday.cli.forecast_hatch import HATCHES, lines
from benchday.cli.forecast_page import More, forecast_page
from benchday.cli.forecast_picture import forecast_picture
from benchday.cli.forecast_scene import Scene
from benchday.cli.forecast_stations import Scale
from benchday.cli.forecast_style import KINDS, LEFT, PLOT, fitted, fitted_name, wide
from tests.cli.forecast_scenes import DAYS, live_scene, scene

SVG = "{http://www.w3.org/2000/svg}"
FILLS = {"hands", "prepare", "write", "verify", "charge", "wait"}
every_day = pytest.mark.parametrize("day", DAYS)


def drawn(day: str) -> ET.Element:
    """Draw a day."""
    return ET.fromstring(forecast_picture(scene(day)))  # noqa: S314 - our own text


def visits(root: ET.Element) -> list[ET.Element]:
    """Return the bars of units."""
    return [group for group in root.iter(f"{SVG}g") if group.get("class") == "visit"]


def parts(visit: ET.Element) -> list[tuple[float, float, float, str]]:
    """Return left, right, top and kind of each part of a bar."""
    found = []
    for rect in visit.iter(f"{SVG}rect"):
        x, width, y = (float(rect.get(name, "")) for name in ("x", "width", "y"))
        found.append((x, x + width, y, rect.get("class", "")))
    return found


def texts(root: ET.Element) -> list[str]:
    """Return every text that is drawn."""
    return [element.text or "" for element in root.iter(f"{SVG}text")]


@every_day
def test_there_is_a_bar_for_each_unit_at_each_place(day: str) -> None:
    shown = sorted(visit.get("data-unit", "") for visit in visits(drawn(day)))
    assert shown == sorted(visit.unit for place in scene(day).places for visit in place.visits)
    if day not in ("under way", "does not fit"):
        served = scene(day).typical.finish
        at_stations = {visit.unit for place in scene(day).stations for visit in place.visits}
        assert set(served) <= at_stations


@every_day
def test_bars_of_one_row_never_overlap_and_lie_where_their_times_are(day: str) -> None:
    scale = Scale(scene(day), busy=True)
    rows: dict[float, list[tuple[float, float]]] = {}
    found = [visit for place in scene(day).places for visit in place.visits]
    for bar, visit in zip(visits(drawn(day)), found, strict=True):
        first, *_, last = [*parts(bar), *parts(bar)]
        assert (first[0], last[1]) == pytest.approx((scale.x(visit.start), scale.x(visit.end)), abs=0.2)
        assert all(b[0] == pytest.approx(a[1], abs=0.2) for a, b in pairwise(parts(bar)))
        assert LEFT <= first[0] <= last[1] <= LEFT + PLOT
        assert {kind for *_, kind in parts(bar)} <= FILLS
        rows.setdefault(first[2], []).append((first[0], last[1]))
    for row in rows.values():
        assert all(a[1] <= b[0] + 0.2 for a, b in pairwise(sorted(row)))


@every_day
def test_each_bar_says_who_it_is_and_what_is_done(day: str) -> None:
    for bar in visits(drawn(day)):
        serial = bar.get("data-unit", "")
        title, label = bar.find(f"{SVG}title"), bar.find(f"{SVG}text")
        assert title is not None
        assert label is not None
        assert (title.text or "").startswith(f"{serial}, {scene(day).model_of(serial)}")
        assert re.search(r": \d\d:\d\d to \d\d:\d\d; .+ min", title.text or "")
        # As much as there is room for: at the least the end of the serial.
        shown = (label.text or "").split(" ")[0].lstrip("…")
        first, *_, last = [*parts(bar), *parts(bar)]
        assert shown or last[1] - first[0] < 12
        assert serial.endswith(shown)


@every_day
def test_everything_lies_within_the_picture(day: str) -> None:
    root = drawn(day)
    _, _, width, height = (float(number) for number in root.get("viewBox", "").split())
    assert (root.get("width"), root.get("height")) == (f"{width:.0f}", f"{height:.0f}")
    for element in root.iter(f"{SVG}text"):
        x, long = float(element.get("x", "")), wide(element.text or "", 20 if element.get("class") == "head" else 12)
        left = x - {"end": 1.0, "middle": 0.5}.get(element.get("text-anchor", ""), 0.0) * long
        # Widths are reckoned, rather too great than too small.
        assert left >= -8
        assert left + long <= width + 16, element.text
        assert 0 < float(element.get("y", "")) <= height
    for rect in root.iter(f"{SVG}rect"):
        if rect.get("width") != "100%" and rect.get("x") is not None:
            x, y, w, h = (float(rect.get(name, "")) for name in ("x", "y", "width", "height"))
            assert (x >= 0, x + w <= width, y >= 0, y + h <= height) == (True,) * 4


@every_day
def test_it_holds_no_script_and_names_nothing_outside(day: str) -> None:
    picture = forecast_picture(scene(day))
    assert set(re.findall(r"https?://[^\s\"<]+", picture)) == {"http://www.w3.org/2000/svg"}
    assert {element.tag.removeprefix(SVG) for element in drawn(day).iter()} <= {
        *("svg", "title", "desc", "metadata", "style", "rect", "line", "path", "circle", "text", "g")
    }
    assert "@import" not in picture
    # Pattern fills become heavy bitmaps in print.
    assert "url(" not in picture


@every_day
def test_every_station_crew_and_pool_is_named(day: str) -> None:
    told, root = scene(day), drawn(day)
    for place in told.places:
        assert fitted_name(place.name, LEFT - 20) in texts(root)
    for crew in told.crews:
        assert fitted_name(crew.title, LEFT - 14) in texts(root)
    if day == "nobody":
        assert "There is no unit to be served." in (root.findtext(f"{SVG}desc") or "")
        return
    pools = [group.get("data-pool") for group in root.iter(f"{SVG}g") if group.get("class") == "pool"]
    assert pools == [pool.name for pool in told.outcomes.pools]
    scarce = [g for g in root.iter(f"{SVG}g") if "bottleneck" in [t.text for t in g.iter(f"{SVG}text")]]
    found = told.told.bottleneck
    assert [group.get("data-pool") for group in scarce] == ([found.pool] if found is not None else [])


def test_hours_closing_and_breaks_are_told_in_words() -> None:
    words = texts(drawn("60"))
    for said in ("08:00", "17:00", "closes 17:00"):
        assert said in words
    assert words.count("break") == 2
    assert "SIMULATED" in words


def test_a_day_that_is_done_early_is_drawn_to_its_own_end() -> None:
    told = scene("20")
    assert told.busy_from_to[1] < told.from_to[1]
    assert "closes 17:00, beyond this edge" in texts(drawn("20"))


def test_who_is_not_begun_stands_below_the_stations() -> None:
    told, words = scene("does not fit"), " ".join(texts(drawn("does not fit")))
    assert told.typical.not_begun
    assert f"Not begun before closing in this day: {len(told.typical.not_begun)} units: " in words
    assert all(unit in words for unit in told.typical.not_begun)
    assert "at risk" in texts(drawn("does not fit"))


def test_the_ends_of_50_80_and_95_of_100_days_are_marked() -> None:
    told, words = scene("20"), texts(drawn("20"))
    for share in (50, 80, 95):
        end = told.ends.quantile(share / 100)
        assert end is not None
        assert any(re.search(rf"\bP{share}\b.* {told.clock(end)}$", word) for word in words)
    columns = [r for r in drawn("20").iter(f"{SVG}rect") if r.get("class") == "days"]
    days = [int((r.findtext(f"{SVG}title") or "").split(": ")[1].split(" ")[0]) for r in columns]
    assert sum(days) == told.outcomes.replications


def test_the_curve_and_the_words_say_the_same_chance() -> None:
    told = scene("does not fit")
    (closing,) = [by.share for by in told.told.by if by.closing]
    assert told.close is not None
    assert told.done.share_by(told.close) == closing < 1


def test_a_day_under_way_begins_now_and_units_stand_where_they_are() -> None:
    told, words = live_scene(75), texts(drawn("under way"))
    assert "now 09:15" in words
    assert any(word.startswith("Forecast, 2026-06-16, as it stood at 09:15") for word in words)
    begun = {visit.unit: place.name for place in told.stations for visit in place.visits if visit.start == 0}
    assert len(begun) == len(told.stations)


def test_equal_seeds_draw_the_same() -> None:
    assert forecast_picture(live_scene(30)) == forecast_picture(live_scene(30))


def luminance(colour: str) -> float:
    """Return the relative luminance of a colour (WCAG 2.2)."""
    colour = colour if len(colour) == 7 else "#" + "".join(2 * digit for digit in colour[1:])
    channels = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return sum(weight * c for weight, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one: float, other: float) -> float:
    """Return the contrast of two luminances (WCAG 2.2)."""
    low, high = sorted((one, other))
    return (high + 0.05) / (low + 0.05)


def test_kinds_of_parts_are_told_apart_without_colour() -> None:
    style = drawn("3").findtext(f"{SVG}style") or ""
    found = (re.search(rf"\.({kind}){{fill:(#\w+);([^}}]*)}}", style) for kind in sorted(FILLS))
    fills = {m[1]: (luminance(m[2]), m[3]) for m in found if m is not None}
    assert set(fills) == FILLS
    assert all("stroke:#000" in outline for _, outline in fills.values())
    # Lines tell three kinds, an outline that is broken the one that is empty; the others differ by their grey: 3 to 1.
    lined = {kind: HATCHES[kind] for kind in ("hands", "verify", "charge")}
    assert len(set(lined.values())) == 3
    assert "stroke-dasharray" in fills["wait"][1]
    assert contrast(fills["write"][0], fills["prepare"][0]) >= 3
    # Lines are black: they are seen on their ground.
    assert all(contrast(fills[kind][0], 0.0) >= 4.5 for kind in lined)


def test_lines_stay_within_their_area() -> None:
    for direction in "-|/\\":
        drawn_lines = list(lines(direction, 5.0, 10.0, 20.0, 43.0, 38.0))
        assert len(drawn_lines) >= 3
        for x1, y1, x2, y2 in drawn_lines:
            assert 10 <= min(x1, x2) <= max(x1, x2) <= 43
            assert 20 <= min(y1, y2) <= max(y1, y2) <= 38
    assert contrast(luminance("#0072b2"), 1.0) == pytest.approx(5.19, abs=0.01)


def test_each_stage_has_its_kind() -> None:
    assert {*KINDS.values(), "prepare", "wait"} == FILLS


def test_a_name_is_cut_to_its_room() -> None:
    assert fitted("Workbench", 500) == "Workbench"
    assert wide(fitted("Workbench by the window", 60)) <= 60
    assert fitted("W", 1) == ""
    cut = fitted_name("Workbench by the window 12", 90)
    assert (cut[0], cut[-2:]) == ("W", "12")
    assert wide(cut) <= 90
    assert wide("測位") > wide("ab")


def page(day: str) -> str:
    """Return a day's page."""
    more = More("What would help most", ("change", "in 80 %"), (("one more <cable>", "12 min earlier"),), "no more")
    return forecast_page(scene(day), ["durations by the playbooks & nothing else"], [more])


@every_day
def test_the_page_tells_everything_in_words_too(day: str) -> None:
    told, text = scene(day), html.unescape(page(day))
    assert text.startswith('<!DOCTYPE html>\n<html lang="en-GB">')
    assert f"<title>Forecast of {told.day}, {told.date}</title>" in text
    for words in ("End of the day", "What would help most", "What this supposes", "one more <cable>", "& nothing else"):
        assert words in text
    for crew in told.crews:
        assert f'<th scope="row">{crew.title}</th>' in text
    for unit in told.told.units:
        assert f'<th scope="row">{unit.serial}</th>' in text
    for out in told.told.cannot:
        assert out.reason in text
    assert ("SIMULATED" in text) is told.simulated
    assert text.count("AT RISK") == sum(crew.at_risk for crew in told.crews)


@every_day
def test_the_page_is_one_file(day: str) -> None:
    text = page(day)
    assert "one more &lt;cable&gt;" in text
    assert set(re.findall(r"https?://[^\s\"<]+", text)) == {"http://www.w3.org/2000/svg"}
    assert not re.search(r"<(script|link|img|iframe)\b|\bon\w+=", text)
    ids = re.findall(r' id="([^"]+)"', text)
    assert len(ids) == len(set(ids))


@every_day
@pytest.mark.parametrize("columns", [60, 80, 133, 200])
@pytest.mark.parametrize("signs", [Shades(), LETTERS], ids=["blocks", "letters"])
def test_bars_fit_their_columns(day: str, columns: int, signs: Shades) -> None:
    lines = list(bars(scene(day), columns, signs))
    assert max(get_cwidth(line) for line in lines) <= columns
    if signs is LETTERS and day != "long names":
        assert "\n".join(lines).isascii()


def column_lines(told: Scene, columns: int) -> list[tuple[str, str]]:
    """Return the two lines of each place, without its name."""
    lines = list(bars(told, columns, LETTERS))[3 : 3 + 2 * len(told.places)]
    rows = [line.split("|", 1)[1] for line in lines]
    return list(zip(rows[::2], rows[1::2], strict=True))


@pytest.mark.parametrize("day", ["3", "20"])
def test_bars_tell_each_unit_at_its_place(day: str) -> None:
    told = scene(day)
    for place, (names, strip) in zip(told.places, column_lines(told, 200), strict=True):
        shown = [name for name in names.replace("/", " ").split("|") if name.strip()]
        assert len(shown) == len(place.visits)
        for name, visit in zip(shown, place.visits, strict=True):
            assert visit.unit.endswith(name.split()[0])
        assert set(strip) <= set("hiWvc./ ")
        assert ("W" in strip) is bool(place.visits)


def test_bars_count_who_comes() -> None:
    line = next(line for line in bars(scene("60"), 120, LETTERS) if line.startswith("come"))
    assert sum(int(sign) for sign in line if sign.isdigit()) == len(scene("60").typical.came)


def test_bars_name_who_is_not_begun() -> None:
    told = scene("does not fit")
    text = "\n".join(bars(told, 80, Shades()))
    assert "not begun in this day: " in text
    assert all(unit in text for unit in told.typical.not_begun)


@pytest.mark.parametrize(
    ("encoding", "signs"), [("utf-8", Shades()), ("ascii", LETTERS), ("cp850", LETTERS), ("UTF-8", Shades())]
)
def test_letters_stand_in_where_blocks_cannot_be_shown(encoding: str, signs: Shades) -> None:
    assert shades(encoding) == signs


def asked(folder: Path | None, **more: Any) -> Asked:
    """Ask for a forecast of few days."""
    facts: dict[str, Any] = {"model": None, "durations": None, "emit": None, "by": (), "replications": 40}
    return Asked(**(facts | {"folder": folder, "seed": None, "record": None, "as_json": False} | more))


def test_the_command_writes_picture_and_page(day: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    svg, page = tmp_path / "day.svg", tmp_path / "day.html"
    assert forecast(asked(day, svg=svg, html=page)) == 0
    told = capsys.readouterr().out
    assert "Stations over time, in a typical day" in told
    assert f"The picture is in {svg}." in told
    assert f"The page is in {page}." in told
    first = svg.read_text(encoding="utf-8"), page.read_text(encoding="utf-8")
    assert forecast(asked(day, svg=svg, html=page, as_json=True)) == 0
    assert (svg.read_text(encoding="utf-8"), page.read_text(encoding="utf-8")) == first
    said = json.loads(capsys.readouterr().out)["day"]
    assert (said["svg"], said["html"]) == (str(svg), str(page))
    assert "What would help most: how much earlier everything is done" in page.read_text(encoding="utf-8")


@pytest.mark.parametrize(("option", "what"), [("svg", "picture"), ("html", "page")])
def test_nothing_else_is_written_over(
    option: str, what: str, day: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    kept = tmp_path / "kept"
    kept.write_text("<svg/>", encoding="utf-8")
    assert status_of(lambda: forecast(asked(day, **{option: kept}))) == 2
    said = capsys.readouterr().err
    assert f"--{option} {kept}: this file was there before and is no {what} of this command" in said
    assert kept.read_text(encoding="utf-8") == "<svg/>"
    assert status_of(lambda: forecast(asked(day, **{option: tmp_path / "nowhere" / "x"}))) == 2
    assert f"name another file with --{option} FILE" in capsys.readouterr().err


def test_a_model_from_a_file_has_no_picture(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert status_of(lambda: forecast(asked(None, model=tmp_path / "m.json", svg=tmp_path / "x.svg"))) == 2
    assert "--svg belongs to a day's folder" in capsys.readouterr().err
