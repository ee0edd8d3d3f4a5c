"""A Wherry as a stranger's program meets it: messages and lines by the message library, over its port and by UDP."""

from __future__ import annotations

import hashlib
import hmac
import json
import socket
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, TypeVar

import hypothesis.strategies as st
import pytest
import serial
from cbor2 import dumps, loads
from hypothesis import given
from smp import file_management as files
from smp import image_management as images
from smp import os_management as system
from smp import settings_management as settings
from smp.error import ErrorV1
from smp.exceptions import SMPException
from smp.message import Request, Response
from smp.packet import decode, encode

from benchday_simulators.prepare import prepare
from benchday_simulators.slot_images import build_slot_image, hash_of
from benchday_simulators.smp_cbor import BadCbor
from benchday_simulators.smp_cbor import decode as read_cbor
from benchday_simulators.smp_cbor import encode as write_cbor
from tests.devices.slot_images import slot_image
from tests.simulators.stranger import SERIAL, Process, unit, until

R = TypeVar("R", bound=Response)
IMAGE = build_slot_image("1.4.0", 20_000, 1)


class Line:
    """A serial port with lines of SMP on it."""

    def __init__(self, process: Process) -> None:
        self.port = serial.Serial(str(process.link), 115200, timeout=1)

    def ask(self, message: bytes) -> bytes:
        for line in encode(message):
            self.port.write(line)
        frame = decode()
        next(frame)
        while True:
            try:
                frame.send(self.port.readline())
            except StopIteration as whole:
                return bytes(whole.value)

    def close(self) -> None:
        self.port.close()


class Datagrams:
    """A socket."""

    def __init__(self, process: Process) -> None:
        _, _, port = json.loads(process.link.read_text())["url"].rpartition(":")
        self.port = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.port.settimeout(10)
        self.port.connect(("127.0.0.1", int(port)))

    def ask(self, message: bytes) -> bytes:
        self.port.send(message)
        return self.port.recv(2048)

    def close(self) -> None:
        self.port.close()


class Stranger:
    """Asks by the message library, and has its answers read by it, strictly."""

    def __init__(self, carrier: Line | Datagrams) -> None:
        self.carrier = carrier

    def ask(self, request: Request, kind: type[R]) -> R:
        answer = kind.loads(self.carrier.ask(bytes(request)))
        assert answer.sequence == request.sequence
        return answer

    def states(self) -> list[dict[str, Any]]:
        said = self.ask(images.ImageStatesReadRequest(), images.ImageStatesReadResponse)
        return [state.model_dump(exclude_none=True) for state in said.images]

    def upload(self, image: bytes, *, begin: int = 0, most: int = 10**9) -> images.ImageUploadWriteResponse:
        at = begin
        while True:
            piece = {"off": at, "data": image[at : at + 700]}
            if at == 0:
                piece |= {"len": len(image), "sha": hashlib.sha256(image).digest()}
            said = self.ask(images.ImageUploadWriteRequest(**piece), images.ImageUploadWriteResponse)
            assert said.off is not None
            at = said.off
            if at >= min(len(image), most):
                return said

    def mark(self, digest: bytes | None, *, confirm: bool = False) -> None:
        self.ask(images.ImageStatesWriteRequest(hash=digest, confirm=confirm), images.ImageStatesWriteResponse)

    def reset(self) -> None:
        self.ask(system.ResetWriteRequest(), system.ResetWriteResponse)


@contextmanager
def met(folder: Path, over: str = "line", *more: str, **told: Any) -> Iterator[tuple[Process, Stranger]]:
    """A prepared Wherry and a stranger at its port."""
    plain = {"release": "1.3.1", "hardware": "B", "charge_percent": 80, "full_mwh": 200_000, "recordings": [3000, 5000]}
    trouble, speed = told.pop("trouble", None), told.pop("speed", 3000)
    prepare(folder / "u", "Wherry", SERIAL, 3, **(plain | told))  # type: ignore[arg-type]
    with unit("Wherry", folder / "u", "--over", over, *more, trouble=trouble, speed=speed) as process:
        carrier = Line(process) if over == "line" else Datagrams(process)
        yield process, Stranger(carrier)
        carrier.close()


def started_again(process: Process, stranger: Stranger, version: str) -> list[dict[str, Any]]:
    """Wait for a restart's end; gives the images as they stand."""
    until(lambda: process.state()["release"] == version, f"release {version}")
    while True:  # it hears nothing while it boots, and may do that yet
        with suppress(SMPException, OSError):
            return stranger.states()


