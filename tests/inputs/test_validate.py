"""The validate command's document and report."""

from __future__ import annotations

import json
from pathlib import Path

from benchday.inputs.day import read_day
from benchday.inputs.validate import report, validate
from tests.inputs.conftest import Spoil


def test_the_document_of_a_right_day(day: Path) -> None:
    told = json.loads(json.dumps(validate(day)))

    assert next(iter(told)) == "benchday"
    assert told["benchday"] == "validate/1"
    assert told["mistakes"] == []
    assert len(told["digests"]["day.yaml"]) == 64


def test_the_document_of_a_spoilt_day(day: Path, spoil: Spoil) -> None:
    spoil("day.yaml", "instruments: simulated", "instruments: simulatd")

    assert validate(day)["mistakes"] == [
        {
            "file": "day.yaml",
            "line": 15,
            "column": 14,
            "expected": "one of real or simulated",
            "found": "simulatd",
            "nearest": "simulated",
        }
    ]


def test_the_report(day: Path, spoil: Spoil) -> None:
    note = "note: images/images.yaml: the image list is not signed (no image_keys in bench.yaml)"
    assert report(read_day(day)).splitlines() == [note, "no mistakes: 19 units expected, 8 playbooks, 19 images"]

    spoil("day.yaml", "instruments: simulated", "instruments: simulatd")
    assert report(read_day(day)).splitlines() == [
        "day.yaml:15:14: expected one of real or simulated, found simulatd (did you mean simulated?)",
        "1 mistake; nothing was begun. Put this right and run it again.",
    ]
