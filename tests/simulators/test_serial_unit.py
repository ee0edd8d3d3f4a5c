"""A Millrace and a Weirstone as a stranger's program meets them over their line."""

import hashlib
import hmac
from pathlib import Path

import serial

from benchday_simulators.images import build_image
from benchday_simulators.prepare import prepare
from tests.simulators.stranger import SERIAL, Console, unit, until

IMAGE = build_image("Millrace", "2.10", ("B", "C"), 20_000, 1, "2.4")


def prepared(folder: Path, **overrides: object) -> Path:
    """Prepare a Millrace with two recordings."""
    # A large pack: an ordinary one is empty after 6 real seconds at this speed.
    plain = {"release": "2.6", "hardware": "B", "charge_percent": 80, "full_mwh": 200_000, "recordings": [3000, 5000]}
    prepare(folder, "Millrace", SERIAL, 3, **plain | overrides)  # type: ignore[arg-type]
    return folder


def test_it_answers_what_it_is_asked(tmp_path: Path) -> None:
    key = tmp_path / "key"
    key.write_text("5a" * 32)
    with unit("Millrace", prepared(tmp_path / "u", term="2027-03-31"), "--key", str(key)) as process:
        assert process.ready["serial"] == SERIAL
        assert str(process.link.readlink()) == process.ready["port"]
        with Console(process.link) as console:
            assert console.ask("ASK,ID") == f"ID,{SERIAL},Millrace,B,run"
            assert console.ask("ASK,RELEASE") == "RELEASE,2.6"
            assert console.ask("ASK,OPTIONS") == "OPTIONS,dual;radio;tilt"
            assert console.ask("ASK,TERM") == "TERM,2027-03-31"
            assert console.ask("ASK,POWER").split(",")[1] in {"79", "80"}
            assert ["frequency_khz", "461025"] in console.ask_all("ASK,SETTINGS")
            assert console.ask("ASK,TEST") == "TEST,pass"
            assert console.ask("PUT,frequency_khz,461050") == "OK,PUT"
            assert ["frequency_khz", "461050"] in console.ask_all("ASK,SETTINGS")
            nonce = "0123456789abcdef" * 2
            mac = hmac.new(bytes.fromhex("5a" * 32), f"{nonce}:{SERIAL}".encode(), hashlib.sha256).hexdigest()
            assert console.ask(f"ASK,PROOF,{nonce}") == f"PROOF,{mac}"
        changed = {"name": "frequency_khz", "from": "461025", "to": "461050"}
        assert changed.items() <= process.log("settings")[0].items()
        assert process.end() == 0
        assert not process.link.is_symlink()


def test_it_refuses_what_it_does_not_know(tmp_path: Path) -> None:
    with unit("Millrace", prepared(tmp_path / "u")) as process, Console(process.link) as console:
        assert console.ask("ASK,MOOD") == "NO,MOOD,unknown"
        assert console.ask("DANCE") == "NO,DANCE,unknown"
        assert console.ask("PUT,volume,11").startswith("NO,PUT,unknown")
        assert console.ask("SEND,none.rnx").startswith("NO,SEND,missing")
        assert console.ask("ASK,SUM,none.rnx").startswith("NO,SUM,missing")
        assert console.ask("ASK,PROOF,00").startswith("NO,PROOF,nokey")
        assert console.ask("TAKE,many").startswith("NO,TAKE,size")
        console.port.write(b"$PQFN,ASK,ID*00\r\n")
        assert console.hear() == "NO,LINE,checksum"


def test_recordings_come_whole(tmp_path: Path) -> None:
    with unit("Millrace", prepared(tmp_path / "u")) as process, Console(process.link) as console:
        assert console.ask("STREAM,0") == "OK,STREAM"
        recordings = console.ask_all("ASK,RECORDINGS")
        assert len(recordings) == 2
        for name, size in recordings:
            data = console.fetch(name)
            assert set(data[int(size) :]) <= {0x1A}
            digest = hashlib.sha256(data[: int(size)]).hexdigest()
            assert console.ask(f"ASK,SUM,{name}") == f"SUM,{digest}"


def test_a_broken_recording_stops_half_way(tmp_path: Path) -> None:
    with unit("Millrace", prepared(tmp_path / "u", broken_recording=2)) as process, Console(process.link) as console:
        name, size = console.ask_all("ASK,RECORDINGS")[1]
        assert console.ask("STREAM,0") == "OK,STREAM"
        assert 0 < len(console.fetch(name)) < int(size)
        assert console.ask("ASK,ID").startswith("ID,")


def test_an_image_is_taken_flashed_and_runs_after_the_restart(tmp_path: Path) -> None:
    with unit("Millrace", prepared(tmp_path / "u")) as process, Console(process.link) as console:
        sums = [recording["sha256"] for recording in process.state()["recordings"]]
        assert console.take(IMAGE) == "OK,IMAGE"
        assert console.flash() == [*(f"FLASH,{percent}" for percent in range(5, 101, 5)), "OK,FLASH"]
        assert console.ask("ASK,ID").endswith(",boot")
        assert console.ask("RESTART") == "OK,RESTART"
        assert console.hear() == f"HELLO,{SERIAL},2.10"
        assert console.ask("ASK,RELEASE") == "RELEASE,2.10"
        assert console.ask("ASK,RECORDINGS") == "RECORDING,0,0,,"
        kinds = [line["what"] for line in process.log() if line["what"].startswith(("image", "era", "fla"))]
        assert kinds == ["image_begin", "erased", "image_end", "flashed"]
        assert [lost["sha256"] for lost in process.log("erased")[0]["recordings"]] == sums
        end = {"bytes": len(IMAGE), "sha256": hashlib.sha256(IMAGE).hexdigest(), "outcome": "whole"}
        assert end.items() <= process.log("image_end")[0].items()
        assert list((tmp_path / "u" / "recordings").iterdir()) == []


def test_blocks_of_128_bytes_do_as_well(tmp_path: Path) -> None:
    with unit("Millrace", prepared(tmp_path / "u")) as process, Console(process.link) as console:
        assert console.take(IMAGE, size=128) == "OK,IMAGE"
        assert process.log("image_end")[0]["sha256"] == hashlib.sha256(IMAGE).hexdigest()


def test_little_charge_takes_no_image_but_external_power_does(tmp_path: Path) -> None:
    with unit("Millrace", prepared(tmp_path / "u", charge_percent=14)) as process, Console(process.link) as console:
        assert console.ask("TAKE,1000").startswith("NO,TAKE,power")
        process.hand(do="external power", on=True)
        process.wait_for("hands")
        until(lambda: process.state()["external_power"], "external power")
        assert console.take(IMAGE) == "OK,IMAGE"


def test_a_weirstone_comes_back_under_another_name(tmp_path: Path) -> None:
    with unit("Weirstone", tmp_path / "u", speed=400) as process:
        before = process.ready["port"]
        with Console(process.link) as console:
            assert console.ask("RESTART") == "OK,RESTART"
            try:
                gone = console.port.read(1) == b""
            except serial.SerialException:
                gone = True
            assert gone
        until(process.link.is_symlink, "the port")
        assert str(process.link.readlink()) != before
        with Console(process.link) as console:
            assert console.ask("ASK,ID").split(",")[2] == "Weirstone"


def test_a_swapped_unit_reports_another_serial_than_its_label(tmp_path: Path) -> None:
    folder = prepared(tmp_path / "u", reported_serial="007421530099")
    with unit("Millrace", folder) as process, Console(process.link) as console:
        assert console.ask("ASK,ID").split(",")[1] == "007421530099"
        assert process.state()["display"]["label_serial"] == SERIAL