@pytest.mark.parametrize("over", ["line", "udp"])
def test_it_answers_what_it_is_asked(tmp_path: Path, over: str) -> None:
    key = tmp_path / "key"
    key.write_text("5a" * 32)
    with met(tmp_path, over, "--key", str(key)) as (process, stranger):
        echo = stranger.ask(system.EchoWriteRequest(d="hello"), system.EchoWriteResponse)
        assert echo.r == "hello"
        size = stranger.ask(system.MCUMgrParametersReadRequest(), system.MCUMgrParametersReadResponse)
        assert (size.buf_size, size.buf_count) == (1024, 4)
        info = stranger.ask(system.OSApplicationInfoReadRequest(format="ni"), system.OSApplicationInfoReadResponse)
        assert info.output == f"wherry-{SERIAL} Wherry"
        for name, value in (("unit/serial", SERIAL), ("unit/hardware", "B"), ("frequency_khz", "461025")):
            said = stranger.ask(settings.ReadSettingRequest(name=name), settings.ReadSettingResponse)
            assert said.val == value.encode()
        change = settings.WriteSettingRequest(name="frequency_khz", val=b"461050")
        stranger.ask(change, settings.WriteSettingResponse)
        stranger.ask(settings.SaveSettingsRequest(), settings.SaveSettingsResponse)
        assert process.state()["settings"]["frequency_khz"] == "461050"
        nonce = "0123456789abcdef" * 2
        mac = hmac.new(bytes.fromhex("5a" * 32), f"{nonce}:{SERIAL}".encode(), hashlib.sha256).hexdigest()
        proof = stranger.ask(settings.ReadSettingRequest(name=f"proof/{nonce}"), settings.ReadSettingResponse)
        assert proof.val.decode() == mac
        assert [(s["slot"], s["version"], s.get("confirmed")) for s in stranger.states()] == [(0, "1.3.1", True)]


@pytest.mark.parametrize("over", ["line", "udp"])
def test_recordings_come_whole(tmp_path: Path, over: str) -> None:
    with met(tmp_path, over) as (_, stranger):

        def read(path: str) -> bytes:
            got, size = b"", stranger.ask(files.FileStatusRequest(name=path), files.FileStatusResponse).len
            while len(got) < size:
                got += stranger.ask(files.FileDownloadRequest(off=len(got), name=path), files.FileDownloadResponse).data
            return got

        names = read("/rec/index.txt").decode().split()
        assert len(names) == 2
        for name in names:
            request = files.FileHashChecksumRequest(name=f"/rec/{name}", type="sha256")
            said = stranger.ask(request, files.FileHashChecksumResponse)
            assert said.output == hashlib.sha256(read(f"/rec/{name}")).digest()


def test_an_image_runs_on_trial_and_stays_once_confirmed(tmp_path: Path) -> None:
    with met(tmp_path) as (process, stranger):
        assert stranger.upload(IMAGE).match
        assert stranger.states()[1] == {"slot": 1, "version": "1.4.0", "hash": hash_of(IMAGE), "bootable": True}
        stranger.mark(hash_of(IMAGE))
        assert stranger.states()[1]["pending"]
        stranger.reset()
        running, other = started_again(process, stranger, "1.4.0")
        assert (running["version"], running.get("confirmed"), other["version"]) == ("1.4.0", None, "1.3.1")
        stranger.mark(None, confirm=True)
        assert stranger.states()[0]["confirmed"]
        stranger.reset()
        process.wait_for("confirmed")
        assert started_again(process, stranger, "1.4.0")[0]["version"] == "1.4.0"
        kinds = [line["what"] for line in process.log() if line["what"] not in ("power", "identify")]
        assert kinds == ["image_begin", "erased", "image_end", "flashed", "marked", "changed", "confirmed"]
        assert process.log("image_end")[0]["sha256"] == hashlib.sha256(IMAGE).hexdigest()
        assert len(process.log("erased")[0]["recordings"]) == 2
        assert list((tmp_path / "u" / "recordings").iterdir()) == []


def test_it_goes_back_where_nobody_confirmed(tmp_path: Path) -> None:
    with met(tmp_path) as (process, stranger):
        stranger.upload(IMAGE)
        stranger.mark(hash_of(IMAGE))
        stranger.reset()
        started_again(process, stranger, "1.4.0")
        stranger.reset()
        running, _ = started_again(process, stranger, "1.3.1")
        assert running["confirmed"]
        assert process.log("gone back")[0]["version"] == "1.3.1"


def test_an_upload_is_resumed_by_its_sum(tmp_path: Path) -> None:
    with met(tmp_path) as (process, stranger):
        stopped = stranger.upload(IMAGE, most=5000).off
        again = stranger.upload(IMAGE, most=1)
        assert again.off == stopped
        assert stranger.upload(IMAGE, begin=stopped or 0).match
        assert len(process.log("image_begin")) == 1
        # What follows a finished one is not known to it: it wants the image from its beginning.
        more = images.ImageUploadWriteRequest(off=5000, data=b"x")
        assert stranger.ask(more, images.ImageUploadWriteResponse).off == 0


