"""The page that is printed before a day: what to lay out, who comes, and a check-in slip for each crew."""

from __future__ import annotations

from collections.abc import Iterable

from benchday.cli.layout_style import SIMULATED_STYLE, STYLE
from benchday.cli.markup import Element, add, after, page, row, scannable, table, written
from benchday.domain.bench import Instruments
from benchday.domain.checks import Answer
from benchday.domain.plan import DayPlan
from benchday.planning.disk_room import Room, expectation
from benchday.planning.layout import Layout
from benchday.planning.slips import Slip, SlipUnit
from benchday.planning.wording import counted, in_bytes, listed

MADE_BY = "benchday layout"
"""By this the page is known for ours when it is written anew."""
NONE = "-"
"""Stands in a cell where there is nothing to say."""
WORDS = {Answer.STOP: "STOP", Answer.ASK: "ASK", Answer.CLEAR: "clear"}
CONSENTS = ("a new release", "recordings are erased", "copies are kept")
"""What the owner is asked for each unit, as at check-in; how long copies are kept comes last."""


def layout_page(plan: DayPlan, layout: Layout) -> str:
    """Return the page as HTML."""
    simulated = plan.day.instruments is Instruments.SIMULATED
    style = STYLE + (SIMULATED_STYLE if simulated else "")
    root, body = page(f"{_day(plan)}: to lay out", style, made_by=MADE_BY)
    main = add(body, "main")
    _to_lay_out(_sheet(main, plan, "To lay out", simulated=simulated), layout)
    _who_comes(_sheet(main, plan, "Who comes", simulated=simulated), layout)
    for slip in layout.slips:
        _slip(_sheet(main, plan, slip.title, simulated=simulated), slip)
    return written(root)


def _day(plan: DayPlan) -> str:
    return f"{plan.day.day}, {plan.hours.date}"


def _sheet(main: Element, plan: DayPlan, title: str, *, simulated: bool) -> Element:
    """Begin a sheet of paper: its head, with the word SIMULATED where nothing is real."""
    sheet = add(main, "section")
    if simulated:
        add(sheet, "p", "SIMULATED", kind="simulated")
    add(sheet, "h1", title)
    hours = f"{plan.hours.opens} to {plan.hours.closes}"
    add(sheet, "p", f"{_day(plan)}, {hours}; {plan.bench.name}", kind="day")
    return sheet


def _to_lay_out(sheet: Element, layout: Layout) -> None:
    _findings(sheet, layout)
    _things(sheet, layout)
    add(sheet, "h2", "Room on the record's disk")
    add(sheet, "p", _room(layout.room))
    _images(sheet, layout)


def _findings(sheet: Element, layout: Layout) -> None:
    open_ = [f for f in layout.findings if f.answer is not Answer.CLEAR]
    add(sheet, "h2", "Before the day")
    if not open_:
        add(sheet, "p", "Nothing stands against the day as it is planned.")
        return
    listing = add(sheet, "ul", kind="findings")
    for finding in sorted(open_, key=lambda f: f.answer is not Answer.STOP):
        line = add(listing, "li")
        after(add(line, "strong", WORDS[finding.answer]), f" ({finding.check.value}): {finding.text}.")


def _things(sheet: Element, layout: Layout) -> None:
    heads = ("what", "useful at once", "there", "short", "which", "for")
    body = table(sheet, "On the bench", heads, "things")
    for thing in layout.joinings:
        there, short = str(len(thing.owned)), str(thing.short or "none")
        what = f"{thing.one[:1].upper()}{thing.one[1:]}"
        row(body, what, str(thing.at_once), there, short, ", ".join(thing.owned) or "none", _units(thing.units))
    charging = layout.charging
    owned = charging.owned
    row(body, "Charger", NONE, str(len(owned)), NONE, ", ".join(owned) or "none", _units(charging.units))
    for spares in layout.spares:
        packs = [f"{pack.number} ({pack.charge_percent} %)" for pack in spares.packs]
        which = ", ".join(packs) or "none"
        row(body, f"Charged pack, {spares.model}", NONE, str(len(packs)), NONE, which, _units(spares.units))
    for supply in layout.external:
        what, useful = f"External supply, {supply.model}", str(supply.at_once)
        row(body, what, useful, "count", NONE, NONE, _units(supply.units))
    if layout.by_hand:
        add(sheet, "p", f"By hand, with neither cable nor adapter: {listed(layout.by_hand)}.")


