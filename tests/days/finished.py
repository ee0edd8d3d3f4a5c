"""A day that has ended, read as an outsider would: the table, the archive, the instruments' own logs."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, NamedTuple

from benchday.inputs.sample import read_scenario

ROOT = Path(__file__).parents[2]
TABLE = "SELECT seq, at_us, wall_us, kind, unit, station, operator, body, prev, digest FROM entry ORDER BY seq"


class Row(NamedTuple):
    """One row of the table, with its facts read from the body."""

    seq: int
    at_us: int
    wall_us: int
    kind: str
    unit: str | None
    station: str | None
    operator: str | None
    body: bytes
    prev: bytes
    digest: bytes
    facts: Mapping[str, Any]


class Asked(NamedTuple):
    """An item and its answer."""

    item: Mapping[str, Any]
    asked: Row
    answered: Row


class FinishedDay:
    """What a day left behind."""

    def __init__(self, folder: Path, report: Mapping[str, Any]) -> None:
        self.folder, self.report = folder, report
        self.scenario = read_scenario(folder)
        self.units: dict[str, Mapping[str, Any]] = {u["serial"]: u for u in report["units"]}

    @property
    def record(self) -> Path:
        """The record's folder."""
        return self.folder / "record"

    @cached_property
    def rows(self) -> tuple[Row, ...]:
        """Every row of the table, in order."""
        with sqlite3.connect(f"file:{self.record / 'journal.db'}?mode=ro", uri=True) as database:
            found = database.execute(TABLE).fetchall()
        database.close()
        return tuple(Row._make((*row, json.loads(row[7])["facts"])) for row in found)

    def of(self, kind: str, unit: str | None = None) -> list[Row]:
        """Return the rows of a kind, all or of one unit."""
        return [r for r in self.rows if r.kind == kind and (unit is None or r.unit == unit)]

    @cached_property
    def asked(self) -> tuple[Asked, ...]:
        """Every item that was answered."""
        items = {r.facts["item"]["id"]: r for r in self.of("item_asked")}
        return tuple(
            Asked(items[r.facts["id"]].facts["item"], items[r.facts["id"]], r) for r in self.of("item_answered")
        )

    def log(self, serial: str, *kinds: str) -> list[dict[str, Any]]:
        """Return what an instrument wrote down itself."""
        path = self.folder / "instruments" / serial / "log.jsonl"
        lines = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()] if path.exists() else []
        return [line for line in lines if not kinds or line["what"] in kinds]

    def state(self, serial: str) -> dict[str, Any]:
        """Return an instrument's state as its process last wrote it."""
        told: dict[str, Any] = json.loads(
            (self.folder / "instruments" / serial / "state.json").read_text(encoding="utf-8")
        )
        return told

    def erased(self, serial: str) -> Iterator[Mapping[str, Any]]:
        """Yield the recordings that an instrument says were erased."""
        for line in self.log(serial, "erased"):
            yield from line["recordings"]

    def archived(self, sha256: str) -> bool:
        """Tell whether the archive holds a whole file of this digest."""
        path = self.record / "archive" / sha256[:2] / sha256
        return path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() == sha256

    def outlines(self) -> dict[str, Any]:
        """Return what equal seeds make equal: decisions, findings that are not about time, targets, outcomes."""
        return {serial: _outline(unit) | {"answers": self._answers(serial)} for serial, unit in self.units.items()}

    def _answers(self, serial: str) -> list[tuple[str, str]]:
        """Return what people answered about a unit; nonces, folders, times and charges differ from day to day.

        How often somebody has to see to a plug before a unit is heard, and how far its battery ran down while it
        waited, depend on the computer's load, and decide nothing but whether it gets another pack.
        """
        skipped = ("hand:prove", "hand:fetch", "hand:power", "charged", "fit pack", "silence")
        own = [a for a in self.asked if a.item["unit"] == serial and a.item["topic"] not in skipped]
        return sorted((a.item["topic"], _without_references(a.answered.facts["value"])) for a in own)


_TIMED = ("closing", "power", "room", "bench pc", "first off")
"""Checks whose figures follow from the time, the charge, the computer, or from who came first."""


def _outline(unit: Mapping[str, Any]) -> dict[str, Any]:
    same = ("reported_serial", "model", "crew", "had", "has", "target", "route", "writes", "permits", "outcome")
    told = {name: unit[name] for name in same} | {"preserved": unit["preserved"], "reason": unit["reason"]}
    told["findings"] = [(f["check"], f["answer"], "" if f["check"] in _TIMED else f["text"]) for f in unit["findings"]]
    return told


def _without_references(value: Mapping[str, Any]) -> str:
    """Return an answer as text, without the random references to personal data."""
    kept = {n: v for n, v in value.items() if not (isinstance(v, str) and len(v) > 90 and ":" in v)}
    return json.dumps(kept, sort_keys=True)


@dataclass(frozen=True)
class DemoProcess:
    """A demo that runs in a process of its own; what it prints and how it ends is in files beside its folder.

    So whoever did not begin it, another processor's tests, can wait for its end too.
    """

    folder: Path
    process: subprocess.Popen[bytes] | None = None
    """None where somebody else began it."""

    @classmethod
    def begun(cls, folder: Path, units: int, seed: int, speed: int, *more: str) -> DemoProcess:
        """Begin a demo day as a person would, by the command."""
        command = [sys.executable, "-W", "error", "-m", "benchday.cli.main", "demo", str(folder), "--json"]
        command += ["--units", str(units), "--seed", str(seed), "--speed", str(speed), *more]
        cls(folder)._beside("ended").unlink(missing_ok=True)
        script = '"$@" >"$0.out" 2>"$0.err"; echo $? >"$0.ending"; mv "$0.ending" "$0.ended"'
        return cls(folder, subprocess.Popen(["sh", "-c", script, str(folder), *command], cwd=ROOT))

    def let_go(self) -> None:
        """Wait for its end, if it was begun here."""
        if self.process is not None:
            self.process.wait()

    def finished(self, within_s: float) -> FinishedDay:
        """Wait for its end and return what it left; fails with what it said if it did not end well."""
        until = time.monotonic() + within_s
        while not self._beside("ended").exists():
            assert time.monotonic() < until, f"the demo did not end within {within_s} s:\n{self._text('err')[-2000:]}"
            time.sleep(0.1)
        self.let_go()
        status = self._text("ended").strip()
        assert status == "0", f"the demo ended with {status}:\n{self._text('err')[-4000:]}"
        return FinishedDay(self.folder, json.loads(self._text("out")))

    def _beside(self, what: str) -> Path:
        return self.folder.with_name(f"{self.folder.name}.{what}")

    def _text(self, what: str) -> str:
        return self._beside(what).read_text(encoding="utf-8")
