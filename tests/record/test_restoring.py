"""Putting a copy in the place of a record: never over one that knows more, and nothing is ever deleted."""

import shutil
from pathlib import Path

import pytest

from benchday.domain.errors import InputError, RecordDamaged, RecordError, RecordHeld
from benchday.record.archive import open_archive, place_of
from benchday.record.checking import check_record
from benchday.record.copying import copy_record
from benchday.record.journal import open_journal
from benchday.record.place import Place
from benchday.record.restoring import Restoring, restoring
from benchday.testing.archives import keep
from benchday.testing.clock import ManualClock
from tests.record.some_record import add_notes, everything, write_record
from tests.record.test_verifying import tamper

pytestmark = pytest.mark.asyncio


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """Return where the copy goes."""
    return tmp_path / "copy"


def restore(copy: Path, folder: Path) -> Restoring:
    """Restore and put in place."""
    with restoring(copy, folder, 9) as made:
        made.put_in_place()
    return made


async def test_a_lost_record_comes_back(folder: Path, copy: Path, clock: ManualClock) -> None:
    """With nothing in its place, all of the copy stands there, and work goes on."""
    await write_record(folder, clock)
    copy_record(folder, copy, 5)
    before = check_record(folder)
    shutil.rmtree(folder)
    made = restore(copy, folder)
    assert (made.aside, made.missing, dict(made.known_ends)) == (None, [], {})
    checked = check_record(folder)
    assert (checked.faults, checked.ends, checked.recordings) == ([], before.ends, before.recordings)
    assert (folder / "keys" / "some.key").exists()
    assert not (folder / "copy.json").exists()
    await add_notes(folder, clock, "b1", 1)
    assert [p.name for p in folder.parent.iterdir() if p.name.startswith("record")] == ["record"]


async def test_a_damaged_record_is_set_aside_and_what_is_lost_is_told(
    folder: Path, copy: Path, clock: ManualClock
) -> None:
    """The entries after the copy are named, as far as they can be read; recordings kept since are kept on."""
    await write_record(folder, clock)
    copy_record(folder, copy, 5)
    later = await keep(open_archive(folder), b"preserved after the copy")
    await add_notes(folder, clock, "b2", 4)
    tamper(folder, "UPDATE entry SET body = x'00' WHERE bench = 'b2' AND seq = 4")
    before = everything(folder)
    made = restore(copy, folder)
    assert made.aside is not None
    assert everything(made.aside) == before
    assert made.known_ends["b2"] == 6
    assert made.entries_missing("b2") == 4
    assert [(m.bench, m.seq) for m in made.missing] == [("b2", 3), ("b2", 5), ("b2", 6)]
    assert made.kept_besides == 1
    assert place_of(Place(folder).archive, later).read_bytes() == b"preserved after the copy"
    assert check_record(folder).faults == []
    assert check_record(folder).ends == made.copy.ends


async def test_a_record_that_is_whole_and_newer_is_never_replaced(folder: Path, copy: Path, clock: ManualClock) -> None:
    """Nor one of another sort, or another one."""
    await write_record(folder, clock)
    copy_record(folder, copy, 5)
    await add_notes(folder, clock, "b2", 1)
    other = folder.parent / "other"
    await add_notes(other, clock, "b1", 1)
    real = folder.parent / "real"
    await add_notes(real, clock, "b1", 1, simulated=False)
    for record, words in (
        (folder, r"is whole and newer than the copy: it holds entries 3 to 3 of b2.*nothing was changed"),
        (other, "goes another way than the copy .*is of another record; nothing was changed"),
        (real, "of the other sort"),
    ):
        before = everything(record)
        with pytest.raises(RecordError, match=words):
            restore(copy, record)
        assert everything(record) == before
    tamper(other, "DELETE FROM entry")
    names = {p.name for p in folder.parent.iterdir()}
    restore(copy, other)
    assert {p.name for p in folder.parent.iterdir()} - names == {p.name for p in folder.parent.glob("other.aside-*")}


async def test_a_damaged_record_of_somebody_else_is_left_alone(folder: Path, copy: Path, clock: ManualClock) -> None:
    """As long as its first entry can be read."""
    await write_record(folder, clock)
    copy_record(folder, copy, 5)
    other = folder.parent / "other"
    await add_notes(other, clock, "b1", 3)
    tamper(other, "DELETE FROM entry WHERE seq = 2")
    with pytest.raises(InputError, match="is a copy of another record"):
        restore(copy, other)


async def test_an_older_whole_record_is_set_aside(folder: Path, copy: Path, clock: ManualClock) -> None:
    """Somebody has put an old folder in its place: the copy knows all of it and more."""
    await write_record(folder, clock)
    shutil.copytree(folder, folder.parent / "old")
    await add_notes(folder, clock, "b1", 2)
    copy_record(folder, copy, 5)
    made = restore(copy, folder.parent / "old")
    assert made.aside is not None
    assert check_record(folder.parent / "old").ends["b1"].seq == 6


async def test_files_of_a_whole_record_are_put_back(folder: Path, copy: Path, clock: ManualClock) -> None:
    """The journal stays; what had gone bad is set aside, not deleted."""
    kept = await write_record(folder, clock)
    copy_record(folder, copy, 5)
    bad, gone = (place_of(Place(folder).archive, kept[n]) for n in ("SITE001.rnx", "SITE002.rnx"))
    bad.write_bytes(b"rotten")
    gone.unlink()
    made = restore(copy, folder)
    assert sorted(made.put_back) == sorted([bad.name, gone.name])
    assert (made.laid_out, made.aside) == (None, None)
    assert check_record(folder).faults == []
    assert [p.read_bytes() for p in (folder / "archive" / "damaged").iterdir()] == [b"rotten"]
    assert restore(copy, folder).put_back == []


async def test_a_copy_that_does_not_prove_is_not_used(folder: Path, copy: Path, clock: ManualClock) -> None:
    """Nor something that is no copy, nor the record itself."""
    kept = await write_record(folder, clock)
    copy_record(folder, copy, 5)
    place_of(Place(copy).archive, kept["photo"]).unlink()
    (folder / "journal.db").write_bytes(b"")
    with pytest.raises(RecordDamaged, match=r"does not prove and was not used: photo of unit .*try another copy"):
        restore(copy, folder)
    with pytest.raises(InputError, match="there is no copy at"):
        restore(folder.parent / "nowhere", folder)
    with pytest.raises(InputError, match="lie in one another"):
        restore(folder, folder)
    assert (folder / "journal.db").read_bytes() == b""


async def test_a_record_that_is_being_written_is_not_touched(folder: Path, copy: Path, clock: ManualClock) -> None:
    """Whoever writes it is named."""
    await write_record(folder, clock)
    copy_record(folder, copy, 5)
    journal = open_journal(folder, "b1", clock, simulated=True)
    with pytest.raises(RecordHeld, match=r"is being written by .*end that program first"):
        restore(copy, folder)
    await journal.close()


async def test_what_was_laid_out_and_not_put_in_place_is_removed(folder: Path, copy: Path, clock: ManualClock) -> None:
    """The old record is where it was."""
    await write_record(folder, clock)
    copy_record(folder, copy, 5)
    (folder / "journal.db").write_bytes(b"")
    with restoring(copy, folder, 9) as made:
        assert made.laid_out is not None
        assert made.laid_out.exists()
    assert {p.name for p in folder.parent.iterdir()} == {"record", "copy"}
    restore(copy, folder)
    assert check_record(folder).faults == []
