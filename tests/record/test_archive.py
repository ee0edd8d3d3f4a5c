"""The archive of files beyond the promises of its seam."""

import hashlib
import os
import shutil
import stat
import threading
from pathlib import Path

import anyio
import pytest

from benchday.domain.errors import RecordDamaged
from benchday.record.archive import FileArchive, is_whole, open_archive
from benchday.testing.archives import keep
from tests.simulators.stranger import until

pytestmark = pytest.mark.asyncio


async def test_files_are_named_by_their_digest_for_their_owner_only(folder: Path) -> None:
    """The layout is a contract: ``archive/ab/<64 hex digits>``."""
    sha256 = await keep(open_archive(folder), b"abc")
    kept = folder / "archive" / sha256[:2] / sha256
    # SHA-256 of "abc": RFC 6234, section 8.5, test 1.
    assert sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert kept.read_bytes() == b"abc"
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    assert stat.S_IMODE(kept.parent.stat().st_mode) == 0o700
    assert list((folder / "archive" / "incoming").iterdir()) == []


async def test_it_is_on_the_disk_before_it_has_its_name(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its bytes are synced under the name of what is on its way; then it gets its own, and the folders are synced."""
    archive, synced, real = open_archive(folder), list[tuple[str, bool]](), os.fsync
    kept = folder / "archive" / "ba" / hashlib.sha256(b"abc").hexdigest()

    def fsync(fd: int) -> None:
        synced.append((Path(f"/proc/self/fd/{fd}").readlink().parent.name, kept.exists()))
        real(fd)

    monkeypatch.setattr(os, "fsync", fsync)
    await keep(archive, b"abc")
    assert synced == [("incoming", False), ("archive", True), (folder.name, True)]


async def test_a_copy_gone_bad_is_set_aside(folder: Path) -> None:
    """The bad copy stays for whoever asks, and the good one takes its place."""
    archive = open_archive(folder)
    sha256 = await keep(archive, b"recording")
    (folder / "archive" / sha256[:2] / sha256).write_bytes(b"recorXing")
    await keep(archive, b"recording")
    assert await archive.holds(sha256)
    (aside,) = (folder / "archive" / "damaged").iterdir()
    assert aside.name.startswith(sha256)
    assert aside.read_bytes() == b"recorXing"


async def test_equal_recordings_at_once_set_no_good_copy_aside(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who has found nothing kept must not take what another one kept meanwhile for a copy gone bad."""
    sha256 = hashlib.sha256(b"recording").hexdigest()
    kept = folder / "archive" / sha256[:2] / sha256
    real, found_nothing, both = is_whole, list[bool](), threading.Event()

    def looks(path: Path, digest: str) -> bool:
        whole = real(path, digest)
        if path == kept and not whole:
            found_nothing.append(True)
            if len(found_nothing) > 1:
                both.set()
                until(kept.exists, "the other one to be kept")
            else:
                # Long enough for the other one to look as well, if it may.
                both.wait(0.5)
        return whole

    monkeypatch.setattr("benchday.record.archive.is_whole", looks)
    archive = open_archive(folder)
    async with anyio.create_task_group() as tasks:
        for _ in range(2):
            tasks.start_soon(keep, archive, b"recording")
    assert [p for p in (folder / "archive").rglob("*") if p.is_file()] == [kept]


async def test_a_disk_that_gives_back_something_else_is_told(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is read back must be what was written, or nothing is kept."""
    incoming = await open_archive(folder).begin()
    await incoming.add(b"recording")
    # No disk at hand forgets on demand: the writing itself is made to lose a byte.
    write = os.write
    monkeypatch.setattr(os, "write", lambda fd, data: write(fd, bytes(data)[:-1] + b"X"))
    with pytest.raises(RecordDamaged, match="does not give back what was written to it; nothing was kept"):
        await incoming.finish()
    monkeypatch.undo()
    assert [p for p in (folder / "archive").rglob("*") if p.is_file()] == []


async def test_bytes_are_on_the_disk_before_they_have_a_name(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file is synced under its passing name, then the folders that hold its own (no power cut at hand: watched)."""
    sync, seen = os.fsync, list[tuple[bool, bool]]()
    kept = folder / "archive" / "ba" / "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

    def watched(fd: int) -> None:
        seen.append((stat.S_ISDIR(os.fstat(fd).st_mode), kept.exists()))
        sync(fd)

    archive = open_archive(folder)
    monkeypatch.setattr(os, "fsync", watched)
    await keep(archive, b"abc")
    assert seen == [(False, False), (True, True), (True, True)]


async def test_looking_removes_nothing(folder: Path) -> None:
    """Only opening for writing sweeps: who merely proves leaves a recording on its way alone."""
    incoming = await open_archive(folder).begin()
    looking = FileArchive(folder / "archive")
    assert not await looking.holds(hashlib.sha256(b"").hexdigest())
    await incoming.add(b"recording")
    assert await looking.holds(await incoming.finish())


async def test_a_name_that_is_no_digest_is_refused(folder: Path) -> None:
    """No path is made of what is not 64 hex digits."""
    archive = open_archive(folder)
    for name in ("", "../../etc/passwd", "AB" * 32, "a" * 63):
        with pytest.raises(ValueError, match="a digest is 64 lower-case hex digits"):
            await archive.holds(name)


async def test_room_is_that_of_its_disk(folder: Path) -> None:
    """As the system tells it, give or take what others write meanwhile."""
    archive = open_archive(folder)
    assert abs(archive.room_bytes() - shutil.disk_usage(folder).free) < 1 << 30
