"""The storage driver: on the simulated controller, on a real small file system, and on drives that are pulled."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from benchday.devices.completed import completed
from benchday.devices.drivers import Place, make_driver
from benchday.devices.drivers.by_hand_questions import Question
from benchday.devices.drivers.storage import StorageDriver, StorageLimits, TellingStorageDriver
from benchday.devices.drivers.storage_words import identity_in
from benchday.devices.links.drive import Drive, Putting, find_drive
from benchday.domain.errors import (
    DeviceError,
    Garbled,
    InputError,
    LinkGone,
    LinkNotFound,
    LinkSilent,
    PermitRefused,
    Refused,
    TransferCut,
)
from benchday.domain.playbook import Playbook
from benchday.domain.readings import Identity, Mode, Recording
from benchday.domain.storage import About, Form, Kept, Names, Storage
from tests.devices.acts import image_for, write_act
from tests.devices.books import sluicepad
from tests.record.small_disk import small_disk
from tests.simulators.stranger import Process, unit, until

pytestmark = pytest.mark.asyncio
SERIAL = "SP4-22107"
ABOUT = "serial: SP4-22107\nmodel: Sluicepad\nhardware: F\nrelease: 1.3\noptions: mobile; camera\nterm: 2027-04-30\n"
NAMES = Names(hardware="hardware", options="options", term="term")
STORAGE = Storage(
    about=About(file="ABOUT.TXT", names=NAMES),
    recordings=(Kept(folder="JOBS", suffixes=(".rnx", ".raw")),),
    image="UPDATE/NEW.BIN",
    spare_bytes=4096,
)
QUICK = StorageLimits(appears_s=0.2, back_s=0.3, gone_s=0.1, proof_s=0.3, poll_s=0.02)


def laid_out(root: Path) -> Path:
    """Lay a drive out."""
    for folder in ("JOBS", "UPDATE"):
        (root / folder).mkdir(parents=True, exist_ok=True)
    (root / "ABOUT.TXT").write_text(ABOUT)
    (root / "JOBS" / "b.rnx").write_bytes(b"bb")
    (root / "JOBS" / "a.RNX").write_bytes(bytes(600_000))
    (root / "JOBS" / "notes.txt").write_text("no recording")
    return root


@pytest.fixture
def drive(tmp_path: Path) -> Path:
    """A drive with two recordings."""
    return laid_out(tmp_path / "mounted")


Ask = Callable[[Question], Awaitable[Mapping[str, object]]]


async def nobody(question: Question) -> Mapping[str, object]:
    """Never be asked."""
    raise AssertionError(question.text)


def driver_on(drive: Path, ask: Ask = nobody, storage: Storage = STORAGE) -> TellingStorageDriver:
    """Open the driver on a folder."""
    return TellingStorageDriver(Drive(drive), lambda: Drive(drive), storage, ask, unit=SERIAL, limits=QUICK)


async def fetched(driver: StorageDriver, recording: Recording) -> bytes:
    """Copy a recording off."""
    got = bytearray()

    async def sink(piece: bytes) -> None:
        got.extend(piece)

    async for progress in driver.fetch(recording, sink):
        assert progress.done <= recording.bytes
    return bytes(got)


async def written(driver: StorageDriver, image: bytes, act: object = None) -> list[int]:
    """Write an image; gives the progress."""
    return [p.done async for p in driver.write(act or write_act(SERIAL, image), image)]  # type: ignore[arg-type]


async def meanwhile(driver: StorageDriver, image: bytes, at: int, happens: Callable[[], None]) -> None:
    """Write an image; at its progress of that number something happens."""
    seen = 0
    async for _ in driver.write(write_act(SERIAL, image), image):
        seen += 1
        if seen == at:
            happens()


async def test_readings(drive: Path) -> None:
    driver = driver_on(drive)
    assert await driver.identify() == Identity(
        SERIAL, "Sluicepad", "F", Mode.RUN, "1.3", ("camera", "mobile"), "2027-04-30"
    )
    listed = await driver.recordings()
    assert listed == (Recording("JOBS/a.RNX", 600_000), Recording("JOBS/b.rnx", 2))
    assert await fetched(driver, listed[0]) == bytes(600_000)
    assert await fetched(driver, listed[1]) == b"bb"


async def test_an_image_is_put_whole_under_the_name_the_unit_expects(drive: Path) -> None:
    (drive / "UPDATE" / ".NEW.BIN.part").write_bytes(b"left behind by a copy that was cut")
    (drive / "UPDATE" / "NEW.BIN").write_bytes(b"an older image")
    image = os.urandom(700_000)
    seen = []
    async for progress in driver_on(drive).write(write_act(SERIAL, image), image):
        seen.append(progress.done)
        assert (drive / "UPDATE" / "NEW.BIN").read_bytes() == b"an older image", "never half an image under its name"
    assert seen == [0, 262_144, 524_288, 700_000]
    assert {p.name: p.read_bytes() for p in (drive / "UPDATE").iterdir()} == {"NEW.BIN": image}


async def test_nothing_is_put_there_without_an_act(drive: Path) -> None:
    driver, act = driver_on(drive), write_act(SERIAL, b"image")
    with pytest.raises(PermitRefused):
        await written(driver, b"another", act)
    with pytest.raises(PermitRefused):
        await written(driver, b"image", "an act")
    with pytest.raises(PermitRefused):
        await driver.restart(write_act(SERIAL, b"image"))
    assert list((drive / "UPDATE").iterdir()) == []


async def test_too_little_room_is_seen_before_the_first_byte(tmp_path: Path) -> None:
    with small_disk(tmp_path / "small", 1 << 20) as disk:
        laid_out(disk.path)
        if not os.path.ismount(disk.path):
            pytest.fail("needs a small file system of its own: run as a user who may mount a tmpfs")
        with pytest.raises(Refused, match=r"full.*bytes are free on the drive.*nothing was written"):
            await written(driver_on(disk.path), bytes(900_000))
        assert list((disk.path / "UPDATE").iterdir()) == []


async def test_a_drive_that_fills_up_meanwhile_is_no_success(tmp_path: Path) -> None:
    """Something else fills the drive while the image is copied; the old image stays as it was."""
    with small_disk(tmp_path / "small", 2 << 20) as disk:
        laid_out(disk.path)
        if not os.path.ismount(disk.path):
            pytest.fail("needs a small file system of its own: run as a user who may mount a tmpfs")
        (disk.path / "UPDATE" / "NEW.BIN").write_bytes(b"old")
        image = bytes(900_000)

        def fill_it() -> None:
            (disk.path / "JOBS" / "more.raw").write_bytes(bytes(shutil.disk_usage(disk.path).free))

        with pytest.raises(TransferCut, match="the drive is full") as cut:
            await meanwhile(driver_on(disk.path), image, 2, fill_it)
        assert 0 < cut.value.sent_bytes < len(image)
        assert {p.name: p.read_bytes() for p in (disk.path / "UPDATE").iterdir()} == {"NEW.BIN": b"old"}


@pytest.mark.parametrize("at", [1, 2, 4])
@pytest.mark.parametrize("left_behind", [False, True])
async def test_a_drive_that_is_pulled_is_no_success(drive: Path, at: int, left_behind: bool) -> None:
    """Also where its folder stays behind on the bench PC's disk, as an empty mount point does."""

    def pull_it() -> None:
        drive.rename(drive.with_name("pulled"))
        if left_behind:
            (drive / "UPDATE").mkdir(parents=True)

    with pytest.raises(LinkGone, match=r"the drive at .* is gone"):
        await meanwhile(driver_on(drive), os.urandom(700_000), at, pull_it)
    assert not (drive / "UPDATE" / "NEW.BIN").exists()
    assert not (drive.with_name("pulled") / "UPDATE" / "NEW.BIN").exists()


