"""ports: on the terminal, as a document; what is asked and what is left alone."""

from __future__ import annotations

import json
from pathlib import Path

import anyio
import pytest

from benchday.cli.commands.ports import Asked, ports
from benchday.cli.commands.validate import validate
from benchday.cli.documents_ports import PortsDocument
from benchday.cli.port_notices import port_notices
from benchday.domain.errors import InputError, MistakesFound, RecordHeld
from benchday.inputs.day import read_day
from benchday.record.clock import DayClock
from benchday.record.journal import open_journal
from benchday.record.lock import FileLock
from benchday.record.place import Place
from tests.devices.port_tree import PortTree
from tests.devices.ser2net import ser2net
from tests.simulators.stranger import SERIAL, unit

Told = pytest.CaptureFixture[str]


@pytest.fixture
def tree(tmp_path: Path) -> PortTree:
    """Make an empty system."""
    return PortTree(tmp_path / "system")


def cabled(day: Path, **places: str) -> None:
    """Write where cables appear into a day's bench.yaml."""
    path = day / "bench.yaml"
    text = path.read_text(encoding="utf-8")
    for number, port in places.items():
        old = f"number: {number}}}"
        assert old in text
        text = text.replace(old, f'number: {number}, port: "{port}"}}')
    path.write_text(text, encoding="utf-8")


def made_real(day: Path) -> None:
    """Make it a day of real instruments."""
    path = day / "day.yaml"
    path.write_text(path.read_text(encoding="utf-8").replace("instruments: simulated", "instruments: real"))


def document(asked: Asked, tree: PortTree, capsys: Told) -> PortsDocument:
    """Run the command; return its document."""
    ports(Asked(asked.folder, asked.record, asked.ask, asked.udev, as_json=True), tree.roots)
    return PortsDocument.model_validate_json(capsys.readouterr().out)


