"""Copying and restoring a record while storage fails at each call in turn: ``python -m tests.faults.storage_copies``.

Run under the shim. What must hold after each: an error in our words and nothing else; the copy is what it was before or
what it should become; the old record is whole where it was, or the new one is; and the same again on sound storage
works.
"""

from __future__ import annotations

import errno
import os
import shutil
import sys
import tempfile
import traceback
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from pathlib import Path

import anyio

from benchday.domain.errors import BenchdayError, OurFault
from benchday.record.archive import open_archive
from benchday.record.chain import Head
from benchday.record.checking import check_record
from benchday.record.copying import copy_record
from benchday.record.restoring import restoring
from benchday.testing.archives import keep
from benchday.testing.clock import ManualClock
from tests.faults.storage_shim import Fault, Sort, arm, failed, under_the_shim
from tests.record.some_record import add_notes, everything, write_record

ERRORS = {
    Sort.WRITE: errno.ENOSPC,
    Sort.SHORT: 0,
    Sort.SYNC: errno.EIO,
    Sort.RENAME: errno.EIO,
    Sort.READ: errno.EIO,
    Sort.MAKE: errno.EROFS,
}
MOST_CALLS = 400


def attempt(work: Callable[[], object], fault: Fault, under: Path) -> tuple[int, str]:
    """Do something under a fault in a child; return how many calls went wrong, and what is wrong with how it ended."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        said = ""
        try:
            arm(fault, under)
            work()
        except OurFault:
            said = traceback.format_exc()
        except BenchdayError:
            pass
        except BaseException:  # noqa: BLE001 - told to the parent, whatever it is
            said = traceback.format_exc()
        os.write(writing, f"{failed()}\n{said}".encode())
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading, encoding="utf-8") as told:
        hit, _, said = told.read().partition("\n")
    os.waitpid(child, 0)
    return int(hit or 0), said


def faults() -> Iterator[tuple[Sort, Iterator[Fault]]]:
    """Yield each sort with its faults, call by call."""
    for sort, error in ERRORS.items():
        yield sort, (Fault(sort, "", n, n % 2 == 0, error) for n in range(1, MOST_CALLS))


def try_copying(folder: Path, record: Path) -> Iterator[str]:
    """Yield what does not hold of copying."""
    old = folder / "old"
    copy_record(record, old, 5)
    anyio.run(_go_on, record)
    new = check_record(record).ends
    for sort, each in faults():
        for fault in each:
            dest = Path(shutil.copytree(old, folder / "copy"))
            before = check_record(dest).ends
            hit, wrong = attempt(partial(copy_record, record, dest, 6), fault, dest)
            after = check_record(dest)
            if wrong or after.faults or after.ends not in (before, new):
                yield f"copying, {fault}: {wrong} {after.faults}"
            copy_record(record, dest, 7)
            if check_record(dest).faults or check_record(dest).ends != new:
                yield f"copying again after {fault}"
            shutil.rmtree(dest)
            if not hit:
                _tell("copying", sort, fault.nth - 1)
                break


def try_restoring(folder: Path, copy: Path) -> Iterator[str]:
    """Yield what does not hold of restoring."""
    broken = Path(shutil.copytree(copy, folder / "broken"))
    (broken / "copy.json").unlink()
    (broken / "journal.db").write_bytes(b"broken " * 999)
    ends = check_record(copy).ends
    for sort, each in faults():
        for fault in each:
            ground = folder / "ground"
            record = Path(shutil.copytree(broken, ground / "record"))
            hit, wrong = attempt(partial(_restore, copy, record), fault, ground)
            if wrong or not _nothing_lost(ground, everything(broken), ends):
                yield f"restoring, {fault}: {wrong} {[p.name for p in ground.iterdir()]}"
            _restore(copy, record)
            if check_record(record).faults or check_record(record).ends != ends:
                yield f"restoring again after {fault}"
            shutil.rmtree(ground)
            if not hit:
                _tell("restoring", sort, fault.nth - 1)
                break


def _nothing_lost(ground: Path, old: dict[str, bytes], ends: Mapping[str, Head]) -> bool:
    """Tell whether the old record is all there, and the new one in its place once the old one has left it."""
    record = ground / "record"
    aside = [p for p in ground.iterdir() if ".aside-" in p.name]
    if not aside:
        return everything(record) == old
    # A disk that renames one folder and then nothing more leaves both beside the place.
    new = record if record.exists() else next(p for p in ground.iterdir() if ".restoring-" in p.name)
    return everything(aside[0]) == old and check_record(new).ends == ends and not check_record(new).faults


def _restore(copy: Path, record: Path) -> None:
    with restoring(copy, record, 9) as made:
        made.put_in_place()


async def _go_on(record: Path) -> None:
    await add_notes(record, ManualClock(), "b2", 3)
    await keep(open_archive(record), b"one more recording")


def _tell(what: str, sort: Sort, calls: int) -> None:
    sys.stdout.write(f"{what}: {sort.name.lower()} at each of {calls} calls\n")


def main() -> int:
    """Try all; status 1 if something does not hold."""
    if not under_the_shim():
        sys.stderr.write("run this under the shim: python -m pytest tests/faults/test_storage_copies.py\n")
        return 2
    wrong = 0
    with tempfile.TemporaryDirectory() as at:
        folder = Path(at)
        anyio.run(write_record, folder / "record", ManualClock())
        for said in (*try_copying(folder, folder / "record"), *try_restoring(folder, folder / "old")):
            sys.stdout.write(f"WRONG {said}\n")
            wrong += 1
    sys.stdout.write(f"{wrong} do not hold\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main())