async def test_a_drive_pulled_while_it_is_read(drive: Path) -> None:
    driver = driver_on(drive)
    first, _ = await driver.recordings()

    async def sink(_: bytes) -> None:
        if drive.exists():
            drive.rename(drive.with_name("pulled"))

    with pytest.raises(LinkGone):
        async for _ in driver.fetch(first, sink):
            pass
    for reading in (driver.identify, driver.recordings):
        with pytest.raises(LinkGone):
            await reading()


async def test_a_drive_that_does_not_give_back_what_it_was_given(drive: Path) -> None:
    putting = Putting(Drive(drive), "UPDATE/NEW.BIN")
    putting.add(b"image")
    with pytest.raises(TransferCut, match="does not give back what was written"):
        putting.finish("0" * 64)


async def test_nothing_leads_out_of_the_drive(drive: Path, tmp_path: Path) -> None:
    (tmp_path / "secret.rnx").write_text("of the bench PC")
    (tmp_path / "outside").mkdir()
    (drive / "JOBS" / "z.rnx").symlink_to(tmp_path / "secret.rnx")
    (drive / "JOBS" / "dir.rnx").mkdir()
    os.mkfifo(drive / "JOBS" / "pipe.rnx")
    driver = driver_on(drive)
    assert [r.name for r in await driver.recordings()] == ["JOBS/a.RNX", "JOBS/b.rnx"]
    for name in ("JOBS/z.rnx", "JOBS/pipe.rnx", "JOBS/dir.rnx", "JOBS/none.rnx"):
        with pytest.raises(Garbled):
            await fetched(driver, Recording(name, 3))
    (drive / "UPDATE").rmdir()
    (drive / "UPDATE").symlink_to(tmp_path / "outside")
    with pytest.raises(Refused, match="is a link, or leads over one"):
        await written(driver, b"image")
    assert list((tmp_path / "outside").iterdir()) == []
    (drive / "UPDATE").unlink()
    (drive / "UPDATE").mkdir()
    (drive / "UPDATE" / ".NEW.BIN.part").symlink_to(tmp_path / "secret.rnx")
    await written(driver, b"image")
    assert (tmp_path / "secret.rnx").read_text() == "of the bench PC"
    (drive / "ABOUT.TXT").unlink()
    (drive / "ABOUT.TXT").symlink_to(tmp_path / "secret.rnx")
    with pytest.raises(Garbled, match="link"):
        await driver.identify()


