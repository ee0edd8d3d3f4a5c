"""Images that are not what the list says, and disks that are full."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

import pytest

from benchday.domain.errors import RecordFull
from benchday.domain.steps import State
from benchday.record.archive import open_archive
from benchday.record.memory import MemoryArchive, MemoryIncoming
from tests.bench.shop import INES, Shop
from tests.record.small_disk import file_size_limit

pytestmark = pytest.mark.asyncio
UNIT, AWAITED = "007421530018", "WS-41-00358"
FILE = "millrace-2.10.fen"


async def held(shop: Shop, put_right: Callable[[], object]) -> str:
    """Run until the unit is held and set aside, put right what was wrong, lift it, and return why it was held."""
    shop.only(UNIT, AWAITED)
    shop.somebody_is_awaited(AWAITED)
    async with shop.running() as day:
        await day.until(lambda: day.unit(UNIT).state is State.HELD and day.unit(UNIT).station is None)
        story = day.unit(UNIT)
        told = f"{story.held_code}: {story.held_reason}"
        assert shop.units[UNIT].reaches == []
        assert shop.entries("permit_given") == []
        put_right()
        await day.desk.lift(UNIT, "put right", INES)
        await day.until_state(UNIT, State.HANDED_BACK)
    return told


async def test_an_image_that_was_changed_after_the_files_were_read(shop: Shop) -> None:
    """Found at the station, before anybody is asked to confirm; both digests are told."""
    whole = shop.store.files[FILE]
    shop.store.files[FILE] = b"x" + whole[1:]
    told = await held(shop, lambda: shop.store.files.update({FILE: whole}))
    listed = next(i for i in shop.plan.images.images if i.file == FILE)
    assert told.startswith("image: ")
    assert FILE in told
    assert listed.sha256[:12] in told
    assert hashlib.sha256(b"x" + whole[1:]).hexdigest()[:12] in told
    assert shop.units[UNIT].release == "2.10"


async def test_an_image_that_is_cut_short(shop: Shop) -> None:
    whole = shop.store.files[FILE]
    shop.store.files[FILE] = whole[:100]
    told = await held(shop, lambda: shop.store.files.update({FILE: whole}))
    assert told.startswith("image: ")
    assert FILE in told


async def test_an_image_that_is_missing(shop: Shop) -> None:
    whole = shop.store.files.pop(FILE)
    told = await held(shop, lambda: shop.store.files.update({FILE: whole}))
    assert told.startswith("image: ")
    assert FILE in told


async def test_an_image_that_is_changed_after_it_was_read_is_sent_as_it_was_read(shop: Shop) -> None:
    """The bytes are read once, hashed, held and sent from memory."""
    shop.only(UNIT)
    shop.people.answers["confirm"] = None
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        shop.store.files[FILE] = b"something else"
        await day.answer("confirm", UNIT, answer="write", label=UNIT[-4:])
        await day.until_state(UNIT, State.HANDED_BACK)
    assert shop.units[UNIT].release == "2.10"


class FullIncoming(MemoryIncoming):
    """Takes nothing more after its first piece, as a disk that fills up meanwhile."""

    async def add(self, data: bytes) -> None:
        """Take the first piece."""
        if self._data:
            await self.abandon()
            raise RecordFull("nothing was kept: no room at archive (No space left on device); make room")
        await super().add(data)


class FillsUp(MemoryArchive):
    """Says it has room, and is full when it comes to it."""

    full = True

    async def begin(self) -> MemoryIncoming:
        """Begin to take one file."""
        return FullIncoming(self) if self.full else await super().begin()


class Roomy(MemoryArchive):
    """Can be given room."""

    def make_room(self) -> None:
        """Have plenty."""
        self._room = 1 << 34


async def test_an_archive_that_fills_up_while_a_recording_comes(shop: Shop) -> None:
    archive = FillsUp(1 << 34)
    shop.archive = archive
    shop.units[UNIT].recordings = {"A.rnx": b"a" * 50, "B.rnx": b"b" * 50}

    def make_room() -> None:
        assert archive.files == {}, "nothing half"
        archive.full = False

    told = await held(shop, make_room)
    assert told.startswith("full: ")
    assert "nothing was lost" in told
    assert sorted(archive.files.values()) == [b"a" * 50, b"b" * 50]


async def test_too_little_room_is_found_before_anything_is_copied(shop: Shop) -> None:
    archive = shop.archive = Roomy(1000)
    shop.units[UNIT].recordings = {"A.rnx": b"a" * 50}
    told = await held(shop, archive.make_room)
    assert told.startswith("room: ")
    assert "make room" in told


async def test_a_limit_on_a_real_disk(shop: Shop, tmp_path: Path) -> None:
    """A real archive under a limit on file sizes: told like a full disk, and no part of a file stays behind."""
    big, small = b"a" * 3_000_000, b"b" * 1000
    shop.units[UNIT].recordings = {"A.rnx": small, "B.rnx": big}
    with file_size_limit(tmp_path / "disk", 2_000_000) as disk:
        shop.archive = open_archive(disk.path)

        def make_room() -> None:
            files = [p for p in (disk.path / "archive").rglob("*") if p.is_file()]
            assert [p.stat().st_size for p in files] == [1000], "the small one whole, nothing of the big one"
            disk.make_room()

        told = await held(shop, make_room)
    assert told.startswith("full: ")
    assert str(disk.path) in told
    files = [p for p in (disk.path / "archive").rglob("*") if p.is_file()]
    assert sorted(p.stat().st_size for p in files) == [1000, 3_000_000]
