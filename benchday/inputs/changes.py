"""What changed in a day's inputs, in sentences, for the person who is asked to accept it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import fields
from typing import Any

from benchday.domain.plan import DayPlan
from benchday.domain.releases import Image
from benchday.domain.units import RosterRow
from benchday.domain.words import FileModel

_PERSONAL = frozenset({"contact", "note"})
"""Personal data: that it changed is told, what it says is not, because sentences may go into the journal."""
_SECRET = frozenset({"password"})
_NOT_SHOWN = frozenset({"line"})


def differences(old: DayPlan, new: DayPlan) -> tuple[str, ...]:
    """Return a sentence for each difference; none where both say the same."""
    return (
        *_model("day.yaml", old.day, new.day),
        *_model("bench.yaml", old.bench, new.bench),
        *_roster(old.roster, new.roster),
        *_playbooks(old, new),
        *_images(old.images.images, new.images.images),
        *_cautions(old, new),
        *_terms(old, new),
    )


def _model(name: str, old: FileModel, new: FileModel) -> Iterator[str]:
    was, now = old.model_dump(mode="json", by_alias=True), new.model_dump(mode="json", by_alias=True)
    for key in was:
        if was[key] == now[key]:
            continue
        if isinstance(was[key], list):
            yield from (f"{name}: {key}: {_told(part)} was removed" for part in was[key] if part not in now[key])
            yield from (f"{name}: {key}: {_told(part)} was added" for part in now[key] if part not in was[key])
            if sorted(map(str, was[key])) == sorted(map(str, now[key])):
                yield f"{name}: {key} stand in another order"
        else:
            yield f"{name}: {key} was {_told(was[key])} and is {_told(now[key])}"


def _told(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(
            f"{key} {'(not shown)' if key in _SECRET else _told(inner)}"
            for key, inner in value.items()
            if inner not in (None, [], "")
        )
    if isinstance(value, list):
        return " and ".join(_told(part) for part in value) or "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    return "nothing" if value in (None, "") else str(value)


def _roster(old: Sequence[RosterRow], new: Sequence[RosterRow]) -> Iterator[str]:
    was, now = {row.serial: row for row in old}, {row.serial: row for row in new}
    yield from (f"roster: unit {serial} ({was[serial].model}) was removed" for serial in was if serial not in now)
    for serial, row in now.items():
        if serial not in was:
            yield f"roster: unit {serial} ({row.model}, {row.customer}) was added"
            continue
        for field in fields(row):
            before, after = getattr(was[serial], field.name), getattr(row, field.name)
            if field.name in _NOT_SHOWN or before == after:
                continue
            told = "" if field.name in _PERSONAL else f" from {_told(before)} to {_told(after)}"
            yield f"roster: unit {serial}: {field.name} was changed{told}"

    if list(was) != list(now) and set(was) == set(now):
        yield "roster: the units stand in another order"


def _playbooks(old: DayPlan, new: DayPlan) -> Iterator[str]:
    was, now = {p.playbook: p for p in old.playbooks}, {p.playbook: p for p in new.playbooks}
    yield from (f"playbook {name} was removed" for name in was if name not in now)
    for name, playbook in now.items():
        if name not in was:
            yield f"playbook {name} ({', '.join(playbook.models)}) was added"
            continue
        said = tuple(_model(f"playbook {name}", was[name], playbook))
        yield from said
        if not said and old.playbook_digest(playbook) != new.playbook_digest(playbook):
            yield f"playbook {name}: the file was changed, but not what it says"


def _images(old: Sequence[Image], new: Sequence[Image]) -> Iterator[str]:
    was, now = {image.file: image for image in old}, {image.file: image for image in new}
    yield from (f"images: {_image(was[file])} was removed" for file in was if file not in now)
    for file, image in now.items():
        if file not in was:
            yield f"images: {_image(image)} was added"
        else:
            yield from _model(f"images: {file}", was[file], image)


def _image(image: Image) -> str:
    return f"{image.file} (release {image.release} for {', '.join(image.models)})"


def _cautions(old: DayPlan, new: DayPlan) -> Iterator[str]:
    was, now = {c.name: c for c in old.cautions}, {c.name: c for c in new.cautions}
    yield from (f"caution {name} was removed" for name in was if name not in now)
    for name, caution in now.items():
        if name not in was:
            yield f"caution {name} was added"
        elif caution != was[name]:
            yield f"caution {name} was changed"


def _terms(old: DayPlan, new: DayPlan) -> Iterator[str]:
    if new.terms is None:
        # Taking the list away changes day.yaml, which is told there.
        return
    was = old.terms.terms if old.terms is not None else {}
    # The list is kept as far as the roster goes: who comes or leaves is said with the roster.
    both = {r.serial for r in old.roster} & {r.serial for r in new.roster}
    for serial, last_day in new.terms.terms.items():
        if serial in both and was.get(serial) != last_day:
            yield f"support terms: unit {serial}: was {was.get(serial, 'not told')} and is {last_day}"
    gone = [serial for serial in was if serial in both and serial not in new.terms.terms]
    yield from (f"support terms: unit {serial} is not told any more" for serial in gone)
