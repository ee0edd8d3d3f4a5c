"""Small days of few units on a simulated bench, laid out once and copied for each case."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from benchday.demo.instruments import Bench, prepare
from benchday.domain.plan import DayPlan
from benchday.domain.scenario import LineLift, Scenario, ScenarioUnit
from benchday.inputs.day import load_day
from benchday.inputs.playbook_files import shipped_folder
from benchday.inputs.sample import SCENARIO, read_scenario, scenario_text, shipped_scenario, write_sample
from benchday.inputs.sample_images import write_images
from benchday.inputs.sample_text import IMAGES_HEAD, roster_text
from benchday.inputs.yaml_writing import yaml_lines
from benchday_simulators.images import build_image

SPEED = 600
"""So fast that a write takes two seconds, and so slow that the hours of a day are more than two minutes."""
PAYLOAD_BYTES = 9_000
"""Small images: many blocks are no other moments than a few."""
RECORDINGS_BYTES = (3000, 2000)
ONE_WRITE, TWO_WRITES = "007421530018", "007421529960"
OF_MODEL: Mapping[str, str] = {
    "Millrace": ONE_WRITE,
    "Weirstone": "WS-41-00342",
    "Osier": "OS8812-0561",
    "Tiller": "TL7730A",
    "Wherry": "WH3108-0652",
    "Gantry": "GN2207-124",
    "Fenbook": "FB2204-3371",
    "Sluicepad": "SP4-22107",
}
"""The unit that stands for each simulated model: plain, with recordings, written once."""
HURRIED_S = 25
"""Real seconds that a driver waits for what takes minutes on a real unit."""
LIMITS: Mapping[str, tuple[str, ...]] = {
    "console": ("test_s", "flash_s", "restart_s", "image_s", "transfer_start_s", "transfer_still_s"),
    "web": ("test_s", "flash_s", "restart_s", "image_s"),
    "smp": ("restart_s",),
}
"""Driver -> its longest limits."""
CONNECTORS = {"Millrace": "round", "Weirstone": "usb", "Wherry": "usb", "Sluicepad": "usb", "Gantry": "six-pin"}
OPERATOR = "Ines Halloran"

_DAY = """\
day: A day that is disturbed
hours:
  - {date: "2026-06-16", opens: "00:00", closes: "23:59"}
time_zone: Europe/London
instruments: simulated
policy: {first_off: true, permit_minutes: 10}
image_store: images
playbooks: playbooks
record: record
"""
_BENCH = """\
bench: fault-1
name: A bench that is disturbed
stations: [{name: S1}, {name: S2}]
cables: [CABLES]
adapters: [{name: W1}, {name: W2}]
operators:
  - name: Ines Halloran
    may: [check in, preserve, confirm, last look]
"""


@dataclass(frozen=True, slots=True)
class Ground:
    """A day that has not begun, with its files read already."""

    folder: Path
    plan: DayPlan
    scenario: Scenario

    @classmethod
    def laid_out(cls, folder: Path, serials: tuple[str, ...]) -> Ground:
        """Write a day of these units, and read it."""
        write_day(folder, serials)
        return cls(folder, load_day(folder), read_scenario(folder))

    def copied(self, folder: Path) -> Ground:
        """Return a day of its own for one case."""
        shutil.copytree(self.folder, folder, symlinks=True)
        return Ground(folder, self.plan, self.scenario)

    @property
    def serials(self) -> tuple[str, ...]:
        """The units."""
        return tuple(u.serial for u in self.scenario.units)

    def bench(self, speed: int = SPEED) -> Bench:
        """The day's simulated bench."""
        return bench_of(self.folder, speed)