def _units(serials: Iterable[str]) -> str:
    return counted(len(list(serials)), "unit")


def _images(sheet: Element, layout: Layout) -> None:
    total = f"Images: {len(layout.images)}, {in_bytes(layout.images_bytes)} together"
    body = table(sheet, total, ("file, release, SHA-256", "bytes", "for"), "images")
    if any(need.perhaps for need in layout.images):
        text = "Perhaps: units whose release now is not known must pass through it if they come on an old one."
        add(sheet, "p", text)
    for need in layout.images:
        image = need.image
        perhaps = f"perhaps {len(need.perhaps)}" if need.perhaps else ""
        uses = "; ".join(part for part in (_units(need.units) if need.units else "", perhaps) if part)
        head, *_ = row(body, f"{image.file}, release {image.release}", f"{image.bytes:,}", uses)
        add(head, "span", image.sha256, kind="digest")


def _room(room: Room) -> str:
    free = "could not be read" if room.free_bytes is None else in_bytes(room.free_bytes)
    told = expectation(room)
    return f"Free: {free}. Must stay free: {in_bytes(room.spare_bytes)}. {told[:1].upper()}{told[1:]}."


def _who_comes(sheet: Element, layout: Layout) -> None:
    add(sheet, "p", "For the shop: contacts and notes are personal data and stand on no slip.")
    body = table(sheet, "Crews, who comes first in front", ("crew", "expected", "units", "contact and notes"), "crews")
    for slip in layout.slips:
        *_, units, words = row(body, slip.title, slip.arrives or "not known", "", "")
        for unit in slip.units:
            promised = f", promised {unit.promised}" if unit.promised else ""
            add(units, "div", f"{unit.serial} {unit.model}{promised}")
        for text in (*slip.contacts, *slip.notes):
            add(words, "div", text)


def _slip(sheet: Element, slip: Slip) -> None:
    for unit in slip.units:
        _unit(sheet, slip, unit)
    _consents(sheet, slip)
    for caution in slip.cautions:
        line = add(sheet, "p", kind="caution")
        after(add(line, "strong", f"Caution, {caution.name}:"), f" {caution.text}")
    signing = add(sheet, "div", kind="signing")
    for label in ("Brought by", "Signature", "Checked in by", "Date and time"):
        _to_write(signing, label)
    text = "The code stands for this paper: what is confirmed at a station is read off the unit's own label."
    add(sheet, "p", text, kind="small")


def _unit(sheet: Element, slip: Slip, unit: SlipUnit) -> None:
    block = add(sheet, "article")
    if unit.code is not None:
        scannable(block, unit.code, f"code of unit {unit.serial}")
    role = f", {unit.role.value}" if unit.role.value != "none" else ""
    after(add(add(block, "h2"), "span", unit.serial, kind="serial"), f" {unit.model}{role}")
    expected = f"expected {unit.arrives or 'at no known time'}, promised {unit.promised or 'for no time'}"
    add(block, "p", f"{slip.title}; {unit.customer}; {expected}" if slip.crew else f"{unit.customer}; {expected}")
    add(block, "p", unit.target)
    for text in unit.to_ask:
        after(add(add(block, "p"), "strong", "ASK"), f": {text}.")
    counting = add(block, "p", kind="count")
    _box(counting, "its label says this serial")
    if unit.accessories:
        after(add(counting, "span", "Came with it:"), " ")
    for accessory in unit.accessories:
        _box(counting, accessory)
    writing = add(block, "div", kind="writing")
    _to_write(writing, "Charge shown, %")
    _to_write(writing, "Condition")


def _consents(sheet: Element, slip: Slip) -> None:
    body = table(sheet, "The owner agrees to", ("unit", *CONSENTS, "kept for"), "consents")
    for unit in slip.units:
        _, *answers, days = row(body, unit.serial, *("" for _ in CONSENTS), "")
        for cell in answers:
            _box(cell, "yes")
            _box(cell, "no")
        _to_write(days, "days")


def _box(parent: Element, label: str) -> None:
    """Add a box to tick, with its label."""
    pair = add(parent, "span", kind="tick")
    after(add(pair, "span", kind="box", aria_hidden="true"), f" {label}")
    after(pair, " ")


def _to_write(parent: Element, label: str) -> None:
    """Add a line to write on, with what belongs there."""
    pair = add(parent, "span", kind="fill")
    add(pair, "span", label, kind="label")
    add(pair, "span", kind="line", aria_hidden="true")
