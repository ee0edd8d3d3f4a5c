"""An Osier as a stranger's browser meets it."""

import hashlib
import json
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest

from benchday_simulators.images import build_image
from benchday_simulators.prepare import prepare
from tests.simulators.stranger import Process, unit, until

OSIER = "0077120455"
IMAGE = build_image("Osier", "2.10", ("C", "D"), 600_000, 1, "2.4")


@contextmanager
def osier(folder: Path, *more: str, trouble: Any = None, **overrides: object) -> Iterator[tuple[Process, httpx.Client]]:
    """Run an Osier and sign in."""
    # A large pack: an ordinary one is empty after some real seconds at this speed.
    plain = {"release": "2.6", "hardware": "C", "charge_percent": 80, "full_mwh": 200_000, "recordings": [40_000, 5000]}
    prepare(folder, "Osier", OSIER, 3, **plain | overrides)  # type: ignore[arg-type]
    with unit("Osier", folder, *more, serial_number=OSIER, trouble=trouble) as process:
        assert json.loads(process.link.read_text())["url"] == process.ready["url"]
        with httpx.Client(base_url=process.ready["url"]) as client:
            sign_in(process, client)
            yield process, client


def sign_in(process: Process, client: httpx.Client) -> None:
    """Sign in."""
    who = {"user": process.ready["user"], "password": process.ready["password"]}
    answer = client.post("/sign-in", data=who)
    assert answer.status_code == 204
    assert "HttpOnly" in answer.headers["set-cookie"]


def flashed(client: httpx.Client) -> dict[str, Any]:
    """Wait for the end of a flash."""
    until(lambda: client.get("/image").json()["state"] != "flashing", "the flash")
    state: dict[str, Any] = client.get("/image").json()
    return state


def back(process: Process, client: httpx.Client) -> None:
    """Wait until connections are taken again, and sign in."""

    def answers() -> bool:
        try:
            return client.get("/status").status_code == 401
        except httpx.TransportError:
            return False

    until(answers, "the unit")
    sign_in(process, client)


def test_nothing_without_a_session(tmp_path: Path) -> None:
    with osier(tmp_path / "u") as (process, _), httpx.Client(base_url=process.ready["url"]) as stranger:
        for path in ("/status", "/recordings", "/nowhere"):
            assert stranger.get(path).status_code == 401
        assert stranger.post("/image", files={"image": IMAGE}).status_code == 401
        assert stranger.post("/sign-in", data={"user": "operator", "password": "no"}).status_code == 403
        assert process.log("image_begin") == []


def test_it_tells_what_it_is(tmp_path: Path) -> None:
    key = tmp_path / "key"
    key.write_text("5a" * 32)
    with osier(tmp_path / "u", "--key", str(key)) as (process, client):
        status = client.get("/status").json()
        assert (status["serial"], status["model"], status["mode"], status["release"]) == (OSIER, "Osier", "run", "2.6")
        assert status["power"]["charge_percent"] in {79, 80}
        assert client.get("/position").json()["gga"].startswith("$GPGGA,")
        assert client.get("/air").json()["fix"] == "single"
        assert client.post("/test").json() == {"result": "pass"}
        assert len(client.post("/proof", json={"nonce": "00" * 16}).json()["mac"]) == 64
        assert client.put("/settings/frequency_khz", content='"461050"').status_code == 204
        assert client.get("/status").json()["settings"]["frequency_khz"] == "461050"
        assert client.put("/settings/volume", content='"11"').status_code == 404
        assert client.get("/nowhere").status_code == 404
        assert process.log("settings")[0]["to"] == "461050"


def test_recordings_come_whole_but_for_the_broken_one(tmp_path: Path) -> None:
    with osier(tmp_path / "u", broken_recording=2) as (_, client):
        whole, broken = client.get("/recordings").json()
        data = client.get(f"/recordings/{whole['name']}").content
        assert hashlib.sha256(data).hexdigest() == whole["sha256"]
        with pytest.raises(httpx.RemoteProtocolError):
            client.get(f"/recordings/{broken['name']}")
        assert client.get("/recordings/none").status_code == 404