def write_day(folder: Path, serials: tuple[str, ...] = (ONE_WRITE,)) -> None:
    """Write the day of these units, with small recordings and images, and lay out its instruments."""
    write_sample(folder, 1, build_image=_small_image, units=1)
    shutil.rmtree(folder / "schemas")
    known = {u.serial: u for u in shipped_scenario().units}
    units = tuple(_small(known[serial]) for serial in serials)
    lifts = tuple(LineLift(unit=u.serial, by=OPERATOR, after_minutes=0, reason="looked into") for u in units)
    scenario = Scenario(scenario="disturbed", seed=1, units=units, lifts=lifts)
    for name, text in (
        (SCENARIO, scenario_text(scenario)),
        ("roster.csv", roster_text(units)),
        ("day.yaml", _DAY),
        ("bench.yaml", _BENCH.replace("CABLES", _cables({u.model for u in units}))),
    ):
        (folder / name).write_text(text, encoding="utf-8")
    _keep_images(folder / "images", {u.model for u in units})
    _keep_playbooks(folder / "playbooks", {u.model for u in units})
    prepare(bench_of(folder), scenario)
    for unit in units:
        _plug_in(bench_of(folder).of(unit.serial) / "state.json")


def _cables(models: set[str]) -> str:
    """Return two cables of each type that these models want: one that no playbook names is a mistake."""
    types = sorted({CONNECTORS[model] for model in models & set(CONNECTORS)})
    return ", ".join(f"{{connector: {c}, number: {c}-{n}}}" for c in types for n in (1, 2))


def _keep_playbooks(folder: Path, models: set[str]) -> None:
    """Give the day the shipped playbooks of these models, that wait less long for what does not come."""
    folder.mkdir()
    shipped = shipped_folder()
    for model in sorted(models):
        text = (shipped / f"{model.lower()}.yaml").read_text(encoding="utf-8")
        assert f"models: [{model}]" in text or f"- {model}" in text, model
        text = re.sub(r"(?<=seconds: )(180|300)\b|(?<=within_s: )(60|180|300)\b", str(HURRIED_S), text)
        text = text.replace("every_seconds: 0.5, tries: 8", "every_seconds: 1, tries: 20")
        for driver, limits in LIMITS.items():
            settings = "".join(f"    {name}: {HURRIED_S}\n" for name in limits)
            text = re.sub(rf"(?m)^(  name: {driver}\b.*\n)(  settings:\n)?", rf"\1  settings:\n{settings}", text)
        (folder / f"{model.lower()}.yaml").write_text(text, encoding="utf-8")


def _keep_images(store: Path, models: set[str]) -> None:
    """Leave the images of these models alone: each case copies them."""
    entries = [e for e in write_images(store, 1, _small_image) if set(e["models"]) & models]
    (store / "images.yaml").write_text(IMAGES_HEAD + "\n".join(yaml_lines(entries, "  ")) + "\n", encoding="utf-8")
    kept = {e["file"] for e in entries} | {"images.yaml"}
    for path in store.iterdir():
        if path.name not in kept:
            path.unlink()


def _plug_in(state: Path) -> None:
    """Run a unit from external power: at this speed a busy computer would find its battery flat."""
    told = json.loads(state.read_text(encoding="utf-8"))
    state.write_text(json.dumps({**told, "external_power": True}), encoding="utf-8")


def _small(unit: ScenarioUnit) -> ScenarioUnit:
    starts = unit.starts.model_copy(update={"recordings": RECORDINGS_BYTES, "broken_recording": 0})
    return unit.model_copy(update={"starts": starts, "arrives": "00:00", "promised": None, "crew": ""})


def _small_image(**how: object) -> bytes:
    return build_image(**{**how, "payload_bytes": PAYLOAD_BYTES})  # type: ignore[arg-type]  # handed on as they came


def bench_of(folder: Path, speed: int = SPEED) -> Bench:
    """Return the simulated bench of a day."""
    trouble = folder / "instruments" / "trouble.yaml"
    return Bench(folder, folder / "record", speed * 1000, trouble if trouble.exists() else None)


def write_troubles(folder: Path, troubles: Iterable[Mapping[str, object]]) -> None:
    """Write down what is to befall the instruments of a day."""
    # JSON is YAML, and quicker to write.
    lines = [f"- {json.dumps(told)}" for told in troubles]
    (folder / "instruments" / "trouble.yaml").write_text("\n".join(lines or ["[]"]) + "\n", encoding="utf-8")
