"""What units suffer that speak by prompts, by SMP, that show a drive, or that cannot speak at all."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from smp import file_management as files
from smp import image_management as images
from smp import os_management as system
from smp import settings_management as settings

from benchday_simulators.images import build_image
from benchday_simulators.prepare import prepare
from tests.simulators.stranger import SERIAL, Process, unit, until
from tests.simulators.test_prompt_unit import IMAGE as BURNT
from tests.simulators.test_prompt_unit import Prompt
from tests.simulators.test_smp_unit import IMAGE as SLOT
from tests.simulators.test_smp_unit import Datagrams, met, started_again

PAD_IMAGE = build_image("Sluicepad", "1.6", ("F", "G"), 200_000, 1)
TILLER_IMAGE = build_image("Tiller", "7.4", ("E",), 300_000, 1)

# By prompts


@contextmanager
def gantry(folder: Path, *trouble: dict[str, Any]) -> Iterator[tuple[Process, Prompt]]:
    prepare(
        folder / "u",
        "Gantry",
        SERIAL,
        3,
        release="3.4",
        hardware="F",
        charge_percent=80,
        recordings=[3000],
        full_mwh=400_000,
    )
    with unit("Gantry", folder / "u", trouble=list(trouble)) as process:
        prompt = Prompt(process.link)
        try:
            prompt.wake()
            yield process, prompt
        finally:
            prompt.port.close()


def test_a_gantry_has_neither_recordings_nor_room(tmp_path: Path) -> None:
    trouble = {"what": "recordings vanish", "when": "recordings", "then": [{"what": "no room"}]}
    with gantry(tmp_path, trouble) as (process, prompt):
        assert prompt.ask("MEM") == ["END 0"]
        assert prompt.ask("SEND SITE001.rnx")[0].startswith("?3 ")
        assert prompt.ask(f"LOAD {len(BURNT)}")[0].startswith("?14 ")
        assert len(process.log("vanished")) == 1


def test_a_gantry_left_in_its_loader_takes_an_image(tmp_path: Path) -> None:
    with gantry(tmp_path, {"what": "boot loader only"}, {"what": "options lost"}) as (process, prompt):
        prompt.say("REBOOT")
        assert prompt.line() == "OK"
        assert prompt.line() == f"GANTRY {SERIAL} UP"
        process.wait_for("nothing accepted")
        prompt.wake()
        assert prompt.ask("WHO")[0].endswith("LOADER")
        prompt.send(BURNT)
        until(lambda: process.log("flashed"), "the burning")


def test_a_gantry_that_is_stuck(tmp_path: Path) -> None:
    with gantry(tmp_path, {"what": "stuck"}) as (process, prompt):
        prompt.port.write(b"WHO\r")
        until(lambda: process.state()["stuck"], "the state")
        prompt.port.timeout = 0.3
        prompt.port.reset_input_buffer()
        prompt.port.write(b"REL\r")
        assert prompt.port.read(100) == b""


# By SMP


@pytest.mark.parametrize("over", ["line", "udp"])
def test_an_answer_by_smp_comes_twice(tmp_path: Path, over: str) -> None:
    with met(tmp_path, over, trouble=[{"what": "repeated"}]) as (process, stranger):
        asked = settings.ReadSettingRequest(name="unit/serial")
        assert stranger.ask(asked, settings.ReadSettingResponse).val == SERIAL.encode()
        # What is heard next is the same again, not the answer to the next question.
        late = stranger.carrier.ask(bytes(system.EchoWriteRequest(d="x")))
        assert settings.ReadSettingResponse.loads(late).val == SERIAL.encode()
        assert len(process.log("trouble")) == 1


@pytest.mark.parametrize("what", ["garbled", "bytes lost", "stuck"])
def test_a_datagram_does_not_come(tmp_path: Path, what: str) -> None:
    with met(tmp_path, "udp", trouble=[{"what": what}]) as (process, _):
        port = Datagrams(process)
        port.port.settimeout(0.5)
        asked = bytes(settings.ReadSettingRequest(name="unit/serial"))
        with pytest.raises(TimeoutError):
            port.ask(asked)
        if what == "stuck":
            with pytest.raises(TimeoutError):
                port.ask(asked)
        else:
            assert SERIAL.encode() in port.ask(asked)
        port.close()


def test_smp_has_no_room_and_no_recordings(tmp_path: Path) -> None:
    vanish = {"what": "recordings vanish", "after_bytes": 768}
    with met(tmp_path, trouble=[{"what": "no room"}, vanish]) as (process, stranger):
        piece = images.ImageUploadWriteRequest(off=0, data=SLOT[:700], len=len(SLOT), sha=hashlib.sha256(SLOT).digest())
        refused = images.ImageManagementErrorV1.loads(stranger.carrier.ask(bytes(piece)))
        assert refused.rc == 2
        index = stranger.ask(files.FileDownloadRequest(off=0, name="/rec/index.txt"), files.FileDownloadResponse)
        name = f"/rec/{index.data.decode().split()[0]}"
        got = stranger.ask(files.FileDownloadRequest(off=0, name=name), files.FileDownloadResponse).data
        asked = files.FileDownloadRequest(off=len(got), name=name)
        assert b"rc" in stranger.carrier.ask(bytes(asked))
        assert len(process.log("vanished")) == 1
        assert process.log("image_begin") == []


def test_smp_in_a_loop_until_an_image_is_taken(tmp_path: Path) -> None:
    entries = [{"what": "boot loop", "seconds": 0.5}, {"what": "term changes"}]
    with met(tmp_path, trouble=entries, term="2027-03-31") as (process, stranger):
        stranger.reset()
        process.wait_for("restarts by itself", count=2)
        started_again(process, stranger, "1.3.1")
        assert process.state()["term"] == "2026-02-24"


# A drive


@contextmanager
def sluicepad(folder: Path, *trouble: dict[str, Any], **more: Any) -> Iterator[tuple[Process, Path]]:
    plain = {"release": "1.4", "hardware": "F", "charge_percent": 80, "full_mwh": 400_000, "recordings": [3000, 5000]}
    prepare(folder / "u", "Sluicepad", SERIAL, 3, **plain | more)  # type: ignore[arg-type]
    with unit("Sluicepad", folder / "u", trouble=list(trouble)) as process:
        drive = Path(process.ready["url"].removeprefix("storage:"))
        until(drive.exists, "the drive")
        yield process, drive


def put_on(process: Process, drive: Path) -> None:
    """Put an image on and let the unit take it."""
    (drive / "UPDATE" / "SLUICEPAD.FEN").write_bytes(PAD_IMAGE)
    process.hand(do="unmount")
    until(lambda: not drive.exists(), "the unmount")
    process.hand(do="restart")


def test_recordings_vanish_from_a_drive_while_it_shows(tmp_path: Path) -> None:
    trouble = {"what": "recordings vanish", "when": "recordings", "after_seconds": 3000}
    with sluicepad(tmp_path, trouble) as (process, drive):
        process.wait_for("vanished")
        until(lambda: list((drive / "JOBS").iterdir()) == [], "the jobs to go")


def test_an_unmounted_drive_is_mounted_again_with_what_was_put_on(tmp_path: Path) -> None:
    with sluicepad(tmp_path) as (process, drive):
        put = drive / "UPDATE" / "SLUICEPAD.FEN"
        put.write_bytes(PAD_IMAGE)
        process.hand(do="unmount")
        until(lambda: not drive.exists(), "the unmount")
        process.hand(do="mount")
        until(drive.exists, "the drive")
        assert put.read_bytes() == PAD_IMAGE
        assert process.log("image_begin") == []


def test_a_drive_is_pulled_in_the_middle_of_a_copy(tmp_path: Path) -> None:
    with sluicepad(tmp_path, {"what": "cable out", "after_bytes": 100_000, "seconds": 0.5}) as (process, drive):
        with (drive / "UPDATE" / "part").open("wb") as out:
            out.write(PAD_IMAGE[:99_999])
            out.flush()
            assert process.log("trouble") == []
            out.write(PAD_IMAGE[99_999:150_000])
            out.flush()
            until(lambda: not drive.exists(), "the drive to go")
        until(drive.exists, "the drive")
        assert (drive / "UPDATE" / "part").stat().st_size == 150_000


def test_a_drive_has_no_room_inside_and_takes_the_next(tmp_path: Path) -> None:
    with sluicepad(tmp_path, {"what": "no room"}, {"what": "options lost"}) as (process, drive):
        put_on(process, drive)
        assert process.wait_for("refused")["code"] == "full"
        until(drive.exists, "the drive")
        assert "release: 1.4" in (drive / "ABOUT.TXT").read_text()
        assert "options: \n" in (drive / "ABOUT.TXT").read_text()
        put_on(process, drive)
        process.wait_for("flashed", version="1.6")


def test_a_drive_whose_restart_finds_nothing(tmp_path: Path) -> None:
    with sluicepad(tmp_path, {"what": "boot loader only"}) as (process, drive):
        process.hand(do="restart")
        process.wait_for("nothing accepted")
        until(drive.exists, "the drive")
        assert "release: \n" in (drive / "ABOUT.TXT").read_text()
        put_on(process, drive)
        until(lambda: process.state()["release"] == "1.6", "the new release")


def test_hands_go_on_where_the_power_goes_in_a_restart(tmp_path: Path) -> None:
    with sluicepad(tmp_path, {"what": "power out", "when": "restart", "seconds": 0.2}) as (process, drive):
        process.hand(do="restart")
        process.wait_for("power", on=False, reason="power out")
        process.wait_for("power", count=2, on=True)
        until(drive.exists, "the drive")
        process.hand(do="restart")
        until(lambda: not drive.exists(), "the restart")


# By hand


@contextmanager
def tiller(folder: Path, *trouble: dict[str, Any]) -> Iterator[Process]:
    prepare(
        folder / "u", "Tiller", SERIAL, 3, release="7.0", charge_percent=60, recordings=[3000, 4000], full_mwh=400_000
    )
    (folder / "tiller.fen").write_bytes(TILLER_IMAGE)
    with unit("Tiller", folder / "u", trouble=list(trouble)) as process:
        yield process


def test_recordings_vanish_before_they_are_copied_to_a_card(tmp_path: Path) -> None:
    with tiller(tmp_path, {"what": "recordings vanish"}) as process:
        process.hand(do="copy to card", to=str(tmp_path / "card"))
        process.wait_for("vanished")
        until((tmp_path / "card").is_dir, "the copy")
        assert list((tmp_path / "card").iterdir()) == []


def test_a_tiller_empty_in_the_middle_is_written_again(tmp_path: Path) -> None:
    with tiller(tmp_path, {"what": "battery empty", "when": "flash", "percent": 50}) as process:
        process.hand(do="write by card", file=str(tmp_path / "tiller.fen"))
        process.wait_for("power", on=False, reason="battery empty")
        process.hand(do="external power", on=True)
        process.wait_for("power", count=2, on=True)
        assert process.state()["mode"] == "boot"
        process.hand(do="write by card", file=str(tmp_path / "tiller.fen"))
        process.wait_for("flashed", version="7.4")


def test_a_tiller_that_loops_and_has_no_room(tmp_path: Path) -> None:
    with tiller(tmp_path, {"what": "boot loop", "seconds": 0.2}, {"what": "no room"}) as process:
        process.hand(do="restart")
        process.wait_for("restarts by itself", count=2)
        process.hand(do="write by card", file=str(tmp_path / "tiller.fen"))
        assert process.wait_for("refused")["code"] in ("full", "busy", "off")
        process.wait_for("restarts by itself", count=4)


def test_settings_that_are_words_are_lost_too(tmp_path: Path) -> None:
    with tiller(tmp_path, {"what": "settings lost"}) as process:
        process.hand(do="restart")
        until(lambda: set(process.state()["settings"].values()) == {"unset"}, "the restart")
