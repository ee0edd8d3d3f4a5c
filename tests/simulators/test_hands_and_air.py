"""What people do to units, and what units hear of one another."""

import hashlib
from pathlib import Path

from benchday_simulators.images import build_image
from benchday_simulators.prepare import prepare
from tests.simulators.stranger import SERIAL, Console, unit, until

BASE = "0090000001"
TILLER_IMAGE = build_image("Tiller", "7.4", ("E",), 300_000, 1)


def tiller(folder: Path) -> Path:
    """Prepare a total station with two recordings."""
    prepare(folder, "Tiller", SERIAL, 3, release="7.0", charge_percent=60, recordings=[3000, 4000])
    return folder


def test_a_tiller_is_served_by_card_and_hand(tmp_path: Path) -> None:
    image, card = tmp_path / "tiller.fen", tmp_path / "card"
    image.write_bytes(TILLER_IMAGE)
    with unit("Tiller", tiller(tmp_path / "u")) as process:
        assert set(process.ready) == {"serial", "model", "pid"}
        process.hand(do="copy to card", to=str(card))
        process.hand(do="write by card", file=str(image))
        process.wait_for("flashed", version="7.4")
        kept = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in card.iterdir()}
        assert kept == {one["name"]: one["sha256"] for one in process.log("erased")[0]["recordings"]}
        assert process.log("image_end")[0]["sha256"] == hashlib.sha256(TILLER_IMAGE).hexdigest()
        process.hand(do="restart")
        until(lambda: process.state()["display"].get("release") == "7.4", "the new release")


def test_a_tiller_refuses_another_models_image(tmp_path: Path) -> None:
    image = tmp_path / "other.fen"
    image.write_bytes(build_image("Osier", "7.4", ("E",), 3000, 1))
    with unit("Tiller", tiller(tmp_path / "u")) as process:
        process.hand(do="write by card", file=str(image))
        assert process.wait_for("refused")["code"] == "model"
        assert process.state()["release"] == "7.0"


def test_a_tiller_switched_off_in_the_middle_is_left_in_boot(tmp_path: Path) -> None:
    image = tmp_path / "tiller.fen"
    image.write_bytes(TILLER_IMAGE)
    with unit("Tiller", tiller(tmp_path / "u"), speed=100) as process:
        process.hand(do="write by card", file=str(image))
        process.wait_for("image_end", outcome="whole")
        process.hand(do="switch", on=False)
        process.wait_for("power", on=False)
        process.hand(do="switch", on=True)
        process.wait_for("power", on=True, reason="switched on")
        assert process.log("flashed") == []
        assert process.state()["mode"] == "boot"


def test_packs_and_mistakes(tmp_path: Path) -> None:
    with unit("Tiller", tiller(tmp_path / "u")) as process:
        process.hand(do="fit pack", charge_percent=95)
        process.wait_for("power", on=True, reason="pack fitted")
        assert process.log("power")[1]["reason"] == "pack out"
        until(lambda: process.state()["display"].get("battery_percent") in {94, 95}, "the pack")
        process.hand(do="kick it")
        process.hand(do="fit pack")
        process.hand(do="write by card", file="nowhere.fen")
        process.wait_for("refused", count=3)


def test_an_empty_battery_switches_the_unit_off(tmp_path: Path) -> None:
    prepare(tmp_path / "u", "Millrace", SERIAL, 3, charge_percent=1, full_mwh=24_000)
    with unit("Millrace", tmp_path / "u") as process:
        assert process.wait_for("power", on=False)["reason"] == "battery empty"
        process.hand(do="external power", on=True)
        process.wait_for("power", on=True, reason="external power")
        until(lambda: process.state()["battery"]["charge_mwh"] > 1000, "charge")


def test_a_rover_hears_the_base_with_its_frequency_and_release(tmp_path: Path) -> None:
    air = ("--air", str(tmp_path / "air"))
    prepare(tmp_path / "base", "Weirstone", BASE, 3, release="2.6", charge_percent=90)
    prepare(tmp_path / "rover", "Millrace", SERIAL, 3, release="2.6", charge_percent=90)
    with unit("Millrace", tmp_path / "rover", *air) as rover, Console(rover.link) as console:
        assert console.ask("ASK,AIR") == "AIR,single,,14"
        with unit("Weirstone", tmp_path / "base", *air, serial_number=BASE) as base:
            until(lambda: console.ask("ASK,AIR") == f"AIR,fixed,{BASE},14", "the base")
            assert console.ask("PUT,bandwidth_hz,25000") == "OK,PUT"
            assert console.ask("ASK,AIR") == "AIR,single,,14"
            assert console.ask("PUT,bandwidth_hz,12500") == "OK,PUT"
            assert console.ask("ASK,AIR").startswith("AIR,fixed")
            rover.hand(do="antenna", fitted=False)
            until(lambda: console.ask("ASK,AIR") == "AIR,none,,0", "no antenna")
            rover.hand(do="antenna", fitted=True)
            base.hand(do="antenna", fitted=False)
            until(lambda: console.ask("ASK,AIR") == "AIR,single,,14", "no base")
            base.end()
        assert list((tmp_path / "air").glob("*.json")) == []


def test_another_release_gives_no_fix(tmp_path: Path) -> None:
    air = ("--air", str(tmp_path / "air"))
    prepare(tmp_path / "base", "Weirstone", BASE, 3, release="2.9", charge_percent=90)
    prepare(tmp_path / "rover", "Millrace", SERIAL, 3, release="2.6", charge_percent=90)
    with unit("Weirstone", tmp_path / "base", *air, serial_number=BASE):
        until(lambda: list((tmp_path / "air").glob("*.json")), "the base")
        with unit("Millrace", tmp_path / "rover", *air) as rover, Console(rover.link) as console:
            assert console.ask("ASK,AIR") == f"AIR,single,{BASE},14"
