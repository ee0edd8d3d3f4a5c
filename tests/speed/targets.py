"""How long targets take beside reading the same units from a CSV file with the standard library, in the same run.

    python -m tests.speed.targets

10,000 units in 2,000 crews and 200 releases of four models: two kinds of receivers in two hardware revisions, their
controllers, total stations. Four of ten releases may be entered from certain releases only, some demand stepping stones
or come out of turn, and terms end over six years. Rounds take turns; the medians of processor time are compared.
"""

from __future__ import annotations

import csv
import gc
import json
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from datetime import date, timedelta
from pathlib import Path
from random import Random

from benchday.domain.playbook import Together
from benchday.domain.releases import Image
from benchday.domain.units import Role
from benchday.planning.rules import Rules
from benchday.planning.target import UnitNow
from benchday.planning.targets import targets

UNITS = 10_000
ROUNDS = 7
TIMES_READING = 25
TIMES_TENFOLD = 11
ON = "2026-11-25"
MODELS = {"Millrace": 70, "Osier": 50, "Tiller": 50, "Weirstone": 30}
"""How many releases each has."""
COLUMNS = ("serial", "model", "crew", "role", "hardware", "release", "support_until")


def releases(random: Random) -> tuple[Image, ...]:
    """Return the store: version lines that follow each other, with a late repair of the line before here and there."""
    return tuple(image for model, count in MODELS.items() for image in _line(model, count, random))


def _line(model: str, count: int, random: Random) -> Iterable[Image]:
    names = [f"{1 + n // 12}.{n % 12}" for n in range(count)]
    for number, name in enumerate(names):
        written = {
            "file": f"{model}-{name}.fen".lower(),
            "release": name,
            "issued": str(date(2020, 1, 10) + timedelta(days=number * 2400 // count + random.choice([0, 0, 0, 90]))),
            "sha256": f"{number:064x}",
            "bytes": random.randint(4_000_000, 12_000_000),
            "models": [model],
            "source": "the maker's page",
            "approved_by": "Ines Okafor",
        }
        if number > 4 and random.random() < 0.4:
            written["enter_from"] = names[number - random.randint(2, min(12, number))]
        if number > 12 and random.random() < 0.1:
            written["through"] = [names[number - number % 12]]
        if model == "Millrace" and number % 9 == 8:
            written["hardware"] = ["B"]
        yield Image.model_validate_json(json.dumps(written))


def roster(path: Path, count: int, store: Iterable[Image], random: Random) -> None:
    """Write a file of units: crews of a base, two rovers, a controller, and a total station or another rover.

    Three of four crews came to the shop together before and have one release; what a unit has was issued in its term.
    """
    runs = {model: [i for i in store if i.models[0] == model] for model in MODELS}
    seen: dict[tuple[int, str], str] = {}
    with path.open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(COLUMNS)
        for number in range(count):
            place = number % 5
            crew = number // 5
            receiver = "Osier" if crew % 3 == 0 else "Millrace"
            model = {3: "Tiller", 4: "Weirstone" if crew % 2 else receiver}.get(place, receiver)
            role = "none" if model in ("Tiller", "Weirstone") else ("base" if place == 0 else "rover")
            hardware = "AB"[random.random() < 0.7]
            term = (date(2022, 1, 1) + timedelta(days=random.randrange(6 * 365))).isoformat()
            in_term = [i.release for i in runs[model] if i.issued <= term and not i.hardware]
            has = random.choice(in_term[-12:])
            if crew % 4:
                before = seen.setdefault((crew, model), has)
                has = before if before in in_term else has
            rows.writerow((f"S{number:06}", model, f"crew {crew}", role, hardware, has, term))


def read(path: Path) -> list[UnitNow]:
    """Read the file into units."""
    roles = {role.value: role for role in Role}
    with path.open(newline="") as file:
        return [
            UnitNow(
                row["serial"],
                row["model"],
                row["crew"],
                roles[row["role"]],
                row["hardware"],
                row["release"],
                False,
                row["support_until"],
            )
            for row in csv.DictReader(file)
        ]


def bare(path: Path) -> int:
    """Read the file with the standard library and do nothing with it."""
    with path.open(newline="") as file:
        return sum(1 for _ in csv.DictReader(file))


def timed(work: Callable[[], object]) -> float:
    """Return how much processor time something takes, seconds: others on this computer do not count."""
    gc.collect()
    began = time.process_time()
    work()
    return time.process_time() - began


def rules() -> Rules:
    """Return what works together, and times by the size of the image."""
    works = [
        [{"model": "Tiller", "oldest": f"{n}.0", "newest": f"{n + 1}.3"}, {"model": "Osier", "oldest": f"{n}.{part}"}]
        for n in range(1, 6)
        for part in (0, 6)
    ]
    for number, (_, osier) in enumerate(works):
        osier["newest"] = f"{osier['oldest'].split('.')[0]}.{5 if number % 2 == 0 else 11}"
    together = tuple(Together.model_validate_json(json.dumps({"together": group})) for group in works)
    return Rules(write_us=lambda _, image: 240_000_000 + image.bytes * 87, together=together)


def main() -> int:
    """Print the figures; return 1 if a goal is missed."""
    random = Random(7)
    store, by = releases(random), rules()
    taken: dict[str, list[float]] = {"reading": [], "targets": [], "both": [], "tenfold": []}
    with tempfile.TemporaryDirectory() as folder:
        path, tenfold = Path(folder) / "units.csv", Path(folder) / "tenfold.csv"
        roster(path, UNITS, store, random)
        roster(tenfold, 10 * UNITS, store, random)
        units, many = read(path), read(tenfold)
        for number in range(ROUNDS):
            taken["reading"].append(timed(lambda: bare(path)))
            taken["targets"].append(timed(lambda: targets(units, store, ON, by)))
            taken["both"].append(timed(lambda: targets(read(path), store, ON, by)))
            if number < 3:
                taken["tenfold"].append(timed(lambda: targets(many, store, ON, by)))

    median = {name: statistics.median(values) for name, values in taken.items()}
    found = targets(units, store, ON, by)
    codes: dict[str, int] = {}
    for target in found:
        codes[target.reason_code.value] = codes.get(target.reason_code.value, 0) + 1
    print(f"{UNITS} units, {len(store)} releases, {sum(len(t.route) > 1 for t in found)} routes of several writes,")
    print(f"{sum(t.outside for t in found)} outside their set; reasons: {codes}")
    print(f"csv.DictReader: {median['reading'] * 1000:.1f} ms")
    missed = 0
    for name, words in (("targets", "targets"), ("both", "reading into units and targets")):
        times = median[name] / median["reading"]
        missed += times > TIMES_READING
        print(f"{words}: {median[name] * 1000:.1f} ms, {times:.1f} times reading (goal: at most {TIMES_READING})")
    times = median["tenfold"] / median["targets"]
    missed += times > TIMES_TENFOLD
    print(f"{10 * UNITS} units: {median['tenfold']:.2f} s, {times:.1f} times as long (goal: at most {TIMES_TENFOLD})")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