def test_an_image_is_taken_flashed_and_runs_after_the_restart(tmp_path: Path) -> None:
    with osier(tmp_path / "u") as (process, client):
        answer = client.post("/image", files={"image": IMAGE})
        assert (answer.status_code, answer.json()) == (202, {"taken": len(IMAGE)})
        assert flashed(client) == {"state": "done", "percent": 100}
        assert client.post("/restart").status_code == 202
        back(process, client)
        assert client.get("/status").json()["release"] == "2.10"
        assert client.get("/recordings").json() == []
        end = {"bytes": len(IMAGE), "sha256": hashlib.sha256(IMAGE).hexdigest(), "outcome": "whole"}
        assert end.items() <= process.log("image_end")[0].items()
        assert process.log("image_begin")[0]["bytes"] == len(IMAGE)


@pytest.mark.parametrize(
    ("image", "code"),
    [
        (build_image("Millrace", "2.10", ("C",), 300_000, 1), "model"),
        (build_image("Osier", "2.10", ("D",), 300_000, 1), "hardware"),
        (build_image("Osier", "3.0", ("C",), 300_000, 1, "2.9"), "route"),
        (bytes(300_000), "header"),
    ],
)
def test_what_does_not_suit_is_refused_before_anything_is_erased(tmp_path: Path, image: bytes, code: str) -> None:
    with osier(tmp_path / "u") as (process, client):
        answer = client.post("/image", files={"image": image})
        assert (answer.status_code, answer.json()["refused"]) == (409, code)
        assert len(client.get("/recordings").json()) == 2
        assert process.log("image_begin") == []


def test_little_charge_and_a_wrong_sum_are_refused(tmp_path: Path) -> None:
    with osier(tmp_path / "u", charge_percent=14) as (process, client):
        assert client.post("/image", files={"image": IMAGE}).json()["refused"] == "power"
        process.hand(do="external power", on=True)
        until(lambda: client.get("/status").json()["power"]["external"], "external power")
        assert client.post("/image", files={"image": IMAGE[:-1] + b"\0"}).json()["refused"] == "crc"
        assert client.get("/status").json()["mode"] == "boot"
        assert client.get("/air").json()["refused"] == "boot"


def test_a_lost_upload_leaves_boot_and_it_can_be_written_again(tmp_path: Path) -> None:
    with osier(tmp_path / "u") as (process, client):
        session = client.cookies["quill"]
        head = b'--q\r\nContent-Disposition: form-data; name="image"; filename="i"\r\n\r\n'
        with socket.create_connection(("127.0.0.1", int(process.ready["url"].rpartition(":")[2]))) as raw:
            raw.sendall(
                b"POST /image HTTP/1.1\r\nHost: u\r\nContent-Type: multipart/form-data; boundary=q\r\n"
                b"Cookie: quill=" + session.encode() + b"\r\nContent-Length: 700000\r\n\r\n" + head + IMAGE[:200_000]
            )
            process.wait_for("image_begin")
        assert process.wait_for("image_end")["outcome"] == "cut"
        assert client.get("/status").json()["mode"] == "boot"
        assert client.get("/image").json()["state"] == "failed"
        assert client.post("/image", files={"image": IMAGE}).status_code == 202
        assert flashed(client)["state"] == "done"


def test_power_lost_in_the_flash_leaves_boot(tmp_path: Path) -> None:
    trouble = [{"when": "flash", "percent": 30, "what": "power out", "seconds": 0.2}]
    with osier(tmp_path / "u", trouble=trouble) as (process, client):
        assert client.post("/image", files={"image": IMAGE}).status_code == 202
        process.wait_for("power", on=True, reason="power back")
        back(process, client)
        assert client.get("/status").json()["mode"] == "boot"


def test_a_cut_connection_is_refused_for_a_while(tmp_path: Path) -> None:
    trouble = [{"when": "image", "percent": 50, "what": "cable out", "seconds": 0.3}]
    with osier(tmp_path / "u", trouble=trouble) as (process, client):
        with pytest.raises(httpx.TransportError):
            client.post("/image", files={"image": IMAGE})
        process.wait_for("image_end", outcome="cut")
        with pytest.raises(httpx.ConnectError):
            client.get("/status")

        def answers() -> bool:
            try:
                return bool(client.get("/status").json()["mode"] == "boot")
            except httpx.TransportError:
                return False

        until(answers, "the unit")


def test_silence_and_refusal(tmp_path: Path) -> None:
    trouble = [
        {"when": "identify", "what": "silent", "seconds": 0.3},
        {"when": "image", "what": "refuses"},
    ]
    with osier(tmp_path / "u", trouble=trouble) as (_, client):
        with pytest.raises(httpx.ReadTimeout):
            client.get("/status", timeout=0.1)
        assert client.get("/status").status_code == 200
        assert client.post("/image", files={"image": IMAGE}).json()["refused"] == "busy"
