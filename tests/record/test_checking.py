"""Checking a record from end to end: what does not prove is named with its place, what is worth knowing is told."""

import hashlib
import os
import random
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from benchday.domain.errors import RecordDamaged, RecordError
from benchday.record.archive import place_of
from benchday.record.checking import check_record
from benchday.record.copying import copy_record
from benchday.record.journal import open_journal
from benchday.record.place import Place
from benchday.record.reading import open_reader
from benchday.record.verifying import refuse_damaged
from benchday.testing.clock import ManualClock
from benchday.testing.journals import a_note
from tests.record.some_record import add_notes, everything, write_record
from tests.record.test_verifying import tamper

pytestmark = pytest.mark.asyncio


async def test_a_whole_record_proves(folder: Path, clock: ManualClock) -> None:
    """Nothing is written by looking, and nothing is worth knowing."""
    await write_record(folder, clock)
    before = everything(folder)
    checked = check_record(folder)
    assert (checked.faults, checked.notices, checked.recordings, checked.simulated) == ([], [], 3, True)
    assert {bench: end.seq for bench, end in checked.ends.items()} == {"b1": 4, "b2": 2}
    assert everything(folder) == before


async def test_a_file_that_is_not_whole_is_named_with_unit_and_recording(folder: Path, clock: ManualClock) -> None:
    """Missing, changed, or one that cannot be read."""
    kept = await write_record(folder, clock)
    archive = Place(folder).archive
    place_of(archive, kept["SITE001.rnx"]).write_bytes(b"x")
    place_of(archive, kept["SITE002.rnx"]).unlink()
    place_of(archive, kept["photo"]).unlink()
    place_of(archive, kept["photo"]).mkdir()
    faults = check_record(folder).faults
    assert [(f.code, f.unit) for f in faults] == [("archive", "QM-10442")] * 3
    for fault, words in zip(
        faults,
        ("SITE001.rnx of unit QM-10442 (b1, entry 1;", "SITE002.rnx of unit QM-10442 (b1, entry 2;", "photo of unit"),
        strict=True,
    ):
        assert words in fault.text
    assert [f.text.rpartition(") ")[2].split(":")[0] for f in faults[:2]] == ["is damaged", "is missing"]
    assert "cannot be read" in faults[2].text


async def test_bytes_that_another_program_would_hash_otherwise(folder: Path, clock: ManualClock) -> None:
    """A body with its own digest, but not in canonical form."""
    await write_record(folder, clock)
    with open_reader(folder) as reader:
        last = reader.read("b2")[-1]
    body = last.body.replace(b'{"at_us"', b'{ "at_us"')
    anew = f"body = x'{body.hex()}', digest = x'{hashlib.sha256(last.prev + body).hexdigest()}'"
    tamper(folder, f"UPDATE entry SET {anew} WHERE bench = 'b2' AND seq = {last.seq}")  # noqa: S608 - the test is the attacker
    codes = {f.code: f.where for f in check_record(folder).faults}
    # The note of the end still knows the digest of what was recorded.
    assert codes == {"chain": "b2, entry 2", "canonical": "b2, entry 2"}


async def test_what_is_worth_knowing(folder: Path, clock: ManualClock) -> None:
    """Open to others, left over, set aside, not named by any entry; none of it is against the record."""
    await write_record(folder, clock)
    (folder / "journal.db").chmod(0o644)
    (folder / "archive" / "incoming" / "half").write_bytes(b"")
    (folder / "archive" / "incoming" / "half").chmod(0o600)
    extra = place_of(Place(folder).archive, hashlib.sha256(b"extra").hexdigest())
    extra.parent.mkdir(mode=0o700, exist_ok=True)
    extra.touch(0o600)
    extra.write_bytes(b"extra")
    (folder.parent / "record.aside-20260101T000000Z").mkdir()
    checked = check_record(folder)
    assert checked.faults == []
    told = {n.code: n.text for n in checked.notices}
    assert [n.code for n in checked.notices] == ["unnamed", "open", "left over", "left over"]
    assert "1 file in the archive that no entry names" in told["unnamed"]
    assert "journal.db (mode 0644)" in told["open"]
    assert f"chmod -R go= {folder}" in told["open"]
    os.chmod(folder / "journal.db", 0o600)  # noqa: PTH101 - as a person would
    journal = open_journal(folder, "b1", clock, simulated=True)
    assert "held" in {n.code for n in check_record(folder).notices}
    await journal.close()
    assert "held" not in {n.code for n in check_record(folder).notices}


