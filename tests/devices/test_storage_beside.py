"""The storage driver asks beside a drive and not on it, and believes the unit's own word on its room."""

from __future__ import annotations

import ast
import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import anyio
import anyio.abc
import pytest

from benchday.devices.drivers import Place, make_driver
from benchday.devices.drivers import storage as storage_module
from benchday.devices.drivers.by_hand_questions import Question
from benchday.domain.errors import DeviceError, Garbled, OutcomeUnknown, Refused, TransferCut
from benchday.domain.storage import About, Storage
from tests.devices.acts import image_for, write_act
from tests.devices.books import sluicepad
from tests.devices.test_storage import (
    ABOUT,
    NAMES,
    SERIAL,
    STORAGE,
    driver_on,
    laid_out,
    nobody,
    simulated,
    written,
)

pytestmark = pytest.mark.asyncio


@pytest.fixture
def drive(tmp_path: Path) -> Path:
    """A drive with two recordings."""
    return laid_out(tmp_path / "mounted")


def as_it_is(drive: Path) -> dict[str, tuple[int, int]]:
    """Say what lies on a drive, and since when."""
    return {str(p.relative_to(drive)): (p.stat().st_mtime_ns, p.stat().st_size) for p in drive.rglob("*")}


async def test_no_question_for_a_proof_is_put_on_a_drive(drive: Path, tmp_path: Path) -> None:
    """Not even where the folder for it is there: a real drive is named by its folder, and nobody is asked at all."""
    (drive / "PROOF").mkdir()
    (drive / "PROOF" / "answer.json").write_text(json.dumps({"nonce": "0" * 32, "mac": "1" * 64}))
    before, asked = as_it_is(drive), []

    async def hear(stream: Any) -> None:
        async with stream:
            asked.append(await stream.receive())

    async with await anyio.create_tcp_listener(local_host="127.0.0.1") as served, anyio.create_task_group() as tasks:
        tasks.start_soon(served.serve, hear)
        port = served.extra(anyio.abc.SocketAttribute.local_port)  # noqa: S610  # no database in sight
        for told in ({}, {"proof": f"192.0.2.7:{port}"}, {"proof": f"localhost:{port}"}, {"proof": "127.0.0.1:x"}):
            place = tmp_path / "place.json"
            place.write_text(json.dumps({"url": f"storage:{drive}", **told}))
            for where in (str(place), f"storage:{drive}"):
                made: Any = await make_driver(
                    "storage", Place(where, {"appears_s": 0}, ask=nobody, playbook=sluicepad())
                )
                assert await made.prove("0" * 32) is None
        tasks.cancel_scope.cancel()
    assert asked == []
    assert as_it_is(drive) == before


async def test_only_a_write_puts_anything_on_a_drive() -> None:
    """The one place in the drivers where a file is made on a drive is the write, which takes a spent act."""
    folder = Path(storage_module.__file__).parent
    made = {
        (path.name, function.name)
        for path in folder.glob("*.py")
        for function in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef)
        and any(isinstance(node, ast.Name) and node.id == "Putting" for node in ast.walk(function))
    }
    assert made == {("storage.py", "_write")}


def telling(room: str) -> Storage:
    """Declare a drive whose unit says how much room there is, of which 65536 bytes are to be left."""
    about = About(file="ABOUT.TXT", names=NAMES.model_copy(update={"free": room}))
    return STORAGE.model_copy(update={"about": about, "spare_bytes": 65_536})


@pytest.mark.parametrize("told", ["69632", ""])
async def test_there_is_room_by_the_units_own_word(drive: Path, told: str) -> None:
    (drive / "ABOUT.TXT").write_text(f"{ABOUT}free: {told}\n")
    await written(driver_on(drive, storage=telling("free")), bytes(4096))
    assert (drive / "UPDATE" / "NEW.BIN").read_bytes() == bytes(4096)


@pytest.mark.parametrize(
    ("told", "error", "words"),
    [("69631", Refused, "69631 bytes are free by the unit's own word, 69632"), ("lots", Garbled, "number of bytes")],
)
async def test_the_units_own_word_on_its_room_counts(
    drive: Path, told: str, error: type[DeviceError], words: str
) -> None:
    """Where it knows better than the drive's own figure."""
    (drive / "ABOUT.TXT").write_text(f"{ABOUT}free: {told}\n")
    with pytest.raises(error, match=words):
        await written(driver_on(drive, storage=telling("free")), bytes(4096))
    assert list((drive / "UPDATE").iterdir()) == []


async def test_an_image_that_was_lost_on_the_drive_is_not_restarted_into(drive: Path) -> None:
    driver, image = driver_on(drive), os.urandom(9000)
    act = write_act(SERIAL, image)
    await written(driver, image, act)
    (drive / "UPDATE" / "NEW.BIN").write_bytes(image[:4096])
    with pytest.raises(TransferCut, match="no longer the image put there; the unit was not restarted"):
        await driver.restart(act)


async def test_a_full_drive_says_so_before_the_first_byte(tmp_path: Path) -> None:
    async with simulated(tmp_path, {"what": "drive full"}) as (driver, process):
        recorded = await driver.recordings()
        with pytest.raises(Refused, match=r"full .*4096 bytes are free by the unit's own word"):
            await written(driver, image_for("Sluicepad", "F G", "1.4"))
        assert list((process.folder / "drive" / "UPDATE").iterdir()) == []
        assert (await driver.recordings(), process.log("image_begin")) == (recorded, [])


async def test_a_full_drive_that_does_not_say_so_takes_no_half_image(tmp_path: Path) -> None:
    """Where nobody asks it for its room, what is beyond is lost, the unit refuses the rest and keeps everything."""
    book = sluicepad()
    assert book.storage is not None
    assert book.storage.about is not None
    names = book.storage.about.names.model_copy(update={"free": None})
    about = book.storage.about.model_copy(update={"names": names})
    careless = book.model_copy(update={"storage": book.storage.model_copy(update={"about": about})})
    async with simulated(tmp_path, {"what": "drive full"}, book=careless) as (driver, process):
        before, recorded = await driver.identify(), await driver.recordings()
        image = image_for("Sluicepad", "F G", "1.4")
        act = write_act(SERIAL, image)
        await written(driver, image, act)
        await driver.restart(act)
        assert [line["code"] for line in process.log("refused")] == ["size"]
        assert process.log("image_begin") == []
        assert (await driver.identify(), await driver.recordings()) == (before, recorded)


@pytest.mark.parametrize("ejected", [True, False])
async def test_a_drive_that_went_away_after_the_copy_is_asked_about(drive: Path, ejected: bool) -> None:
    """Its unit's power may have gone before it kept the image: nobody is asked to restart it then."""
    asked: list[str] = []

    async def hands(question: Question) -> Mapping[str, object]:
        asked.append(question.capability)
        if question.capability == "restart":
            drive.with_name("away").rename(drive)
        return {"ejected": ejected, "up": True}

    driver, image = driver_on(drive, hands), os.urandom(9000)
    act = write_act(SERIAL, image)
    await written(driver, image, act)
    drive.rename(drive.with_name("away"))
    if ejected:
        await driver.restart(act)
        assert asked == ["drive gone", "restart"]
        return
    with pytest.raises(OutcomeUnknown, match="whether the unit kept all of it is not known"):
        await driver.restart(act)
    assert asked == ["drive gone"]
