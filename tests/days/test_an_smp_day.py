"""A day with one unit that speaks SMP, whose cable is pulled in the middle of the write."""

from __future__ import annotations

import hashlib
from pathlib import Path

from benchday.inputs.sample import write_sample
from benchday_simulators.images import build_image
from tests.days.finished import DemoProcess
from tests.devices.slot_images import slot_image
from tests.simulators.stranger import SERIAL

SCENARIO = f"""\
scenario: wherry
seed: 1
units:
  - shows: a unit that speaks SMP, whose cable is pulled in the middle of the write
    serial: "{SERIAL}"
    model: Wherry
    customer: Saltmere Levels Drainage Trust
    contact: "Maren Oakhurst, 0555 0101"
    crew: Avocet
    role: rover
    arrives: "08:00"
    promised: "12:00"
    support_until: "2027-04-30"
    brought_in: {{brought_by: Maren Oakhurst}}
    starts: {{release: "1.3.1", hardware: B, term: "2027-04-30", charge_percent: 83, recordings: [62000, 48000]}}
trouble:
  - {{unit: "{SERIAL}", when: image, what: cable out, percent: 50, seconds: 1}}
"""
LISTED = """\
sequence: 1
images:
  - file: wherry-1.4.0.img
    release: "1.4.0"
    issued: "2026-02-02"
    sha256: "{sha256}"
    bytes: {size}
    models: [Wherry]
    source: built for this test
    approved_by: Ines Halloran
"""


def day_of_one_wherry(folder: Path, image: bytes) -> None:
    """Make a sample day of which one unit is left, and that a Wherry."""
    write_sample(folder, 1, build_image=build_image, units=1)
    for file in (folder / "images").glob("*.fen"):
        file.unlink()
    (folder / "images" / "wherry-1.4.0.img").write_bytes(image)
    listed = LISTED.format(sha256=hashlib.sha256(image).hexdigest(), size=len(image))
    (folder / "images" / "images.yaml").write_text(listed, encoding="utf-8")
    (folder / "demo.yaml").write_text(SCENARIO, encoding="utf-8")
    roster = folder / "roster.csv"
    roster.write_text(roster.read_text(encoding="utf-8").replace("Millrace", "Wherry"), encoding="utf-8")


def test_it_is_written_confirmed_and_handed_back(tmp_path: Path) -> None:
    """Interrupted, identified anew, permitted anew, resumed; and it stays on the new release."""
    image, digest = slot_image("1.4.0", 200_000)
    day_of_one_wherry(tmp_path / "day", image)
    day = DemoProcess.begun(tmp_path / "day", 1, 1, 400).finished(120)
    kinds = [
        line["what"] for line in day.log(SERIAL) if line["what"] in ("image_begin", "image_end", "erased", "marked")
    ]
    assert kinds == ["image_begin", "erased", "image_end", "marked"]
    assert len(day.of("permit_given", SERIAL)) == 2
    state = day.state(SERIAL)
    assert (state["release"], state["slots"]["running_hash"], state["slots"]["confirmed"]) == (
        "1.4.0",
        digest.hex(),
        True,
    )
    for lost in day.log(SERIAL, "erased")[0]["recordings"]:
        assert day.archived(lost["sha256"])
    assert day.report["units"][0]["outcome"] == "handed-back"