async def test_counts_and_sizes_are_bounded(drive: Path) -> None:
    with pytest.raises(Garbled, match="more than 1 recordings"):
        await driver_on(drive, storage=STORAGE.model_copy(update={"most_files": 1})).recordings()
    with pytest.raises(Garbled, match="600002 bytes of recordings, more than 9"):
        await driver_on(drive, storage=STORAGE.model_copy(update={"most_bytes": 9})).recordings()
    (drive / "ABOUT.TXT").write_bytes(bytes(70_000))
    with pytest.raises(Garbled, match="larger than 65536 bytes"):
        await driver_on(drive).identify()
    for size in (1, 3):
        with pytest.raises(Garbled, match="is it still recorded"):
            await fetched(driver_on(drive), Recording("JOBS/b.rnx", size))


@pytest.mark.parametrize(
    ("data", "form", "release"),
    [
        (ABOUT.encode(), Form.LINES, "1.3"),
        (b"\xef\xbb\xbf" + ABOUT.replace("\n", "\r\n").encode(), Form.LINES, "1.3"),
        (b"serial: a\nmodel: b\nrelease: 1.3\nrelease: 9.9\n", Form.LINES, "1.3"),
        (b"serial: a\nmodel: b\nrelease: 1.\x1b[2J3\n", Form.LINES, "1.\\x1b[2J3"),
        (b"serial: a\nmodel: b\n", Form.LINES, None),
        (b'{"serial": 7, "model": "b", "release": "2.10"}', Form.JSON, "2.10"),
        (b'{"serial": "7", "model": "b", "release": 2.10}', Form.JSON, None),
        (b"serial: a\n", Form.LINES, "!"),
        (b"\xff\xfe", Form.LINES, "!"),
        (b"[]", Form.JSON, "!"),
        (b"{", Form.JSON, "!"),
        (b"[" * 60_000, Form.JSON, "!"),
        (b'{"serial": ' + b"[" * 60_000, Form.JSON, "!"),
        (b"", Form.LINES, "!"),
    ],
)
async def test_what_the_units_own_file_says(data: bytes, form: Form, release: str | None) -> None:
    about = About(file="A", form=form)
    if release == "!":
        with pytest.raises(Garbled):
            identity_in(data, about)
        return
    assert identity_in(data, about).release == release
    assert identity_in(data, about).mode is (Mode.RUN if release else Mode.BOOT)


