"""What a unit on a line suffers, as its host sees it."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pytest

from tests.simulators.stranger import SERIAL, Console, Process, unit, until
from tests.simulators.test_serial_unit import IMAGE, prepared


def millrace(folder: Path, *trouble: dict[str, Any], **more: Any) -> Any:
    """Run a Millrace to which something happens."""
    return unit("Millrace", prepared(folder / "u", **more), trouble=list(trouble))


def silence(console: Console) -> str:
    """Ask and give what comes within a moment."""
    console.port.timeout = 0.3
    told = console.ask("ASK,ID")
    console.port.timeout = 5
    return told


def told_of(process: Process) -> list[tuple[str, str, str]]:
    """Give what the unit's log says of its trouble."""
    return [(line["kind"], line["when"], line["entry"]) for line in process.log("trouble")]


def test_a_stuck_unit_answers_again_when_it_was_off(tmp_path: Path) -> None:
    with millrace(tmp_path, {"what": "stuck", "when": "recordings"}) as process, Console(process.link) as console:
        console.say("PQFN,ASK,RECORDINGS")
        process.wait_for("trouble")
        for _ in range(3):
            assert silence(console) == ""
        process.hand(do="switch", on=False)
        process.wait_for("power", on=False)
        process.hand(do="switch", on=True)
        assert console.hear() == f"HELLO,{SERIAL},2.6"
        assert len(console.ask_all("ASK,RECORDINGS")) == 2


def test_a_stuck_unit_is_stuck_in_another_process(tmp_path: Path) -> None:
    trouble = [{"what": "stuck"}]
    with unit("Millrace", prepared(tmp_path / "u"), trouble=trouble) as process, Console(process.link) as console:
        console.say("PQFN,ASK,ID")
        until(lambda: process.state()["stuck"], "the state")
        process.popen.kill()
        process.popen.wait()
    with unit("Millrace", tmp_path / "u", trouble=trouble) as process, Console(process.link) as console:
        assert silence(console) == ""
        assert len(process.log("trouble")) == 1
        process.hand(do="switch", on=False)
        process.wait_for("power", on=False)
        process.hand(do="switch", on=True)
        assert console.hear().startswith("HELLO")
        assert console.ask("ASK,ID").startswith(f"ID,{SERIAL}")


def test_what_it_says_comes_twice(tmp_path: Path) -> None:
    with millrace(tmp_path, {"what": "repeated"}) as process, Console(process.link) as console:
        assert console.ask("STREAM,0") == "OK,STREAM"
        assert console.ask("ASK,ID") == console.hear() == f"ID,{SERIAL},Millrace,B,run"
        assert console.ask("ASK,RELEASE") == "RELEASE,2.6"


