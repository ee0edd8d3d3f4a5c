"""Images that end before their end: what is left, and that the unit can be written again."""

from pathlib import Path

import pytest

from benchday_simulators.images import build_image
from tests.simulators.stranger import Console, Process, unit
from tests.simulators.test_serial_unit import IMAGE, prepared


def rewrite(process: Process) -> None:
    """Write the unit again and see the new release run."""
    with Console(process.link) as console:
        assert console.ask("ASK,ID").endswith(",boot")
        assert console.ask("ASK,RELEASE") == "RELEASE,"
        assert console.ask("ASK,SETTINGS").startswith("NO,SETTINGS,boot")
        assert console.ask("ASK,POWER").startswith("POWER,")
        assert console.take(IMAGE) == "OK,IMAGE"
        assert console.flash()[-1] == "OK,FLASH"
        assert console.ask("RESTART") == "OK,RESTART"
        assert console.hear().endswith(",2.10")
        assert ["frequency_khz", "461025"] in console.ask_all("ASK,SETTINGS")


@pytest.mark.parametrize(
    ("image", "code"),
    [
        (build_image("Osier", "2.10", ("B",), 9000, 1), "model"),
        (build_image("Millrace", "2.10", ("A", "C"), 9000, 1), "hardware"),
        (build_image("Millrace", "3.0", ("B",), 9000, 1, "2.9"), "route"),
        (b"something else" + bytes(9000), "header"),
    ],
)
def test_what_does_not_suit_is_refused_before_anything_is_erased(tmp_path: Path, image: bytes, code: str) -> None:
    with unit("Millrace", prepared(tmp_path / "u")) as process, Console(process.link) as console:
        assert console.ask("STREAM,0") == "OK,STREAM"
        assert console.ask(f"TAKE,{len(image)}") == "OK,TAKE"
        console.until_asked()
        assert console.send_blocks(image) == b"\x18"
        assert console.port.read(1) == b"\x18"
        assert console.hear().startswith(f"NO,IMAGE,{code}")
        assert len(console.ask_all("ASK,RECORDINGS")) == 2
        assert process.log("image_begin") == process.log("erased") == []
        assert process.log("image_end")[0]["outcome"] == "refused"


def test_a_payload_with_a_wrong_sum_leaves_boot(tmp_path: Path) -> None:
    spoilt = IMAGE[:-1] + bytes((IMAGE[-1] ^ 1,))
    with unit("Millrace", prepared(tmp_path / "u")) as process:
        with Console(process.link) as console:
            assert console.take(spoilt).startswith("NO,IMAGE,crc")
        rewrite(process)


def test_an_image_shorter_than_announced_leaves_boot(tmp_path: Path) -> None:
    with unit("Millrace", prepared(tmp_path / "u")) as process:
        with Console(process.link) as console:
            assert console.ask(f"TAKE,{len(IMAGE)}") == "OK,TAKE"
            console.until_asked()
            assert console.send_blocks(IMAGE, most=3) == b"\x06"
            console.port.write(b"\x04")
            assert console.byte() == b"\x06"
            assert console.hear().startswith("NO,IMAGE,size")
        rewrite(process)


@pytest.mark.parametrize("by_asking", [False, True])
def test_a_host_that_breaks_it_off_leaves_boot(tmp_path: Path, by_asking: bool) -> None:
    with unit("Millrace", prepared(tmp_path / "u")) as process:
        with Console(process.link) as console:
            assert console.ask(f"TAKE,{len(IMAGE)}") == "OK,TAKE"
            console.until_asked()
            assert console.send_blocks(IMAGE, most=3) == b"\x06"
            if by_asking:
                console.say("PQFN,ASK,RELEASE")
            else:
                console.port.write(b"\x18\x18")
            assert console.hear().startswith("NO,IMAGE,cut")
            assert process.log("image_end")[0]["outcome"] == "cut"
            if by_asking:
                assert console.hear() == "RELEASE,"
        rewrite(process)


def test_garbled_blocks_are_asked_for_again_and_doubles_acknowledged(tmp_path: Path) -> None:
    with unit("Millrace", prepared(tmp_path / "u")) as process, Console(process.link) as console:
        assert console.ask("STREAM,0") == "OK,STREAM"
        assert console.ask(f"TAKE,{len(IMAGE)}") == "OK,TAKE"
        console.until_asked()
        assert console.send_blocks(IMAGE, most=1) == b"\x06"
        assert console.send_blocks(IMAGE, most=1) == b"\x06"  # its acknowledgement seemed lost
        console.port.write(b"\x02\x02\xfd" + bytes(1024) + b"\x12\x34")
        assert console.byte() == b"\x15"
        assert console.send_blocks(IMAGE) == b"\x06"
        console.port.write(b"\x04")
        assert console.hear() == "OK,IMAGE"


def test_a_power_cut_in_the_transfer_leaves_boot(tmp_path: Path) -> None:
    trouble = [{"when": "image", "percent": 40, "what": "power out", "seconds": 0.2}]
    with unit("Millrace", prepared(tmp_path / "u"), trouble=trouble) as process:
        with Console(process.link) as console:
            assert console.ask(f"TAKE,{len(IMAGE)}") == "OK,TAKE"
            console.until_asked()
            console.port.timeout = 0.15
            assert console.send_blocks(IMAGE) == b""
            console.port.timeout = 5
            assert console.hear() == f"HELLO,{process.ready['serial']},"
        assert process.log("image_end")[0]["outcome"] == "cut"
        rewrite(process)


def test_a_power_cut_in_the_flash_leaves_boot(tmp_path: Path) -> None:
    trouble = [{"when": "flash", "percent": 50, "what": "power out", "seconds": 0.1}]
    with unit("Millrace", prepared(tmp_path / "u"), trouble=trouble) as process:
        with Console(process.link) as console:
            assert console.take(IMAGE) == "OK,IMAGE"
            heard = console.flash()
            assert heard[-2:] == ["FLASH,45", f"HELLO,{process.ready['serial']},"]
        rewrite(process)


@pytest.mark.parametrize("flashing", [False, True])
def test_a_killed_process_comes_back_in_boot(tmp_path: Path, flashing: bool) -> None:
    folder = prepared(tmp_path / "u")
    with unit("Millrace", folder, speed=20 if flashing else 3000) as process, Console(process.link) as console:
        if flashing:
            assert console.take(IMAGE) == "OK,IMAGE"
        else:
            assert console.ask(f"TAKE,{len(IMAGE)}") == "OK,TAKE"
            console.until_asked()
            assert console.send_blocks(IMAGE, most=1) == b"\x06"
        process.popen.kill()
        process.popen.wait()
        # What was acknowledged had been logged before.
        assert process.log("image_begin")
        assert process.log("erased")[0]["recordings"]
    with unit("Millrace", folder) as process:
        assert process.log("power")[-1]["reason"].startswith("started again while")
        rewrite(process)