@pytest.mark.parametrize(
    "path", ["../x", "a/../b", "/etc/passwd", "a//b", "", "a\\b", "C:x", "a/./b", "*.rnx", "a\n", "a/"]
)
async def test_no_playbook_leads_out_of_the_drive(path: str) -> None:
    for make in (
        lambda: Storage(image=path), lambda: Kept(folder=path, suffixes=(".x",)), lambda: About(file=path)
    ):  # fmt: skip
        with pytest.raises(ValueError, match=r"path on the drive|at least 1 character"):
            make()


async def test_a_drive_is_found_by_its_label(tmp_path: Path) -> None:
    laid_out(tmp_path / "media" / "tobias" / "SLUICEPAD")
    folders = (f"{tmp_path}/media/*", f"{tmp_path}/run/*")
    assert find_drive("label=SLUICEPAD", None, folders).root == tmp_path / "media" / "tobias" / "SLUICEPAD"
    assert find_drive("", "SLUICEPAD", folders).root.name == "SLUICEPAD"
    with pytest.raises(LinkNotFound, match="found none"):
        find_drive("label=OTHER", None, folders)
    for label in ("", "..", "*", "a/b"):
        with pytest.raises(LinkNotFound, match="no drive can be found by the label"):
            find_drive(f"label={label}", None, folders)
    laid_out(tmp_path / "run" / "ines" / "SLUICEPAD")
    with pytest.raises(LinkNotFound, match="expected one mounted volume"):
        find_drive("", "SLUICEPAD", folders)


async def test_a_restart_waits_for_the_drive_to_go_and_to_come_back(drive: Path) -> None:
    asked: list[str] = []

    async def hands(question: Question) -> Mapping[str, object]:
        asked.append(question.text)
        if question.capability == "unmount":
            if len(asked) == 2:
                drive.rename(drive.with_name("away"))
            return {"unmounted": True}
        drive.with_name("away").rename(drive)
        return {"up": True}

    driver, act = driver_on(drive, hands), write_act(SERIAL, b"image")
    await written(driver, b"image", act)
    await driver.restart(act)
    assert "It is still mounted at" in asked[1]
    assert len(asked) == 3
    assert (await driver.identify()).serial == SERIAL


async def test_a_restart_that_goes_wrong(drive: Path) -> None:
    async def never_unmounts(_: Question) -> Mapping[str, object]:
        return {"unmounted": True}

    driver, act = driver_on(drive, never_unmounts), write_act(SERIAL, b"image")
    await written(driver, b"image", act)
    with pytest.raises(LinkSilent, match="still mounted"):
        await driver.restart(act)
    for up, error in ((False, Refused), (True, LinkNotFound)):

        async def pulls(question: Question, up: bool = up) -> Mapping[str, object]:
            if drive.exists():
                drive.rename(drive.with_name(f"away {up}"))
            return {"unmounted": True, "up": up}

        laid_out(drive)
        driver, act = driver_on(drive, pulls), write_act(SERIAL, b"image")
        await written(driver, b"image", act)
        with pytest.raises(error):
            await driver.restart(act)


async def test_made_by_name(drive: Path, tmp_path: Path) -> None:
    book = sluicepad()
    with pytest.raises(InputError, match="section storage"):
        await make_driver("storage", Place(f"storage:{drive}", ask=nobody))
    quick = {"appears_s": 0}
    with pytest.raises(InputError, match="is no drive"):
        await make_driver("storage", Place("socket://x:1", quick, ask=nobody, playbook=book))
    with pytest.raises(LinkNotFound, match="no drive is mounted"):
        await make_driver("storage", Place(f"storage:{tmp_path / 'none'}", quick, ask=nobody, playbook=book))
    (tmp_path / "empty").mkdir()
    with pytest.raises(LinkNotFound, match="nothing is mounted"):
        await make_driver("storage", Place(f"storage:{tmp_path / 'empty'}", quick, ask=nobody, playbook=book))
    silent = book.model_copy(update={"storage": STORAGE.model_copy(update={"about": None})})
    with pytest.raises(LinkNotFound, match="nothing is mounted"):
        await make_driver("storage", Place(f"storage:{drive}", quick, ask=nobody, playbook=silent))
    made: Any = await make_driver("storage", Place(f"storage:{drive}", quick, ask=nobody, playbook=book))
    whole = completed(made, object())
    assert set(whole.sources) == {"identify", "recordings", "fetch", "write", "restart", "prove"}
    assert await made.prove("0" * 32) is None
    assert not (drive / "PROOF").exists(), "nothing is put on the drive of a unit that is no simulator"


