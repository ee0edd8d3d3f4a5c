"""Personal data: kept beside the chain, erasable, provable while it is there."""

import hashlib
import stat
from pathlib import Path

import pytest

from benchday.domain.entries import Draft
from benchday.domain.errors import RecordError, RecordHeld
from benchday.record.journal import open_journal
from benchday.record.memory import MemoryPersonal
from benchday.record.personal import Personal, Reference, open_personal
from benchday.record.reading import open_reader
from benchday.record.verifying import verify_chain
from benchday.testing.clock import ManualClock

pytestmark = pytest.mark.asyncio

WORDS = "Brought by Grete Sommer, +41 00 000 00 00: »bitte vorsichtig«"


@pytest.fixture(params=["file", "memory"])
def personal(request: pytest.FixtureRequest, folder: Path, clock: ManualClock) -> Personal | MemoryPersonal:
    """Return each implementation."""
    return open_personal(folder, clock.wall()) if request.param == "file" else MemoryPersonal()


async def test_keeps_proves_and_erases(personal: Personal | MemoryPersonal) -> None:
    """A text can be looked up and proved until it is erased, and is gone then; others stay."""
    reference, other = await personal.keep(WORDS), await personal.keep(WORDS)
    assert personal.look_up(reference.id) == WORDS
    assert personal.proves(reference) is True
    assert personal.proves(Reference(reference.id, other.digest)) is False
    assert await personal.erase(reference.id)
    assert not await personal.erase(reference.id)
    assert personal.look_up(reference.id) is None
    assert personal.proves(reference) is None
    assert personal.look_up(other.id) == WORDS
    await personal.close()


async def test_equal_texts_cannot_be_told_by_their_references(personal: Personal | MemoryPersonal) -> None:
    """The salt hides which texts are equal, and keeps guesses from being tried against the digest."""
    references = [await personal.keep("yes") for _ in range(3)]
    assert len({r.id for r in references} | {r.digest for r in references}) == 6
    assert hashlib.sha256(b"yes").hexdigest() not in {r.digest for r in references}
    assert references[0].as_facts() == {"id": references[0].id, "digest": references[0].digest}
    await personal.close()


async def test_erased_words_are_in_no_file(folder: Path, clock: ManualClock) -> None:
    """Neither the journal nor any other file of the record holds a word of it, and the chain still proves."""
    journal, personal = open_journal(folder, "b1", clock, simulated=True), open_personal(folder, clock.wall())
    reference = await personal.keep(WORDS * 200)
    await journal.append([Draft("unit_arrived", {"brought_by": reference.as_facts()}, unit="QM-1")])
    name = WORDS[11:23].encode()
    assert [p.name for p in folder.iterdir() if p.is_file() and name in p.read_bytes()] == ["personal.db"]
    await personal.erase(reference.id)
    assert [p.name for p in folder.iterdir() if p.is_file() and name in p.read_bytes()] == []
    await personal.close()
    await journal.close()
    assert verify_chain(folder).whole


async def test_readers_look_up_while_it_is_written(folder: Path, clock: ManualClock) -> None:
    """Faces show people's own words from the record without holding it."""
    await open_journal(folder, "b1", clock, simulated=True).close()
    with open_reader(folder) as reader:
        assert reader.words("0" * 32) is None
        personal = open_personal(folder, clock.wall())
        reference = await personal.keep(WORDS)
        assert reader.words(reference.id) == WORDS
        await personal.erase(reference.id)
        assert reader.words(reference.id) is None
    await personal.close()


async def test_one_writer_and_its_owner_only(folder: Path, clock: ManualClock) -> None:
    """Its file is nobody else's to read, a second opening is told who holds it, and a closed one says so."""
    personal = open_personal(folder, clock.wall())
    assert stat.S_IMODE((folder / "personal.db").stat().st_mode) == 0o600
    with pytest.raises(RecordHeld, match="is being written by"):
        open_personal(folder, clock.wall())
    await personal.close()
    with pytest.raises(RecordError, match="closed"):
        await personal.keep("late")
    await open_personal(folder, clock.wall()).close()