async def test_a_copy_whose_end_was_cut_off(folder: Path, tmp_path: Path, clock: ManualClock) -> None:
    """A copy notes where its chains end."""
    await write_record(folder, clock)
    copy_record(folder, tmp_path / "copy", 5)
    tamper(tmp_path / "copy", "DELETE FROM entry WHERE bench = 'b2' AND seq = 2")
    (fault,) = check_record(tmp_path / "copy").faults
    assert fault.text == "b2: the chain ends at entry 1, but entry 2 was recorded: its end is cut off"


async def test_a_copy_whose_note_is_spoilt(folder: Path, tmp_path: Path, clock: ManualClock) -> None:
    """Told in words for people; the rest is looked at all the same, and it is left as it is."""
    await write_record(folder, clock)
    copy_record(folder, tmp_path / "copy", 5)
    for text in ("{", "[]", '{"benchday": "copy/1"}', '{"ends": {"b1": 7}}', "\x00"):
        (tmp_path / "copy" / "copy.json").write_text(text)
        checked = check_record(tmp_path / "copy")
        assert [f.code for f in checked.faults] == ["copy"]
        assert checked.recordings == 3
        with pytest.raises(RecordDamaged, match=r"copy\.json cannot be read .*make a copy in another folder"):
            copy_record(folder, tmp_path / "copy", 6)


async def test_no_record(tmp_path: Path) -> None:
    """A wrong path is no damage."""
    with pytest.raises(RecordError, match="there is no record at"):
        check_record(tmp_path / "nowhere")
    with pytest.raises(RecordError, match="there is no record at"):
        check_record(tmp_path)


def _flip(path: Path, draw: random.Random) -> None:
    data = bytearray(path.read_bytes())
    for _ in range(8):
        data[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
    path.write_bytes(data)


def _cut(path: Path, draw: random.Random) -> None:
    data = path.read_bytes()
    path.write_bytes(data[: draw.randrange(len(data))])


def _blank(path: Path, draw: random.Random) -> None:
    data = bytearray(path.read_bytes())
    start = draw.randrange(len(data))
    data[start : start + 4096] = bytes(len(data[start : start + 4096]))
    path.write_bytes(data)


def _empty(path: Path, _: random.Random) -> None:
    path.write_bytes(b"")


def _gone(path: Path, _: random.Random) -> None:
    path.unlink()


def _other(path: Path, _: random.Random) -> None:
    path.write_bytes(b"no database at all " * 500)


@pytest.mark.parametrize("name", ["journal.db", "journal.db-wal"])
@pytest.mark.parametrize("harm", [_flip, _cut, _blank, _empty, _gone, _other], ids=lambda f: f.__name__.strip("_"))
async def test_a_damaged_database_is_found_before_it_is_written(
    folder: Path, clock: ManualClock, name: str, harm: Callable[[Path, random.Random], None]
) -> None:
    """Either every acknowledged entry is there as it was, or opening is refused and nothing is changed.

    The record is as a kill leaves it: some pages in the database, the latest entries in the write-ahead log alone.
    """
    await add_notes(folder, clock, "b1", 30)
    journal = open_journal(folder, "b1", clock, simulated=True)
    for number in range(30):
        await journal.append([a_note(f"late {number}")])
    acknowledged = [entry.digest for entry in journal.read()]
    killed = shutil.copytree(folder, folder.parent / "killed")
    await journal.close()
    refused = 0
    for seed in range(12):
        record = Path(shutil.copytree(killed, folder.parent / f"{seed}"))
        (record / "journal.db-shm").unlink()
        harm(record / name, random.Random(seed))
        database = (record / "journal.db").read_bytes() if (record / "journal.db").exists() else None
        try:
            again = open_journal(record, "b1", clock, simulated=True)
        except RecordDamaged as damaged:
            refused += 1
            assert "benchday record restore COPY --record" in str(damaged)  # noqa: PT017 - other seeds end otherwise
            assert (record / "journal.db").exists() == (database is not None)
            assert database is None or (record / "journal.db").read_bytes() == database
            with pytest.raises(RecordDamaged):
                refuse_damaged(record)
            assert check_record(record).faults
        else:
            assert [entry.digest for entry in again.read()] == acknowledged
            await again.close()
    assert refused >= (2 if harm is _flip else 6), "the damage was too small to be worth a test"
