"""Every archive keeps every promise of its seam."""

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from benchday.record.archive import open_archive
from benchday.record.memory import MemoryArchive
from benchday.testing.archives import CHECKS, ArchiveAtHand, Check, MakeArchive
from tests.record.small_disk import small_disk


@pytest.fixture(params=["files", "memory"])
def make(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[MakeArchive]:
    """Return a maker of each implementation."""
    with ExitStack() as disks:

        async def in_files(room_bytes: int | None = None) -> ArchiveAtHand:
            folder = tmp_path / "disk"
            if room_bytes is not None:
                folder = disks.enter_context(small_disk(folder, room_bytes)).path
            return at_hand(folder)

        async def in_memory(room_bytes: int | None = None) -> ArchiveAtHand:
            archive = MemoryArchive(room_bytes or 1 << 30)
            return ArchiveAtHand(archive, lambda: dict(archive.files), lambda d: archive.files.update({d: b"changed"}))

        yield in_files if request.param == "files" else in_memory


def at_hand(folder: Path) -> ArchiveAtHand:
    """Open an archive of files."""
    root = folder / "archive"

    def kept() -> dict[str, bytes]:
        return {f.name: f.read_bytes() for f in root.rglob("*") if f.is_file() and f.parent.name != "damaged"}

    def damage(sha256: str) -> None:
        (root / sha256[:2] / sha256).write_bytes(b"changed")

    return ArchiveAtHand(open_archive(folder), kept, damage)


@pytest.mark.asyncio
@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
async def test_keeps_the_promise(check: Check, make: MakeArchive) -> None:
    """Each check of the public suite holds."""
    await check(make)
