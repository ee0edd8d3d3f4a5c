"""A record with two chains, recordings, a photo, personal data and a key, for tests of copies."""

from __future__ import annotations

from pathlib import Path

from benchday.domain.entries import Draft
from benchday.domain.items import Item, ItemKind, Wanted, WantedKind
from benchday.domain.kinds import ItemAnswered, ItemAsked
from benchday.record.archive import open_archive
from benchday.record.journal import open_journal
from benchday.record.modes import write_whole
from benchday.record.personal import open_personal
from benchday.record.place import Place
from benchday.testing.archives import keep
from benchday.testing.clock import ManualClock
from benchday.testing.journals import a_note

RECORDINGS = {"SITE001.rnx": b"first recording " * 4000, "SITE002.rnx": b"second " * 10}
PHOTO = b"a photo of a display"
UNIT = "QM-10442"


async def write_record(folder: Path, clock: ManualClock, *, simulated: bool = True) -> dict[str, str]:
    """Write the record; return the digest of each file in its archive."""
    archive = open_archive(folder)
    kept = {name: await keep(archive, data) for name, data in (*RECORDINGS.items(), ("photo", PHOTO))}
    personal = open_personal(folder, clock.wall())
    await personal.keep("Ask for Ms Example at the gate")
    await personal.close()
    write_whole(Place(folder).keys / "some.key", "31" * 32)
    journal = open_journal(folder, "b1", clock, simulated=simulated)
    for name, data in RECORDINGS.items():
        facts = {"name": name, "bytes": len(data), "sha256": kept[name]}
        await journal.append([Draft("recording_preserved", facts, unit=UNIT)])
    wanted = (Wanted("photo", "its display", WantedKind.FILE),)
    item = Item(id="1", kind=ItemKind.EVIDENCE, topic="display", text="Show its display.", unit=UNIT, wanted=wanted)
    await journal.append([ItemAsked(item=item.as_facts()).draft(unit=UNIT)])
    await journal.append([ItemAnswered(id="1", value={"photo": kept["photo"]}, by="person").draft(unit=UNIT)])
    await journal.close()
    await add_notes(folder, clock, "b2", 2, simulated=simulated)
    return kept


async def add_notes(folder: Path, clock: ManualClock, bench: str, count: int, *, simulated: bool = True) -> None:
    """Go on with a chain."""
    journal = open_journal(folder, bench, clock, simulated=simulated)
    for number in range(count):
        await journal.append([a_note(f"note {number}")])
    await journal.close()


def everything(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder, but locks, whose text says who was here last, and what SQLite makes to read."""
    return {
        str(p.relative_to(folder)): p.read_bytes()
        for p in sorted(folder.rglob("*"))
        if p.is_file() and p.suffix != ".lock" and not p.name.endswith(("-shm", "-wal"))
    }