def test_bytes_of_what_it_says_are_missing(tmp_path: Path) -> None:
    with millrace(tmp_path, {"what": "bytes lost"}) as process, Console(process.link) as console:
        assert console.ask("STREAM,0") == "OK,STREAM"
        console.say("PQFN,ASK,ID")
        short = console.port.readline()
        console.say("PQFN,ASK,ID")
        whole = console.port.readline()
        assert len(whole) - len(short) == -(-len(whole) // 4)
        assert whole.startswith(short[:10])
        assert whole.endswith(short[-4:])


def test_a_slow_unit_takes_its_time(tmp_path: Path) -> None:
    # 1,200 bytes at a hundredth of 11,520 bytes a second; the flash is of 8 minutes at least, at a speed of 3000.
    entries = [{"what": "slow", "when": "recordings", "factor": 100, "seconds": 60}]
    with millrace(tmp_path, *entries, recordings=[2000] * 20) as process, Console(process.link) as console:
        assert console.ask("STREAM,0") == "OK,STREAM"
        began = time.monotonic()
        assert len(console.ask_all("ASK,RECORDINGS")) == 20
        assert time.monotonic() - began > 3
        began = time.monotonic()
        assert console.ask("ASK,TEST") == "TEST,pass"  # 20 seconds of physics: 0.67 s instead of 0.007 s
        assert time.monotonic() - began > 0.5


def test_an_empty_pack_ends_a_write_until_there_is_another(tmp_path: Path) -> None:
    entry = {"what": "battery empty", "after_bytes": 10_000}
    with millrace(tmp_path, entry) as process, Console(process.link) as console:
        assert console.ask(f"TAKE,{len(IMAGE)}") == "OK,TAKE"
        console.until_asked()
        console.port.timeout = 1
        console.send_blocks(IMAGE)
        process.wait_for("power", on=False, reason="battery empty")
        ended = process.wait_for("image_end", outcome="cut")
        assert 10_000 <= ended["bytes"] < 11_024 + 1024
        process.hand(do="switch", on=True)
        process.wait_for("hands")
        assert process.state()["display"]["lit"] is False
        process.hand(do="fit pack", charge_percent=90)
        process.wait_for("power", count=2, on=True)
        console.port.timeout = 10
        assert console.hear() == f"HELLO,{SERIAL},"
        assert console.ask("ASK,ID").endswith(",boot")


def test_on_external_power_an_empty_pack_ends_nothing(tmp_path: Path) -> None:
    with millrace(tmp_path, {"what": "battery empty"}, external_power=True) as process:
        with Console(process.link) as console:
            assert console.take(IMAGE) == "OK,IMAGE"
        assert told_of(process) == [("battery empty", "image", "1")]


def test_recordings_vanish_before_they_are_listed(tmp_path: Path) -> None:
    entry = {"what": "recordings vanish", "when": "recordings"}
    with millrace(tmp_path, entry) as process, Console(process.link) as console:
        assert console.ask("ASK,RECORDINGS").startswith("RECORDING,0,0")
        assert len(process.log("vanished")[0]["recordings"]) == 2
        assert list((process.folder / "recordings").iterdir()) == []


@pytest.mark.parametrize("after", [{}, {"percent": 40}])
def test_recordings_vanish_once_they_were_listed(tmp_path: Path, after: dict[str, int]) -> None:
    with millrace(tmp_path, {"what": "recordings vanish", **after}) as process, Console(process.link) as console:
        assert console.ask("STREAM,0") == "OK,STREAM"
        (name, size), _ = console.ask_all("ASK,RECORDINGS")
        if after:
            got = console.fetch(name)
            assert 0 < len(got) < int(size)
        else:
            assert console.ask(f"SEND,{name}").startswith("NO,SEND,missing")
        assert console.ask(f"ASK,SUM,{name}").startswith("NO,SUM,missing")


def test_no_room_at_first_and_in_the_middle(tmp_path: Path) -> None:
    later: dict[str, Any] = {"what": "no room", "after_bytes": 8000}
    with millrace(tmp_path, {"what": "no room"}, later) as process, Console(process.link) as console:
        assert console.ask("STREAM,0") == "OK,STREAM"
        assert console.ask("TAKE,20000").startswith("NO,TAKE,full")
        assert len(console.ask_all("ASK,RECORDINGS")) == 2
        assert console.ask(f"TAKE,{len(IMAGE)}") == "OK,TAKE"
        console.until_asked()
        assert console.send_blocks(IMAGE) == b"\x18"
        assert console.hear().startswith("NO,IMAGE,full")
        assert process.log("image_end")[0]["outcome"] == "refused"
        assert console.ask("ASK,ID").endswith(",boot")


@pytest.mark.parametrize(
    ("what", "asked", "before", "after"),
    [
        ("options lost", "ASK,OPTIONS", "OPTIONS,dual;radio;tilt", "OPTIONS,"),
        ("term lost", "ASK,TERM", "TERM,2027-03-31", "TERM,"),
        ("term changes", "ASK,TERM", "TERM,2027-03-31", "TERM,2026-02-24"),
    ],
)
def test_a_restart_loses_things(tmp_path: Path, what: str, asked: str, before: str, after: str) -> None:
    entry = {"what": what, "when": "image"}
    with millrace(tmp_path, entry, term="2027-03-31") as process, Console(process.link) as console:
        assert console.ask(asked) == before
        assert console.take(IMAGE) == "OK,IMAGE"
        assert console.flash()[-1] == "OK,FLASH"
        assert console.ask("RESTART") == "OK,RESTART"
        assert console.hear() == f"HELLO,{SERIAL},2.10"
        assert console.ask(asked) == after


def test_only_the_boot_loader_answers_until_an_image_is_taken(tmp_path: Path) -> None:
    with millrace(tmp_path, {"what": "boot loader only"}) as process, Console(process.link) as console:
        for runs in ("", "2.10"):
            assert console.take(IMAGE) == "OK,IMAGE"
            assert console.flash()[-1] == "OK,FLASH"
            assert console.ask("RESTART") == "OK,RESTART"
            assert console.hear() == f"HELLO,{SERIAL},{runs}"
            assert console.ask("ASK,ID").endswith(",run" if runs else ",boot")
        assert len(process.log("nothing accepted")) == 1


def test_it_restarts_as_often_as_it_says(tmp_path: Path) -> None:
    entry = {"what": "boot loop", "restarts": 2, "seconds": 0.2}
    with millrace(tmp_path, entry) as process, Console(process.link) as console:
        assert console.ask("STREAM,0") == "OK,STREAM"
        assert console.ask("RESTART") == "OK,RESTART"
        assert [console.hear().split(",")[0] for _ in range(3)] == ["HELLO"] * 3
        assert [line["left"] for line in process.log("restarts by itself")] == [1, 0]
        assert process.state()["loop"] is None


def test_a_loop_goes_on_in_another_process_until_an_image_is_taken(tmp_path: Path) -> None:
    entries = [{"what": "boot loop", "seconds": 0.5}]
    with unit("Millrace", prepared(tmp_path / "u"), trouble=entries) as process, Console(process.link) as console:
        assert console.ask("RESTART") == "OK,RESTART"
        process.wait_for("restarts by itself", count=2)
        process.popen.kill()
        process.popen.wait()
    with unit("Millrace", tmp_path / "u", trouble=entries) as process, Console(process.link) as console:
        assert console.hear().startswith("HELLO")
        # While it takes an image it does not restart.
        assert console.ask(f"TAKE,{len(IMAGE)}") == "OK,TAKE"
        console.until_asked()
        time.sleep(1.0)
        assert console.send_blocks(IMAGE) == b"\x06"
        console.port.write(b"\x04")
        assert console.hear() == "OK,IMAGE"
        assert console.flash()[-1] == "OK,FLASH"
        assert len(process.log("loop ended")) == 1
        assert console.ask("RESTART") == "OK,RESTART"
        assert console.hear() == f"HELLO,{SERIAL},2.10"
        assert len(process.log("trouble")) == 1


def test_what_follows_comes_after_and_time_passes(tmp_path: Path) -> None:
    follow = {"what": "power out", "after_seconds": 600, "seconds": 0.2}
    entry = {"what": "garbled", "times": 2, "then": [follow]}
    with millrace(tmp_path, entry) as process, Console(process.link) as console:
        console.say("PQFN,ASK,ID")
        process.wait_for("power", on=False, reason="power out")
        assert told_of(process) == [("garbled", "identify", "1"), ("power out", "time", "1.1")]
        assert process.log("trouble")[0]["count"] == 1
        until(lambda: process.state()["display"]["lit"], "the power")


def test_a_time_of_its_own_waits_until_the_unit_is_on(tmp_path: Path) -> None:
    with millrace(tmp_path, {"what": "wrong serial", "after_seconds": 1}, switched_on=False) as process:
        process.hand(do="antenna", fitted=True)
        process.wait_for("hands")
        assert process.log("trouble") == []
        process.hand(do="switch", on=True)
        process.wait_for("trouble", kind="wrong serial", when="time")
        until(lambda: process.state()["reported_serial"] != "", "the state")


def test_chance_falls_alike_in_each_run(tmp_path: Path) -> None:
    trouble = [{"unit": "any", "what": "refuses", "when": "identify", "chance": 0.5, "times": "always"}]
    runs = []
    for name in ("a", "b"):
        process = unit("Millrace", prepared(tmp_path / name), trouble=trouble)
        with process as running, Console(running.link) as console:
            runs.append([console.ask("ASK,ID").startswith("NO,ID,busy") for _ in range(12)])
    assert runs[0] == runs[1]
    assert 0 < sum(runs[0]) < 12