@asynccontextmanager
async def simulated(
    folder: Path, *trouble: Mapping[str, object], book: Playbook | None = None
) -> AsyncIterator[tuple[Any, Process]]:
    """The driver on a simulated controller, with a person who does what is asked."""
    key = folder / "key"
    key.write_text("ab" * 32)
    more = ("--key", str(key))
    with unit("Sluicepad", folder / SERIAL, *more, serial_number=SERIAL, trouble=list(trouble)) as process:
        process.hand(do="external power", on=True)

        async def hands(question: Question) -> Mapping[str, object]:
            process.hand(do=question.capability)
            if question.capability == "restart":
                # As a person does: come back once it is up.
                until(lambda: process.log("flashed") or process.log("refused"), "the image taken, or refused")
                until((process.folder / "drive").exists, "the drive")
            return {"unmounted": True, "up": True}

        place = Place(
            str(process.link), {"poll_s": 0.02, "back_s": 5}, ask=hands, playbook=book or sluicepad(), unit=SERIAL
        )
        yield await make_driver("storage", place), process


async def test_the_simulated_controller_from_identify_to_verify(tmp_path: Path) -> None:
    async with simulated(tmp_path) as (driver, process):
        before = await driver.identify()
        assert (before.serial, before.model, before.release) == (SERIAL, "Sluicepad", process.state()["release"])
        kept = {r["name"]: r["sha256"] for r in process.state()["recordings"]}
        got = {r.name: hashlib.sha256(await fetched(driver, r)).hexdigest() for r in await driver.recordings()}
        assert got == {f"JOBS/{name}": sha256 for name, sha256 in kept.items()}
        proof = await driver.prove("12" * 16)
        assert proof is not None
        assert proof.holds(bytes.fromhex("ab" * 32), SERIAL)
        assert [p.name for p in (process.folder / "drive" / "PROOF").iterdir()] == ["answer.json"]
        image = image_for("Sluicepad", "F G", "1.4")
        act = write_act(SERIAL, image)
        await written(driver, image, act)
        assert process.log("image_begin") == [], "nothing is erased before the restart that takes the image"
        await driver.restart(act)
        taken = ["image_begin", "erased", "image_end", "flashed"]
        assert [line["what"] for line in process.log() if line["what"] in taken] == taken
        assert process.log("image_end")[0]["sha256"] == hashlib.sha256(image).hexdigest()
        assert {r["sha256"] for r in process.log("erased")[0]["recordings"]} == set(kept.values())
        assert (await driver.identify()).release == "1.4"
        assert await driver.recordings() == ()


async def test_the_old_version_after_a_write_that_seemed_to_work(tmp_path: Path) -> None:
    async with simulated(tmp_path, {"when": "image", "what": "old version"}) as (driver, _):
        before, image = await driver.identify(), image_for("Sluicepad", "F G", "1.4")
        act = write_act(SERIAL, image)
        await written(driver, image, act)
        until(lambda: not list((tmp_path / SERIAL / "drive" / "UPDATE").glob(".*")), "the unit to have seen it")
        await driver.restart(act)
        assert (await driver.identify()).release == before.release


async def test_the_controllers_drive_is_pulled(tmp_path: Path) -> None:
    async with simulated(tmp_path, {"when": "image", "what": "cable out", "seconds": 0.3}) as (driver, process):
        image = image_for("Sluicepad", "F G", "1.4", size=2_000_000)
        with pytest.raises(DeviceError):
            await meanwhile(driver, image, 1, lambda: until(lambda: process.log("trouble"), "the drive to be pulled"))
        assert process.log("image_begin") == []
        until((process.folder / "drive" / "ABOUT.TXT").exists, "the drive to come back")
        assert not (process.folder / "drive" / "UPDATE" / "SLUICEPAD.FEN").exists()
        assert json.loads((tmp_path / f"{SERIAL}.port").read_text())["url"].startswith("storage:/")
