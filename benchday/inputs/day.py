"""A day's folder, read whole: every mistake of every file at once, or the plan."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from benchday.domain.bench import BenchFile, DayFile
from benchday.domain.drivers import DriverKnown
from benchday.domain.errors import Mistake
from benchday.domain.image_lists import NOTHING_SEEN, SeenList
from benchday.domain.plan import DayPlan, ImageSignatures
from benchday.domain.plan_says import TERMS
from benchday.domain.releases import ImageList
from benchday.domain.words import FileModel
from benchday.inputs.across import Files, mistakes_across
from benchday.inputs.checked import checked
from benchday.inputs.day_terms import DayTerms, day_terms
from benchday.inputs.image_signing import ENDING, Judged, ListAsRead, judge
from benchday.inputs.outcome import Notice, Outcome
from benchday.inputs.playbook_files import SHIPPED, read_playbooks
from benchday.inputs.roster_csv import Roster, read_roster
from benchday.inputs.source import digest, read_bytes
from benchday.inputs.worth_knowing import about_crews, about_pins
from benchday.inputs.yaml_text import YamlText, read_yaml

Model = TypeVar("Model", bound=FileModel)

DAY, BENCH, ROSTER, IMAGES = "day.yaml", "bench.yaml", "roster.csv", "images.yaml"


@dataclass(slots=True)
class _Reading:
    """What has been read of the folder so far."""

    folder: Path
    digests: dict[str, str] = field(default_factory=dict)
    data: dict[str, bytes] = field(default_factory=dict)
    mistakes: list[Mistake] = field(default_factory=list)
    terms: DayTerms = field(default_factory=DayTerms)

    def bytes_of(self, name: str) -> bytes | None:
        data = read_bytes(self.folder / name, name, self.mistakes)
        if data is not None:
            self.digests[name] = digest(data)
            self.data[name] = data
        return data

    def model(self, name: str, kind: type[Model]) -> tuple[Model | None, YamlText]:
        data = self.bytes_of(name)
        if data is None:
            return None, YamlText(name)
        text = read_yaml(data, name)
        made = checked(text, kind)
        self.mistakes += text.mistakes
        return made, text


def load_day(folder: Path, drivers: tuple[DriverKnown, ...] = ()) -> DayPlan:
    """Return the plan that the files of a folder make.

    Args:
        folder: of the day.
        drivers: what is known of them, where somebody has looked.

    Raises:
        MistakesFound: with every mistake of every file.
    """
    return read_day(folder, drivers=drivers).required()


def read_day(folder: Path, seen: SeenList = NOTHING_SEEN, *, drivers: tuple[DriverKnown, ...] = ()) -> Outcome:
    """Read the files of a folder: the plan or all mistakes, and what is worth knowing.

    Args:
        folder: of the day.
        seen: the newest image list that the day's record has seen, where that is known.
        drivers: what is known of them, where somebody has looked.
    """
    if not folder.is_dir():
        return Outcome(None, (Mistake(str(folder), 0, 0, "a folder with a day's files", "no such folder"),))

    reading = _Reading(folder)
    day, day_text = reading.model(DAY, DayFile)
    bench, bench_text = reading.model(BENCH, BenchFile)
    store = day.image_store if day is not None else "images"
    images, images_text = reading.model(f"{store}/{IMAGES}", ImageList)
    roster, notices = _roster(reading)
    playbooks = read_playbooks(day.playbooks if day is not None else SHIPPED, folder, named_at=day_text)
    reading.mistakes += playbooks.mistakes
    reading.digests |= playbooks.digests
    _terms(reading, day, day_text, roster)

    read = Files(
        folder=folder,
        day=day,
        day_text=day_text,
        bench=bench,
        bench_text=bench_text,
        images=images,
        images_text=images_text,
        roster=roster,
        playbooks=playbooks,
        drivers=drivers,
    )
    reading.mistakes += mistakes_across(read)
    judged = _judged(reading, read, seen)
    worth_knowing = [*about_crews(roster.rows, ROSTER)]
    if day is not None:
        worth_knowing += about_pins(day, day_text, roster.rows)
    return _outcome(reading, read, judged, (*notices, *worth_knowing, *reading.terms.notices, *judged.notices))


def _roster(reading: _Reading) -> tuple[Roster, tuple[Notice, ...]]:
    data = reading.bytes_of(ROSTER)
    roster = read_roster(data, ROSTER) if data is not None else Roster(ROSTER)
    reading.mistakes += roster.mistakes
    return roster, tuple(roster.notices)


def _terms(reading: _Reading, day: DayFile | None, text: YamlText, roster: Roster) -> None:
    reading.terms = day_terms(reading.folder, day, text, [row.serial for row in roster.rows])
    reading.mistakes += reading.terms.mistakes
    if reading.terms.found is not None:
        reading.digests[TERMS] = reading.terms.sha256


def _judged(reading: _Reading, read: Files, seen: SeenList) -> Judged:
    """Judge the image list's signatures, its number, and its expiry on the day's first date."""
    name = read.images_text.file
    beside = read.folder / (name + ENDING)
    signatures = reading.bytes_of(name + ENDING) if beside.is_file() else None
    if read.day is None or read.bench is None or read.images is None:
        return Judged(ImageSignatures(), [], [])
    listed = ListAsRead(name, reading.data[name], read.images_text, read.images, signatures)
    judged = judge(listed, read.bench, read.day.hours[0].date, seen)
    reading.mistakes += judged.mistakes
    return judged


def _outcome(reading: _Reading, read: Files, judged: Judged, notices: tuple[Notice, ...]) -> Outcome:
    if reading.mistakes or read.day is None or read.bench is None or read.images is None:
        ordered = sorted(set(reading.mistakes), key=lambda m: (m.file, m.line, m.column, m.expected))
        return Outcome(None, tuple(ordered), notices)

    cautions = read.playbooks.cautions
    plan = DayPlan(
        day=read.day,
        bench=read.bench,
        roster=tuple(read.roster.rows),
        playbooks=tuple(playbook for playbook, _ in read.playbooks.read),
        images=read.images,
        digests=reading.digests,
        cautions=cautions.cautions if cautions is not None else (),
        terms=reading.terms.found,
        signatures=judged.signatures,
    )
    return Outcome(plan, (), notices)
