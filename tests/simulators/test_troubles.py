"""Each trouble on the page happens as it says."""

import hashlib
import subprocess
from pathlib import Path

import serial

from tests.simulators.stranger import SERIAL, Console, arguments, unit, until
from tests.simulators.test_serial_unit import IMAGE, prepared


def hung_up(console: Console) -> bool:
    """Send until the port is gone (a hung up terminal reads empty, or fails)."""
    try:
        return console.send_blocks(IMAGE) == b""
    except serial.SerialException:
        return True


def test_a_pulled_cable_takes_the_port_away_and_brings_another(tmp_path: Path) -> None:
    trouble = [{"when": "image", "percent": 40, "what": "cable out", "seconds": 0.3}]
    with unit("Millrace", prepared(tmp_path / "u"), trouble=trouble) as process:
        with Console(process.link) as console:
            assert console.ask(f"TAKE,{len(IMAGE)}") == "OK,TAKE"
            console.until_asked()
            assert hung_up(console)
        until(process.link.is_symlink, "the port")
        assert str(process.link.readlink()) != process.ready["port"]
        # The host may go on within 10 s, from the block that was not acknowledged.
        blocks = int(len(IMAGE) * 0.4 / 1024)
        with Console(process.link) as console:
            console.port.write(b"\x18\x18")
            assert console.hear().startswith("NO,IMAGE,cut")
            assert console.ask("ASK,ID").endswith(",boot")
            received = process.log("image_end")[0]["bytes"]
            assert received in {1024 * blocks, 1024 * (blocks + 1)}
            assert process.log("image_end")[0]["sha256"] == hashlib.sha256(IMAGE[:received]).hexdigest()


def test_a_silent_unit_answers_later(tmp_path: Path) -> None:
    trouble = [{"when": "identify", "what": "silent", "seconds": 0.4}]
    with unit("Millrace", prepared(tmp_path / "u"), trouble=trouble) as process:
        console = Console(process.link, timeout=0.2)
        assert console.ask("ASK,ID") == ""
        assert console.ask("ASK,RELEASE") == ""
        until(lambda: console.ask("ASK,ID"), "an answer")
        console.port.close()


def test_a_garbled_answer_has_one_wrong_byte(tmp_path: Path) -> None:
    with unit("Millrace", prepared(tmp_path / "u"), trouble=[{"when": "identify", "what": "garbled"}]) as process:
        with Console(process.link) as console:
            console.say("PQFN,ASK,ID")
            wrong = console.port.readline()
            console.say("PQFN,ASK,ID")
            right = console.port.readline()
        assert sum(one != other for one, other in zip(wrong, right, strict=True)) == 1


def test_another_serial_is_reported_from_then_on(tmp_path: Path) -> None:
    folder = prepared(tmp_path / "u")
    with unit("Millrace", folder, trouble=[{"when": "restart", "what": "wrong serial"}]) as process:
        with Console(process.link) as console:
            assert console.ask("ASK,ID").split(",")[1] == SERIAL
            assert console.ask("RESTART") == "OK,RESTART"
            other = console.hear().split(",")[1]
            assert other != SERIAL
            assert console.ask("ASK,ID").split(",")[1] == other
        process.end()
    with unit("Millrace", folder) as process, Console(process.link) as console:
        assert console.ask("ASK,ID").split(",")[1] == other


def test_the_old_version_runs_after_a_write_that_seemed_to_work(tmp_path: Path) -> None:
    trouble = [{"when": "image", "what": "old version"}]
    with unit("Millrace", prepared(tmp_path / "u"), trouble=trouble) as process, Console(process.link) as console:
        for runs in ("2.6", "2.10"):
            assert console.take(IMAGE) == "OK,IMAGE"
            assert console.flash()[-1] == "OK,FLASH"
            assert console.ask("RESTART") == "OK,RESTART"
            assert console.hear().endswith(f",{runs}")


def test_the_self_test_fails_once(tmp_path: Path) -> None:
    trouble = [{"when": "test", "what": "test fails"}]
    with unit("Millrace", prepared(tmp_path / "u"), trouble=trouble) as process, Console(process.link) as console:
        assert console.ask("ASK,TEST").startswith("TEST,fail,")
        assert console.ask("ASK,TEST") == "TEST,pass"


def test_settings_are_lost_in_the_restart(tmp_path: Path) -> None:
    trouble = [{"when": "restart", "what": "settings lost"}]
    with unit("Millrace", prepared(tmp_path / "u"), trouble=trouble) as process, Console(process.link) as console:
        assert console.ask("RESTART") == "OK,RESTART"
        assert console.hear().startswith("HELLO")
        assert ["frequency_khz", "0"] in console.ask_all("ASK,SETTINGS")
        assert {"name": "frequency_khz", "from": "461025", "to": "0"}.items() <= process.log("settings")[0].items()


def test_it_refuses_as_often_as_it_says(tmp_path: Path) -> None:
    folder, trouble = prepared(tmp_path / "u"), [{"when": "image", "what": "refuses", "times": 2}]
    with unit("Millrace", folder, trouble=trouble) as process, Console(process.link) as console:
        assert console.ask("TAKE,1000").startswith("NO,TAKE,busy")
        process.popen.kill()
        process.popen.wait()
    # A process that is started again does not begin to count anew.
    with unit("Millrace", folder, trouble=trouble) as process, Console(process.link) as console:
        assert console.ask("TAKE,1000").startswith("NO,TAKE,busy")
        assert console.take(IMAGE) == "OK,IMAGE"


def test_the_last_acknowledgement_is_lost(tmp_path: Path) -> None:
    trouble = [{"what": "last acknowledgement lost"}]
    with unit("Millrace", prepared(tmp_path / "u"), trouble=trouble) as process, Console(process.link) as console:
        assert console.ask(f"TAKE,{len(IMAGE)}") == "OK,TAKE"
        console.until_asked()
        assert console.send_blocks(IMAGE) == b"\x06"
        console.port.write(b"\x04")
        assert console.byte() == b"$"
        assert process.log("image_end")[0]["outcome"] == "whole"


def test_a_dark_unit_comes_back_by_itself(tmp_path: Path) -> None:
    trouble = [{"when": "recordings", "what": "power out", "seconds": 0.2}]
    with unit("Millrace", prepared(tmp_path / "u"), trouble=trouble) as process, Console(process.link) as console:
        console.say("PQFN,ASK,RECORDINGS")
        process.wait_for("power", on=False)
        until(lambda: process.state()["display"]["lit"] is False, "the display to go out")
        assert console.hear() == f"HELLO,{SERIAL},2.6"
        assert len(console.ask_all("ASK,RECORDINGS")) == 2


def test_a_mistake_in_the_file_is_told(tmp_path: Path) -> None:
    file = tmp_path / "trouble.yaml"
    file.write_text(f'- {{unit: "{SERIAL}", when: image, what: cable off}}')
    command = arguments("Millrace", tmp_path / "u", "--trouble", str(file))
    told = subprocess.run(command, capture_output=True, text=True, check=False)
    assert told.returncode == 1
    assert f"{file}:1:45: expected one of cable out, " in told.stderr
    assert told.stderr.endswith("found cable off (did you mean cable out?)\n")
