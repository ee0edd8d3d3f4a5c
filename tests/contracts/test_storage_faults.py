"""The faults of a card, on a driver that does no more than copy files to and from one."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from functools import partial
from pathlib import Path

import anyio
import anyio.lowlevel
import pytest

from benchday.domain.errors import LinkGone, OutcomeUnknown, TransferCut
from benchday.domain.permits import SpentAct, Verb, use_act
from benchday.domain.readings import Progress, Recording
from benchday.testing.driver_deeds import FaultBed, Seen
from benchday.testing.driver_faults import cells, meet
from benchday.testing.storage_faults import Card, PulledEmpty, card
from tests.devices.acts import spent
from tests.record.small_disk import small_disk

SERIAL = "7"
RECORDED = {"a.rnx": bytes(range(256)) * 40, "b.rnx": b"one" * 500}
IMAGE = bytes(range(255)) * 100


class CardDriver:
    """Copies to and from a card, right; ``careless`` takes it for granted that what was written is there."""

    def __init__(self, folder: Path, *, careless: bool = False) -> None:
        self._folder, self._careless = folder, careless
        self._is = folder.stat().st_ino

    async def aclose(self) -> None: ...

    async def recordings(self) -> tuple[Recording, ...]:
        try:
            found = [Recording(p.name, p.stat().st_size) for p in sorted((self._folder / "recorded").iterdir())]
        except OSError as error:
            raise LinkGone("the card is not there") from error
        return tuple(found)

    async def fetch(self, recording: Recording, sink: Callable[[bytes], Awaitable[None]]) -> AsyncIterator[Progress]:
        try:
            data = (self._folder / "recorded" / recording.name).read_bytes()
        except OSError as error:
            raise TransferCut("the card is not there", 0) from error
        await sink(data)
        yield Progress(len(data), len(data), "fetching")

    async def write(self, act: SpentAct, image: bytes) -> AsyncIterator[Progress]:
        use_act(act, Verb.WRITE_IMAGE, hashlib.sha256(image).hexdigest())
        path = self._folder / "update.img"
        try:
            with path.open("wb") as file:
                for begin in range(0, len(image), 1000):
                    file.write(image[begin : begin + 1000])
                    file.flush()
                    await anyio.sleep(0.001)
                    yield Progress(begin, len(image), "sending")
            # A mount point that was left behind takes everything, and is not the card.
            there = self._folder.stat().st_ino == self._is
            whole = self._careless or (there and path.read_bytes() == image)
        except OSError as error:
            if self._careless:
                return
            raise TransferCut("the card is full, or was taken out", 0) from error
        if not whole:
            raise OutcomeUnknown("the card holds other bytes than were written")


@asynccontextmanager
async def bed(tmp_path: Path, *, careless: bool) -> AsyncIterator[FaultBed]:
    """A card on a small disk of its own."""
    with small_disk(tmp_path / f"disk{careless:d}{len(list(tmp_path.iterdir()))}", 1 << 20) as disk:
        folder = disk.path / "card"
        (folder / "recorded").mkdir(parents=True)
        for name, data in RECORDED.items():
            (folder / "recorded" / name).write_bytes(data)
        taken: dict[int, str] = {}
        filler = disk.path / "filler"

        def fill() -> None:
            with filler.open("wb", buffering=0) as file:
                try:
                    while True:
                        file.write(bytes(4096))
                except OSError:
                    return

        def seen(card: Card) -> Seen:
            path = card.place / "update.img"
            if path.exists() and (at := path.stat().st_mtime_ns) not in taken:
                taken[at] = hashlib.sha256(path.read_bytes()).hexdigest()
            return Seen(0, tuple(taken.values()), {}, 0)

        async def restore() -> None:
            shutil.rmtree(folder / "update.img", ignore_errors=True)

        async def opened(patient: bool) -> CardDriver:
            (folder / "update.img").unlink(missing_ok=True)
            return CardDriver(folder, careless=careless)

        async with card(folder, fill, lambda: filler.unlink(missing_ok=True)) as between:
            yield FaultBed(opened, between, SERIAL, partial(spent, SERIAL), partial(seen, between), restore, IMAGE)


def broken(tmp_path: Path, *, careless: bool) -> list[str]:
    """Meet the matrix; gives what was broken."""
    able = ("recordings", "fetch", "write")

    async def run() -> list[str]:
        met = await meet(partial(bed, tmp_path, careless=careless), "storage", cells("storage", able), beds=1)
        assert len(met) == 15
        return [f"{one.cell}: {one.broken}" for one in met if one.broken]

    return anyio.run(run)


def test_a_right_driver_keeps_every_promise(tmp_path: Path) -> None:
    """Full or pulled, at once or on the way."""
    assert broken(tmp_path, careless=False) == []


def test_a_careless_one_is_found(tmp_path: Path) -> None:
    """Nothing was written, and it said that all was."""
    assert any("the unit has not taken the image" in one for one in broken(tmp_path, careless=True))


@pytest.mark.asyncio
async def test_a_pulled_card_comes_back_as_it_was(tmp_path: Path) -> None:
    """What was written to its mount point meanwhile is not on it."""
    folder = tmp_path / "card"
    folder.mkdir()
    (folder / "a").write_text("a")
    async with card(folder, lambda: None, lambda: None) as between:
        await between.begin(PulledEmpty())
        assert list(folder.iterdir()) == []
        (folder / "b").write_text("b")
        await between.end()
    assert [path.name for path in folder.iterdir()] == ["a"]
