"""Copies of a record: whole or not at all, only what is lacking, and never over what a copy alone knows."""

import os
import shutil
import sqlite3
import stat
from contextlib import closing, suppress
from pathlib import Path

import pytest

from benchday.domain.errors import InputError, RecordDamaged, RecordError, RecordFull, RecordHeld
from benchday.record.archive import place_of
from benchday.record.checking import check_record
from benchday.record.copying import LOCK, copy_record
from benchday.record.journal import open_journal
from benchday.record.lock import FileLock
from benchday.record.place import Place
from benchday.record.reading import open_reader
from benchday.testing.clock import ManualClock
from benchday.testing.journals import a_note
from tests.record.small_disk import small_disk
from tests.record.some_record import add_notes, everything, write_record
from tests.record.test_verifying import tamper

pytestmark = pytest.mark.asyncio


@pytest.fixture
def dest(tmp_path: Path) -> Path:
    """Return where the copy goes; its parents do not exist yet."""
    return tmp_path / "far" / "copy"


async def test_a_copy_proves_and_says_what_it_is(folder: Path, dest: Path, clock: ManualClock) -> None:
    """Chains, files, personal data and keys are there, and the copy is read as a record is."""
    kept = await write_record(folder, clock)
    copied = copy_record(folder, dest, 5)
    assert (copied.entries_new, copied.recordings, copied.recordings_new, copied.lacking) == (6, 3, 3, ())
    checked = check_record(dest)
    assert checked.faults == []
    assert checked.notices == []
    assert checked.copy is not None
    assert (checked.copy.of, checked.copy.made_wall_us) == (str(folder.resolve()), 5)
    assert checked.ends == check_record(folder).ends == copied.ends
    for name in kept.values():
        assert place_of(Place(dest).archive, name).read_bytes() == place_of(Place(folder).archive, name).read_bytes()
    assert (dest / "keys" / "some.key").read_text() == "31" * 32
    with open_reader(dest) as reader:
        assert reader.benches() == ("b1", "b2")
    with closing(sqlite3.connect(dest / "personal.db")) as personal:
        assert personal.execute("SELECT text FROM personal").fetchall() == [("Ask for Ms Example at the gate",)]


@pytest.mark.parametrize("umask", [0o000, 0o022, 0o277])
async def test_a_copy_is_for_its_owner_only(folder: Path, dest: Path, clock: ManualClock, umask: int) -> None:
    """Folders 0700 and files 0600, whatever the umask."""
    await write_record(folder, clock)
    dest.parent.mkdir()
    before = os.umask(umask)
    try:
        copy_record(folder, dest, 5)
    finally:
        os.umask(before)
    for path in (dest, *dest.rglob("*")):
        assert stat.S_IMODE(path.stat().st_mode) == (0o700 if path.is_dir() else 0o600), path


async def test_a_second_copy_brings_what_is_new(folder: Path, dest: Path, clock: ManualClock) -> None:
    """While the journal is open for writing; what a writer adds later is not in the copy, and the writer goes on."""
    await write_record(folder, clock)
    copy_record(folder, dest, 5)
    journal = open_journal(folder, "b1", clock, simulated=True)
    await journal.append([a_note("while a day runs")])
    copied = copy_record(folder, dest, 6)
    assert (copied.entries_new, copied.recordings_new, copied.bytes_new) == (1, 0, 0)
    await journal.append([a_note("after the copy")])
    await journal.close()
    assert check_record(dest).faults == []
    assert check_record(dest).ends["b1"].seq == check_record(folder).ends["b1"].seq - 1
    assert not list(dest.rglob("*.new"))
    assert not list(dest.glob("*-wal"))


async def test_a_file_that_went_bad_in_the_copy_is_made_good(folder: Path, dest: Path, clock: ManualClock) -> None:
    """Each copy reads every file again."""
    kept = await write_record(folder, clock)
    copy_record(folder, dest, 5)
    bad = place_of(Place(dest).archive, kept["photo"])
    bad.write_bytes(b"rotten")
    assert [f.code for f in check_record(dest).faults] == ["archive"]
    assert copy_record(folder, dest, 6).recordings_new == 1
    assert check_record(dest).faults == []


async def test_what_the_record_has_lost_does_not_spoil_the_copy(folder: Path, dest: Path, clock: ManualClock) -> None:
    """A damaged file never replaces a whole one; one that neither has is named with unit and recording."""
    kept = await write_record(folder, clock)
    copy_record(folder, dest, 5)
    place_of(Place(folder).archive, kept["SITE001.rnx"]).write_bytes(b"rotten")
    assert copy_record(folder, dest, 6).lacking == ()
    assert check_record(dest).faults == []
    other = dest.parent / "other"
    (lacking,) = copy_record(folder, other, 7).lacking
    assert "SITE001.rnx of unit QM-10442 (b1, entry 1" in lacking
    assert "is damaged" in lacking
    assert [f.unit for f in check_record(other).faults] == ["QM-10442"]