def test_without_a_day_the_ports_alone(
    tree: PortTree, capsys: Told, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    assert ports(Asked(None), tree.roots) == 0
    assert capsys.readouterr().out == "No serial port is plugged in\n"
    device = tree.plug("ttyUSB0", "1-1")
    assert ports(Asked(None), tree.roots) == 0
    told = capsys.readouterr().out
    assert f"  {device}  Reedmace cable\n" in told
    assert "to write into bench.yaml: usb:0403:6001:A10K2F  or  usb-path:1-1" in told
    found = document(Asked(None), tree, capsys)
    assert (found.benchday, found.folder, found.cables) == ("ports/1", None, [])
    assert found.ports[0].names == ["usb:0403:6001:A10K2F", "usb-path:1-1"]
    with pytest.raises(InputError, match=r"--ask needs the day's folder"):
        ports(Asked(None, ask=True), tree.roots)
    with pytest.raises(InputError, match=r"holds no bench\.yaml"):
        ports(Asked(tmp_path), tree.roots)


def test_the_day_s_cables_and_what_is_the_matter(day: Path, tree: PortTree, capsys: Told) -> None:
    device = tree.plug("ttyUSB0", "1-1", power="auto")
    cabled(day, R1="usb:0403:6001:A10K2F", R2="usb:0403:6001:A10K2E", U1="rfc2217://192.0.2.7:4001")
    assert ports(Asked(day), tree.roots) == 3
    told = capsys.readouterr().out
    assert f"{device}  Reedmace cable, cable R1" in told
    assert f"R1  round: usb:0403:6001:A10K2F = {device}" in told
    assert "U1  usb: rfc2217://192.0.2.7:4001\n" in told
    assert "U2  usb: no port; a day of real instruments needs one" in told
    assert "! cable R2 (round): its port usb:0403:6001:A10K2E is not plugged in" in told
    assert "did you mean usb:0403:6001:A10K2F?" in told
    assert "- " + device in told.split("To look at")[1]
    found = document(Asked(day), tree, capsys)
    assert {(t.code, t.stops) for t in found.troubles} == {("absent", True), ("power saving", False)}
    assert [(c.number, c.device) for c in found.cables][:2] == [("R1", device), ("R2", None)]
    assert found.ports[0].cables == ["R1"]


def test_a_port_in_use_is_said_and_not_the_running_day_s_own(day: Path, tree: PortTree, capsys: Told) -> None:
    device = tree.plug("ttyUSB0", "1-1")
    cabled(day, R1=device)
    tree.process(4711, "minder", device)
    found = document(Asked(day, day / "record"), tree, capsys)
    assert [t.code for t in found.troubles] == ["in use"]
    assert found.ports[0].in_use == "minder (process 4711)"
    open_journal_once(day)
    ours = {"pid": 4711, "host": "here", "program": "benchday", "since_wall_us": 1}
    Place(day / "record").lock.write_text(json.dumps(ours), encoding="utf-8")
    found = document(Asked(day), tree, capsys)
    assert found.troubles == []
    assert found.ports[0].in_use == "the day that is running"


@pytest.mark.peer
def test_asking_says_who_speaks_where(day: Path, tree: PortTree, capsys: Told, tmp_path: Path) -> None:
    """One unit on a port of its own, one behind a serial server, and a port where nobody is."""
    other = "007421530026"
    with (
        unit("Millrace", tmp_path / "a") as one,
        unit("Millrace", tmp_path / "b", serial_number=other) as two,
        ser2net(str(two.link.resolve()), tmp_path) as server,
    ):
        device = tree.plug("ttyUSB0", "1-1", leads_to=str(one.link.resolve()))
        cabled(day, R1="usb-path:1-1", R2=server.where, U1="/dev/ttyNONE")
        heard = {p.device: p.heard for p in document(Asked(day, ask=True), tree, capsys).ports}
        assert {where: (h.serial, h.playbook) for where, h in heard.items() if h} == {
            device: (SERIAL, "millrace"),
            server.where: (other, "millrace"),
        }
        assert ports(Asked(day, ask=True), tree.roots) == 3
        told = capsys.readouterr().out
        assert f"unit {SERIAL} answers: a Millrace, release " in told
        assert f"unit {other} answers: a Millrace" in told
        changes = {"image_begin", "settings", "restart", "erase", "image_end"}
        assert not changes & {line["what"] for line in (*one.log(), *two.log())}


def test_nothing_is_asked_while_a_day_runs_or_a_port_is_in_use(day: Path, tree: PortTree, capsys: Told) -> None:
    device = tree.plug("ttyUSB0", "1-1", leads_to="/dev/null")
    tree.process(4711, "minder", "/dev/null")
    assert document(Asked(day, ask=True), tree, capsys).ports[0].heard is None
    open_journal_once(day)
    lock = FileLock.take(Place(day / "record").lock, 1)
    try:
        with pytest.raises(RecordHeld, match="is being written by"):
            ports(Asked(day, ask=True), tree.roots)
    finally:
        lock.let_go()
    assert document(Asked(day), tree, capsys).ports[0].device == device


def open_journal_once(day: Path) -> None:
    """Make the day's record."""

    async def make() -> None:
        journal = open_journal(day / "record", "saltmere-1", DayClock(), simulated=True, simulator_key=None)
        await journal.close()

    anyio.run(make)


def test_the_rule_is_printed_alone(tree: PortTree, capsys: Told) -> None:
    tree.plug("ttyUSB0", "1-1")
    assert ports(Asked(None, udev=True), tree.roots) == 0
    told = capsys.readouterr().out
    assert all(line.startswith(("#", "ACTION")) for line in told.splitlines())
    found = document(Asked(None, udev=True), tree, capsys)
    assert found.udev == told


def test_validate_says_what_the_cables_meet_here(day: Path, tree: PortTree, capsys: Told) -> None:
    tree.plug("ttyUSB0", "1-1", power="auto")
    tree.plug("ttyUSB9", "1-9", serial="OTHER", power="auto")
    cabled(day, R1="usb:0403:6001:A10K2F", R2="usb:0403:6001:A10K2E")
    plan = read_day(day).required()
    assert port_notices(day, plan, tree.roots) == ()  # nothing is real
    made_real(day)
    notices = [str(n) for n in port_notices(day, read_day(day).required(), tree.roots)]
    lines = (day / "bench.yaml").read_text(encoding="utf-8").splitlines()
    at = next(n for n, line in enumerate(lines, 1) if "A10K2E" in line)
    assert len(notices) == 2  # nothing about the adapter that is no cable's
    assert notices[0].startswith(f"bench.yaml:{at}: cable R2 (round): its port usb:0403:6001:A10K2E is not plugged in")
    assert "may be put to sleep" in notices[1]
    assert validate(day, as_json=False) == 0
    assert "note: bench.yaml:" in capsys.readouterr().out


def test_a_wrong_identity_is_a_mistake_with_its_place(day: Path) -> None:
    cabled(day, R1="usb:403:6001:A")
    with pytest.raises(
        MistakesFound, match=r"bench\.yaml:\d+:\d+: expected usb:VID:PID:SERIAL\[:INTERFACE\], like usb:"
    ):
        read_day(day).required()
