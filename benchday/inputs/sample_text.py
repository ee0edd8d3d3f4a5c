"""The sample day's files as text, commented for the technician who will change them."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from benchday.domain.scenario import Coming, ScenarioUnit
from benchday.inputs.roster_csv import COLUMNS

DATE = "2026-06-16"


def schema_line(name: str) -> str:
    """Return the first line of a file, by which an editor finds the JSON Schema."""
    return f"# yaml-language-server: $schema=schemas/{name}.json\n"


DAY = (
    schema_line("day")
    + f"""\
# The day: when, where the image store and the playbooks are, how it is run.
# Dates, times and versions stand in quotes. `benchday validate .` says what is wrong, all at once.

day: Summer service day of Saltmere Levels Drainage Trust

# One line for each date. No write begins that would not be verified before closing.
hours:
  - {{date: "{DATE}", opens: "08:00", closes: "17:00"}}

# Name from the IANA time zone database.
time_zone: Europe/London

# real or simulated. A day of simulated instruments never mixes with a real record.
instruments: simulated

policy:
  first_off: true        # the first unit of each model and release is verified before a second is begun
  permit_minutes: 10     # how long a confirmation holds

image_store: images      # folder with the images and images.yaml
playbooks: shipped       # or a folder with playbooks of your own

# pins: a crew or a unit that must not change its release, or must have a certain one, until a day.
#   - {{crew: Godwit, release: "2.9", reason: a survey that must not change release, until: "2026-09-30",
#      decided_by: Ines Halloran}}

# A supplier's list of support terms: a CSV file with the columns serial and support_until, or a url to fetch it from.
support_terms: {{supplier: Quillfen service desk, file: terms.csv}}

record: record           # folder of the record; leave the line out to use the bench's own record over all days
"""
)

BENCH = (
    schema_line("bench")
    + """\
# The bench: places, cables, people. What is scarce here decides how long the day takes.

bench: saltmere-1        # short name of this bench in the record
name: Saltmere workshop

# A station is a place at which one unit is served.
stations:
  - name: S1
  - name: S2
  - name: S3
  - name: S4
  - name: S5

# number: what is written on the cable. port: where it appears on the bench PC, needed for real instruments only
# (like usb:0403:6001:A10K2F, usb-path:1-1.2 or COM7, or socket://host:port for a serial line over the network);
# `benchday ports` says what is plugged in and how to write it.
cables:
  - {connector: round, number: R1}
  - {connector: round, number: R2}     # there is no third: the round ones are what the day waits for
  - {connector: usb, number: U1}
  - {connector: usb, number: U2}
  - {connector: six-pin, number: X1}   # for total stations

# Wi-Fi adapters: each joins one unit's own network at a time.
adapters:
  - name: W1

chargers:
  - name: C1
  - name: C2

# Charged packs of the shop that can be fitted instead of charging.
packs:
  - {number: P1, fits: [Millrace], charge_percent: 96}
  - {number: P2, fits: [Millrace], charge_percent: 91}
  - {number: P3, fits: [Tiller], charge_percent: 88}

# may: check in, preserve, confirm, last look. Only who may confirm can let a write begin.
operators:
  - name: Ines Halloran
    may: [check in, preserve, confirm, last look]
  - name: Tobias Wren
    may: [check in, preserve, last look]

# The known mark beside the bench: what a receiver reports is compared with it, for plausibility alone.
# height: above the ellipsoid; antenna_height_mm: from the mark up to the antennas.
# uncertainty_mm: how far off it may be, with whatever its frame and epoch are away from what receivers give.
mark:
  name: mark on the yard wall
  latitude: "12.5761300"
  longitude: "-23.7613150"
  height: "89.0"
  frame: WGS 84
  epoch: "2026.0"
  antenna_height_mm: 0
  source: invented with the simulated instruments
  uncertainty_mm: 20

# In a break nothing begins that needs hands; what runs goes on.
breaks:
  - {from: "10:30", to: "10:45"}
  - {from: "12:30", to: "13:15"}
"""
)

IMAGES_HEAD = (
    schema_line("images").replace("schemas/", "../schemas/")
    + """\
# The images in this folder; `benchday images add` puts one in. Size and digest are of the
# bytes of the file; `benchday validate` reads each file and compares.
#
#   enter_from   oldest release from which it may be entered directly
#   through      releases that a unit below them must pass through first: stepping stones
#   back_to      oldest release to which a unit on this one may return; left out: no way back
sequence: 1              # number of this list; it rises with every change and is no release
images:
"""
)

SCENARIO_HEAD = (
    schema_line("scenario")
    + """\
# What the simulated instruments start with, and what the people of this sample day do. A real day has no such file.
"""
)


TERMS_AS_OF = "2026-06-08"
"""Day of the supplier's list."""
SUPPLIED_MODELS = ("Millrace", "Osier")
"""Models of the supplier whose list of support terms the sample day has."""


def terms_text(units: Iterable[ScenarioUnit]) -> str:
    """Return the supplier's list: what the units themselves tell, as far as they are the supplier's."""
    rows = [(u.serial, u.starts.term) for u in units if u.model in SUPPLIED_MODELS and u.starts.term]
    return _csv_text(("serial", "support_until"), rows)


def units_text(units: Iterable[ScenarioUnit]) -> str:
    """Return what the shop knew of the units before this day, as a list that ``benchday units --import`` reads."""
    known = [u for u in units if u.coming is not Coming.WALKS_IN]
    serviced = [f"2025-{6 + number % 6:02}-{3 + number:02}" for number, _ in enumerate(known)]
    return _csv_text(
        ("serial", "model", "customer", "crew", "role", "release", "serviced"),
        (
            (u.serial, u.model, u.customer, u.crew, u.role.value, u.starts.release or "", day)
            for u, day in zip(known, serviced, strict=True)
        ),
    )


def roster_text(units: Iterable[ScenarioUnit]) -> str:
    """Return roster.csv for the units that are expected."""
    expected = [u for u in units if u.coming is not Coming.WALKS_IN]
    whose = [(u.serial, u.model, u.customer, u.contact, u.crew, u.role.value) for u in expected]
    when = [(u.arrives, u.promised, u.support_until, u.note) for u in expected]
    return _csv_text(COLUMNS, [(*of, *at) for of, at in zip(whose, when, strict=True)])


def _csv_text(head: Sequence[str], rows: Iterable[Sequence[str | None]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    writer.writerows(rows)
    return out.getvalue()
