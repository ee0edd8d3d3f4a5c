"""Full disks and disks that cannot be written."""

import asyncio
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

import pytest

from benchday.domain.entries import Draft
from benchday.domain.errors import RecordError, RecordFull
from benchday.record.archive import open_archive
from benchday.record.journal import SqliteJournal, open_journal
from benchday.record.personal import open_personal
from benchday.record.reading import open_reader
from benchday.record.verifying import verify_chain
from benchday.testing.clock import ManualClock
from benchday.testing.journals import a_note, a_permit, a_reading, given
from tests.record.small_disk import SmallDisk, file_size_limit, read_only, small_disk

pytestmark = pytest.mark.asyncio

Disk = Callable[[Path, int], AbstractContextManager[SmallDisk]]


async def fill(journal: SqliteJournal) -> int:
    """Append until the disk is full; return how many entries were acknowledged, first of all and last."""
    acknowledged = 0
    for words in ("x" * 9000, "x" * 50):
        while True:
            try:
                acknowledged = (await journal.append([a_note(words)]))[0].seq
            except RecordFull as error:
                assert "nothing was recorded" in str(error)  # noqa: PT017 - the loop ends by it
                assert "make room, then do it again" in str(error)  # noqa: PT017
                break
            assert acknowledged < 5000, "the disk does not get full"

    return acknowledged


@pytest.mark.parametrize("disk", [small_disk, file_size_limit])
async def test_a_full_disk_loses_nothing_and_the_journal_goes_on(
    tmp_path: Path, clock: ManualClock, disk: Disk
) -> None:
    """Told at once, nothing half appended, and with room again everything works as before."""
    with disk(tmp_path / "disk", 1 << 20) as small:
        journal = open_journal(small.path / "record", "b1", clock, simulated=True)
        permit = a_permit(clock)
        await journal.append([given(permit)])
        acknowledged = await fill(journal)
        assert len(journal.read()) == acknowledged
        answers = await asyncio.gather(
            *(journal.append([a_note("y" * 9000)], expect=[str(n)]) for n in range(4)), return_exceptions=True
        )
        assert all(isinstance(answer, RecordFull) for answer in answers)
        assert len(journal.read()) == acknowledged

        small.make_room()
        for n in range(4):
            await journal.append([a_note("y" * 9000)], expect=[str(n)])
        assert (await journal.spend(permit, a_reading(permit))).number == 0
        assert len(journal.read()) == acknowledged + 5
        await journal.close()
        assert verify_chain(small.path / "record").faults == ()


async def test_no_act_is_handed_out_on_a_full_disk(tmp_path: Path, clock: ManualClock) -> None:
    """No room for the intent, no write: and nothing is spent by trying."""
    with small_disk(tmp_path / "disk", 1 << 20) as small:
        journal = open_journal(small.path / "record", "b1", clock, simulated=True)
        permit = a_permit(clock)
        await journal.append([given(permit)])
        await fill(journal)
        for _ in range(2):
            with pytest.raises(RecordFull):
                await journal.spend(permit, a_reading(permit))
        small.make_room()
        assert (await journal.spend(permit, a_reading(permit))).number == 0
        await journal.close()


async def test_an_archive_on_a_full_disk_leaves_nothing_behind(tmp_path: Path) -> None:
    """A limit on file sizes is told like a full disk."""
    with file_size_limit(tmp_path / "disk", 1 << 20) as small:
        incoming = await open_archive(small.path).begin()
        with pytest.raises(RecordFull, match="nothing was kept: no room at"):
            await incoming.add(bytes(3 << 20))
        with pytest.raises(RecordError, match="finished or abandoned"):
            await incoming.finish()
        assert [p for p in (small.path / "archive").rglob("*") if p.is_file()] == []


async def test_a_disk_that_cannot_be_written_is_told_and_can_be_read(tmp_path: Path, clock: ManualClock) -> None:
    """Writers are told what to do; readers read."""

    def fill_in(at: Path) -> None:
        async def one_entry() -> None:
            journal = open_journal(at / "record", "b1", clock, simulated=True)
            await journal.append([Draft("input_read", {"n": 1}, unit="QM-1")])
            await journal.close()

        asyncio.run(one_entry())

    def make(at: Path) -> None:
        from threading import Thread  # noqa: PLC0415

        filling = Thread(target=fill_in, args=(at,))
        filling.start()
        filling.join()

    with read_only(tmp_path / "disk", make) as at:
        for opening in (
            lambda: open_journal(at / "record", "b1", clock, simulated=True),
            lambda: open_journal(at / "new", "b1", clock, simulated=True),
            lambda: open_archive(at / "record"),
            lambda: open_personal(at / "record", clock.wall()),
        ):
            with pytest.raises(RecordError, match=r"writ|permissions"):
                opening()
        with open_reader(at / "record") as reader:
            assert [e.facts["n"] for e in reader.read("b1")] == [1]
        assert verify_chain(at / "record").faults == ()


async def test_a_database_that_cannot_be_written_is_told(folder: Path, clock: ManualClock) -> None:
    """A folder in the place of the file, or a file in the place of the folder."""
    (folder / "journal.db").mkdir(parents=True)
    with pytest.raises(RecordError, match=r"cannot write .*journal\.db: .*; make file and folder writable"):
        open_journal(folder, "b1", clock, simulated=True)
    (folder.parent / "file").write_text("")
    with pytest.raises(RecordError, match="cannot make the record's folder"):
        open_journal(folder.parent / "file", "b1", clock, simulated=True)
