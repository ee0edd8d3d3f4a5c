"""What units with a page of their own suffer, as their host sees it."""

from __future__ import annotations

import time
from itertools import pairwise
from pathlib import Path

import httpx
import pytest

from tests.simulators.stranger import Process, until
from tests.simulators.test_book_unit import IMAGE as SOFTWARE
from tests.simulators.test_book_unit import fenbook, ticket
from tests.simulators.test_web_unit import IMAGE, OSIER, back, flashed, osier


def restarted(process: Process, client: httpx.Client) -> None:
    """Restart an Osier and sign in again."""
    assert client.post("/restart").status_code == 202
    back(process, client)


def recorded(client: httpx.Client) -> list[tuple[str, int]]:
    return [(one["name"], one["bytes"]) for one in client.get("/recordings").json()]


def test_a_stuck_page_takes_everything_and_says_nothing(tmp_path: Path) -> None:
    with osier(tmp_path / "u", trouble=[{"what": "stuck"}]) as (process, client):
        for _ in range(2):
            with pytest.raises(httpx.ReadTimeout):
                client.get("/status", timeout=0.3)
        with pytest.raises(httpx.ReadTimeout):
            client.post("/image", files={"image": IMAGE}, timeout=1.0)
        assert process.log("image_begin") == []
        process.hand(do="switch", on=False)
        process.wait_for("power", on=False)
        process.hand(do="switch", on=True)
        back(process, client)
        assert client.get("/status").json()["serial"] == OSIER


def test_wi_fi_drops_and_nobody_is_told(tmp_path: Path) -> None:
    entry = {"what": "wi-fi drops", "when": "send", "after_bytes": 16_384, "seconds": 1.0}
    with osier(tmp_path / "u", trouble=[entry]) as (process, client):
        name, size = recorded(client)[0]
        with client.stream("GET", f"/recordings/{name}") as answer:
            came = [(time.monotonic(), len(piece)) for piece in answer.iter_bytes()]
        assert sum(count for _, count in came) == size
        assert max(later - before for (before, _), (later, _) in pairwise(came)) > 0.5
        assert process.log("trouble")[0]["when"] == "send"


def test_pages_say_things_twice_or_not_all_of_them(tmp_path: Path) -> None:
    entries = [{"what": "repeated"}, {"what": "bytes lost", "when": "recordings"}]
    with osier(tmp_path / "u", trouble=entries) as (_, client):
        twice, once = client.get("/status").text, client.get("/status").text
        assert twice[: len(twice) // 2].split('"power"')[0] == once.split('"power"')[0]
        assert twice.count('"serial"') == 2
        assert len(client.get("/recordings").content) < len(client.get("/recordings").content)


def test_a_slow_page_takes_its_time(tmp_path: Path) -> None:
    entry = {"what": "slow", "when": "send", "factor": 20, "seconds": 30}
    with osier(tmp_path / "u", trouble=[entry]) as (_, client):
        name, size = recorded(client)[0]
        began = time.monotonic()
        assert len(client.get(f"/recordings/{name}").content) == size
        assert time.monotonic() - began > 20 * size / 1_000_000


@pytest.mark.parametrize("after", [{}, {"percent": 40}])
def test_recordings_vanish_from_a_page(tmp_path: Path, after: dict[str, int]) -> None:
    with osier(tmp_path / "u", trouble=[{"what": "recordings vanish", **after}]) as (process, client):
        name, _ = recorded(client)[0]
        if after:
            with pytest.raises(httpx.RemoteProtocolError):
                client.get(f"/recordings/{name}")
        else:
            assert client.get(f"/recordings/{name}").status_code == 404
        assert recorded(client) == []
        assert len(process.log("vanished")) == 1


def test_an_image_for_which_there_is_no_room(tmp_path: Path) -> None:
    with osier(tmp_path / "u", trouble=[{"what": "no room", "after_bytes": 100_000}]) as (process, client):
        answer = client.post("/image", files={"image": IMAGE})
        assert (answer.status_code, answer.json()["refused"]) == (409, "full")
        assert process.log("image_end")[0]["bytes"] >= 100_000
        assert client.get("/status").json()["mode"] == "boot"
        assert client.post("/image", files={"image": IMAGE}).status_code == 202


def test_a_page_after_its_restart(tmp_path: Path) -> None:
    entries = [{"what": what} for what in ("options lost", "term lost", "boot loader only")]
    with osier(tmp_path / "u", trouble=entries) as (process, client):
        assert client.post("/image", files={"image": IMAGE}).status_code == 202
        assert flashed(client)["state"] == "done"
        restarted(process, client)
        status = client.get("/status").json()
        assert (status["mode"], status["release"], status["options"], status["term"]) == ("boot", "", [], "")
        assert client.get("/image").json()["state"] == "failed"


def test_a_page_that_restarts_again_and_again(tmp_path: Path) -> None:
    with osier(tmp_path / "u", trouble=[{"what": "boot loop", "restarts": 3, "seconds": 0.1}]) as (process, client):
        assert client.post("/restart").status_code == 202
        process.wait_for("restarts by itself", count=3)
        until(lambda: process.state()["loop"] is None, "the state")
        back(process, client)
        assert client.get("/status").json()["mode"] == "run"


def test_who_was_signed_in_is_forgotten(tmp_path: Path) -> None:
    with osier(tmp_path / "u", trouble=[{"what": "signed out"}]) as (process, client):
        assert client.get("/status").status_code == 200
        assert client.get("/status").status_code == 401
        back(process, client)
        assert client.get("/status").status_code == 200


def test_a_controller_suffers_the_same(tmp_path: Path) -> None:
    entries = [
        {"what": "repeated", "when": "recordings"},
        {"what": "recordings vanish", "when": "recordings", "then": [{"what": "no room"}, {"what": "term lost"}]},
    ]
    with fenbook(tmp_path / "u", trouble=entries, term="2027-03-31") as (process, client):
        assert "2027-03-31" in client.get("/").text
        assert client.get("/jobs").text.count("<!doctype html>") == 2
        assert 'class="job"' not in client.get("/jobs").text
        answer = client.put("/software", params={"ticket": ticket(client)}, content=SOFTWARE)
        assert (answer.status_code, answer.json()["fault"]) == (200, "full")
        assert client.post("/restart", data={"ticket": ticket(client)}).json()["ok"] is True
        until(lambda: process.state()["term"] == "", "the restart")