async def test_a_broken_record_leaves_the_copy_as_it_is(folder: Path, dest: Path, clock: ManualClock) -> None:
    """Otherwise the one good copy would be gone with the record."""
    await write_record(folder, clock)
    copy_record(folder, dest, 5)
    before = everything(dest)
    tamper(folder, "UPDATE entry SET body = x'00' WHERE bench = 'b1' AND seq = 2")
    with pytest.raises(RecordDamaged, match=r"does not prove: b1, entry 2.*nothing was copied"):
        copy_record(folder, dest, 6)
    assert everything(dest) == before
    with pytest.raises(RecordDamaged):
        copy_record(folder, dest.parent / "new", 6)
    assert not (dest.parent / "new").exists()


async def test_a_copy_that_knows_more_is_left_alone(folder: Path, dest: Path, clock: ManualClock) -> None:
    """An older record, or another one, never replaces a copy."""
    await write_record(folder, clock)
    shutil.copytree(folder, folder.parent / "older")
    await add_notes(folder, clock, "b2", 3)
    copy_record(folder, dest, 5)
    before = everything(dest)
    with pytest.raises(RecordError, match=r"holds what this record does not \(b2: the chain ends at entry 2, but"):
        copy_record(folder.parent / "older", dest, 6)
    await add_notes(folder.parent / "another", clock, "b1", 9)
    await add_notes(folder.parent / "another", clock, "b2", 9)
    with pytest.raises(RecordError, match=r"holds what this record does not .*name another folder for this record"):
        copy_record(folder.parent / "another", dest, 6)
    assert everything(dest) == before


async def test_places_that_cannot_be_a_copy(folder: Path, tmp_path: Path, clock: ManualClock) -> None:
    """Said before anything is written."""
    await write_record(folder, clock)
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "letters.txt").write_text("")
    (tmp_path / "file").write_text("")
    for dest, words in (
        (folder / "copy", "lie in one another"),
        (folder, "lie in one another"),
        (folder.parent, "lie in one another"),
        (tmp_path / "full", r"holds something else than a copy \(letters.txt\)"),
        (tmp_path / "file", "is no folder"),
    ):
        with pytest.raises(InputError, match=words):
            copy_record(folder, dest, 5)
    with pytest.raises(RecordError, match="there is no record at"):
        copy_record(tmp_path / "full", tmp_path / "new", 5)


async def test_one_program_at_a_copy(folder: Path, dest: Path, clock: ManualClock) -> None:
    """A second one is told who is there."""
    await write_record(folder, clock)
    dest.mkdir(parents=True)
    lock = FileLock.take(dest / LOCK, 5)
    with pytest.raises(RecordHeld, match=r"is being written by .*process"):
        copy_record(folder, dest, 5)
    lock.let_go()
    copy_record(folder, dest, 5)


async def test_nobody_works_in_a_copy(folder: Path, dest: Path, clock: ManualClock) -> None:
    """Two chains would go on from one entry."""
    await write_record(folder, clock)
    copy_record(folder, dest, 5)
    with pytest.raises(RecordError, match=r"is a copy of a record and is only read.*benchday record restore"):
        open_journal(dest, "b1", clock, simulated=True)
    with pytest.raises(RecordError, match="is a copy of a record"):
        copy_record(dest, dest.parent / "third", 6)


def fill_up(filler: Path) -> None:
    """Leave no room on a disk."""
    with suppress(OSError), filler.open("wb", buffering=0) as file:
        while file.write(bytes(4096)):
            pass


async def test_a_full_disk_leaves_the_copy_what_it_was(folder: Path, tmp_path: Path, clock: ManualClock) -> None:
    """Told with the room there is; with room it goes on."""
    await write_record(folder, clock)
    with small_disk(tmp_path / "disk", 1 << 20) as small:
        dest = small.path / "copy"
        copy_record(folder, dest, 5)
        before = everything(dest)
        await add_notes(folder, clock, "b2", 900)
        filler = small.path / "filler"
        fill_up(filler)
        with pytest.raises(RecordFull, match=r"no room at .*the copy is what it was before; make room"):
            copy_record(folder, dest, 6)
        assert everything(dest) == before
        small.make_room()
        filler.unlink()
        assert copy_record(folder, dest, 7).entries_new == 900
        assert check_record(dest).faults == []


async def test_a_copy_cut_short_is_gone_on_with(folder: Path, dest: Path, clock: ManualClock) -> None:
    """Cut in its first making it says so; cut later it is what it was before."""
    await write_record(folder, clock)

    def cut(done: int, _: int) -> None:
        if done == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        copy_record(folder, dest, 5, cut)
    (fault,) = check_record(dest).faults
    assert "the making of this copy" in fault.text
    assert copy_record(folder, dest, 6).recordings_new == 1
    before = everything(dest)
    await add_notes(folder, clock, "b2", 3)
    with pytest.raises(KeyboardInterrupt):
        copy_record(folder, dest, 7, cut)
    assert everything(dest) == before
