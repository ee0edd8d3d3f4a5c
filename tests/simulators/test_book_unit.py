"""A Fenbook as a stranger's browser meets it, from the page of dialogues alone."""

import hashlib
import hmac
import re
import socket
import ssl
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import httpx

from benchday_simulators.images import build_image
from benchday_simulators.prepare import prepare
from tests.simulators.stranger import Process, unit, until

SERIAL = "FB2204-0455"
IMAGE = build_image("Fenbook", "1.6", ("H", "J"), 300_000, 1)


@contextmanager
def fenbook(
    folder: Path, *more: str, trouble: Any = None, **overrides: object
) -> Iterator[tuple[Process, httpx.Client]]:
    """Run a Fenbook and come in."""
    plain = {"release": "1.4", "hardware": "H", "charge_percent": 80, "full_mwh": 400_000, "recordings": [40_000, 5000]}
    prepare(folder, "Fenbook", SERIAL, 3, **plain | overrides)  # type: ignore[arg-type]
    with unit("Fenbook", folder, *more, serial_number=SERIAL, trouble=trouble) as process:
        anything = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        anything.check_hostname, anything.verify_mode = False, ssl.CERT_NONE
        with httpx.Client(base_url=process.ready["url"], verify=anything) as client:
            come_in(process, client)
            yield process, client


def ticket(client: httpx.Client, page: str = "/") -> str:
    """Read a ticket off a page."""
    found = re.search(r'name="ticket" value="([0-9a-f]+)"', client.get(page).text)
    assert found is not None
    return found[1]


def come_in(process: Process, client: httpx.Client) -> None:
    """Sign in by the form."""
    who = {"person": process.ready["user"], "code": process.ready["password"], "ticket": ticket(client, "/sign-in")}
    wrong = client.post("/sign-in", data={**who, "code": "no"})
    assert (wrong.status_code, 'class="wrong"' in wrong.text) == (200, True)
    again = client.post("/sign-in", data=who)  # its ticket was used
    assert (again.status_code, 'class="wrong"' in again.text) == (200, True)
    answer = client.post("/sign-in", data={**who, "ticket": ticket(client, "/sign-in")})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert all(word in answer.headers["set-cookie"] for word in ("HttpOnly", "Secure"))


def test_what_it_shows(tmp_path: Path) -> None:
    """Nothing without sign-in; then page, state, jobs and proof."""
    key = tmp_path / "key"
    key.write_text("07" * 32)
    with fenbook(tmp_path / "u", "--key", str(key)) as (process, client):
        anonymous = httpx.Client(base_url=process.ready["url"], verify=False)  # noqa: S501 - that is the question
        with anonymous:
            answer = anonymous.get("/state.json")
            assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in")
        text = client.get("/").text
        assert f'<tr id="serial"><th>Serial</th><td>{SERIAL}</td>' in text
        assert "<td>Fenbook 1.4</td>" in text
        assert "<td>rev. H</td>" in text
        state = client.get("/state.json").json()
        assert state["fault"] is None
        assert 0.7 < state["battery"]["charge"] <= 0.8
        assert state["battery"]["supply"] == "battery"
        names = re.findall(
            r'<td class="name">([^<]+)</td><td class="size">(\d+) bytes</td><td class="sum">(\w+)<',
            client.get("/jobs").text,
        )
        for name, size, digest in names:
            data = client.get(f"/jobs/{name}").content
            assert (len(data), hashlib.sha256(data).hexdigest()) == (int(size), digest)
            assert data.startswith(b"FENJOB 1\ncontroller: " + SERIAL.encode())
        assert len(names) == 2
        mac = client.post("/proof", data={"nonce": "ab" * 16}).json()["mac"]
        assert mac == hmac.new(b"\x07" * 32, f"{'ab' * 16}:{SERIAL}".encode(), hashlib.sha256).hexdigest()
        assert client.get("/nowhere").status_code == 404


def test_acts_want_a_ticket_and_faults_are_told_with_200(tmp_path: Path) -> None:
    """A setting, twice with one ticket; an unknown one; the self-test."""
    with fenbook(tmp_path / "u") as (process, client):
        one = ticket(client)
        told = {"name": "keypad", "value": "large", "ticket": one}
        assert client.post("/settings", data=told).json() == {"fault": None, "ok": True}
        refused = client.post("/settings", data=told)
        assert (refused.status_code, refused.json()["fault"]) == (200, "ticket")
        unknown = client.post("/settings", data={"name": "nothing", "value": "x", "ticket": ticket(client)})
        assert unknown.json()["fault"] == "unknown"
        assert process.log("settings")[0]["to"] == "large"
        assert client.post("/test", data={"ticket": ticket(client)}).json()["outcome"] == "good"


def test_an_image_from_taking_to_running(tmp_path: Path) -> None:
    """Refused for another model before anything is lost; then taken, written, started; its certificate stays."""
    with fenbook(tmp_path / "u") as (process, client):
        process.hand(do="external power", on=True)
        other = client.put(f"/software?ticket={ticket(client)}", content=build_image("Osier", "2.0", ("C",), 9000, 1))
        assert (other.status_code, other.json()["fault"]) == (200, "model")
        assert process.log("erased") == []
        before = (tmp_path / "u" / "page.pem").read_bytes()
        taken = client.put(f"/software?ticket={ticket(client)}", content=IMAGE).json()
        assert taken == {"fault": None, "taken": len(IMAGE)}
        until(lambda: client.get("/software.json").json()["step"] != "writing", "the write")
        assert client.get("/software.json").json() == {"fault": None, "step": "ready", "done": 1.0}
        assert client.get("/jobs").json()["fault"] == "boot"
        assert client.post("/restart", data={"ticket": ticket(client)}).json()["ok"] is True

        def forgotten() -> bool:
            try:
                return client.get("/").status_code == 303
            except httpx.TransportError:
                return False

        until(forgotten, "the unit")
        come_in(process, client)
        assert "<td>Fenbook 1.6</td>" in client.get("/").text
        assert (tmp_path / "u" / "page.pem").read_bytes() == before
        assert process.log("image_end")[-1]["sha256"] == hashlib.sha256(IMAGE).hexdigest()


def test_the_page_is_encrypted(tmp_path: Path) -> None:
    """Plain HTTP gets nothing."""
    with fenbook(tmp_path / "u") as (process, _):
        port = int(process.ready["url"].rpartition(":")[2])
        with socket.create_connection(("127.0.0.1", port), 5) as plain:
            plain.sendall(b"GET / HTTP/1.1\r\nHost: x\r\n\r\n")
            plain.settimeout(10)
            with suppress(ConnectionError):
                assert b"Fenbook" not in plain.recv(1000)