def test_a_start_forgets_an_upload(tmp_path: Path) -> None:
    with met(tmp_path) as (process, stranger):
        stranger.upload(IMAGE, most=5000)
        stranger.reset()
        process.wait_for("image_end", outcome="cut")
        assert len(started_again(process, stranger, "1.3.1")) == 1
        assert stranger.ask(
            images.ImageUploadWriteRequest(off=5000, data=b"x"), images.ImageUploadWriteResponse
        ).off == 0  # fmt: skip


def test_it_refuses_by_the_protocols_numbers(tmp_path: Path) -> None:
    with met(tmp_path, charge_percent=14) as (process, stranger):
        low = images.ImageUploadWriteRequest(off=0, data=IMAGE[:500], len=len(IMAGE))
        assert _refused(stranger, low) == {"rc": 6}
        process.hand(do="external power", on=True)
        until(lambda: process.state()["external_power"], "external power")
        wrong = images.ImageUploadWriteRequest(off=0, data=b"FENIMAGE 1\n" * 9, len=500)
        assert _refused(stranger, wrong) == {"err": {"group": 1, "rc": 23}}
        assert process.log("erased") == []
        huge = images.ImageUploadWriteRequest(off=0, data=IMAGE[:500], len=10**8)
        assert _refused(stranger, huge) == {"err": {"group": 1, "rc": 30}}
        none = images.ImageStatesWriteRequest(hash=bytes(32), confirm=False)
        assert _refused(stranger, none) == {"err": {"group": 1, "rc": 8}}
        assert _refused(stranger, settings.ReadSettingRequest(name="mood")) == {"err": {"group": 3, "rc": 3}}
        assert _refused(stranger, settings.ReadSettingRequest(name="proof/00")) == {"rc": 5}
        assert _refused(stranger, files.FileStatusRequest(name="/etc/passwd")) == {"err": {"group": 8, "rc": 3}}
        assert _refused(stranger, images.ImageEraseRequest()) == {"rc": 8}
        stranger.upload(IMAGE)
        stranger.mark(hash_of(IMAGE))
        again = images.ImageUploadWriteRequest(off=0, data=IMAGE[:500], len=len(IMAGE))
        assert _refused(stranger, again) == {"err": {"group": 1, "rc": 9}}


def _refused(stranger: Stranger, request: Request) -> dict[str, Any]:
    told: dict[str, Any] = loads(stranger.carrier.ask(bytes(request))[8:])
    return told


def test_an_older_hosts_refusal_has_one_number(tmp_path: Path) -> None:
    with met(tmp_path) as (_, stranger):
        request = settings.ReadSettingRequest(name="mood", version=0)
        assert stranger.ask(request, settings.SettingsManagementErrorV1).rc == 1
        assert issubclass(settings.SettingsManagementErrorV1, ErrorV1)


def test_a_damaged_image_is_told_by_its_sum(tmp_path: Path) -> None:
    with met(tmp_path) as (process, stranger):
        digest = hashlib.sha256(IMAGE).digest()
        damaged = IMAGE[:-1] + bytes((IMAGE[-1] ^ 1,))
        first = images.ImageUploadWriteRequest(off=0, data=damaged[:500], len=len(damaged), sha=digest)
        stranger.ask(first, images.ImageUploadWriteResponse)
        assert stranger.upload(damaged, begin=500).match is False
        assert len(stranger.states()) == 1
        assert process.log("image_end")[0]["outcome"] == "refused"


def test_images_are_built_as_the_tests_build_them() -> None:
    ours, digest = slot_image("1.4.0", 100)
    assert hash_of(ours) == digest
    assert build_slot_image("1.4.0", 100, 1)[:32] == ours[:32]


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**64), 2**64 - 1) | st.binary(max_size=300) | st.text(max_size=70),
    lambda deep: st.lists(deep, max_size=4) | st.dictionaries(st.text(max_size=30), deep, max_size=4),
    max_leaves=6,
)


@given(VALUES)
def test_its_cbor_is_the_librarys(value: Any) -> None:
    assert loads(write_cbor(value)) == value
    with suppress(BadCbor):  # too deep for it
        assert read_cbor(dumps(value)) == value


@given(st.binary(max_size=60))
def test_no_bytes_stop_its_cbor(data: bytes) -> None:
    with suppress(BadCbor):
        ours = read_cbor(data)
        assert loads(data) == ours


@pytest.mark.parametrize(
    ("data", "value"),
    [
        # RFC 8949, appendix A
        ("1903e8", 1000),
        ("3903e7", -1000),
        ("4401020304", b"\x01\x02\x03\x04"),
        ("62c3bc", "ü"),
        ("98190102030405060708090a0b0c0d0e0f101112131415161718181819", list(range(1, 26))),
        ("a26161016162820203", {"a": 1, "b": [2, 3]}),
        ("bf61610161629f0203ffff", {"a": 1, "b": [2, 3]}),
    ],
)
def test_the_published_examples(data: str, value: Any) -> None:
    assert read_cbor(bytes.fromhex(data)) == value
