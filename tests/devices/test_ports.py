"""Ports on a made system: listed by identity, found again under another name, and what stands in their way."""

from __future__ import annotations

import os
import sys
from functools import partial
from pathlib import Path

import anyio
import pytest

from benchday.devices.links import LineSettings, open_link
from benchday.devices.links import opening as how
from benchday.devices.links.opening import identity_at, is_new, one_at_a_time, patiently, stably
from benchday.devices.links.place import read_place
from benchday.devices.ports import find, plugged_in
from benchday.devices.ports.elsewhere import plugged_in as plugged_in_elsewhere
from benchday.devices.ports.holders import holder_before_opening, holder_of
from benchday.devices.ports.troubles import Code, Looked, look
from benchday.devices.ports.udev import rules
from benchday.domain.errors import LinkBusy, LinkNotFound
from benchday.domain.ports import PortName, read_port_name
from benchday.domain.seams import Link
from tests.devices.port_tree import PortTree
from tests.devices.ptys import PtyEnd, pty_end
from tests.devices.test_links import HOLDING

FREE = partial(look, may=lambda _path, _mode: True)


@pytest.fixture
def tree(tmp_path: Path) -> PortTree:
    """Make an empty system."""
    return PortTree(tmp_path / "system")


def named(text: str) -> PortName:
    """Read a name."""
    name = read_port_name(text)
    assert name is not None
    return name


def test_what_is_plugged_in(tree: PortTree) -> None:
    for number in (10, 2):
        tree.plug(f"ttyUSB{number}", f"1-{number}", serial=f"S{number}")
    tree.plug("ttyACM0", "2-1.4", "1209:0001", None, interface=2, power="auto", product="Millrace")
    (tree.tty / "ttyS0" / "device").mkdir(parents=True)
    (tree.tty / "ttyS0" / "type").write_text("4\n")
    (tree.tty / "ttyS1" / "device").mkdir(parents=True)
    (tree.tty / "ttyS1" / "type").write_text("0\n")
    there = plugged_in(tree.roots)
    assert [Path(p.device).name for p in there] == ["ttyACM0", "ttyS0", "ttyUSB2", "ttyUSB10"]
    acm, built_in, second, _ = there
    assert (acm.ids, acm.serial, acm.location, acm.interface, acm.power_saving) == ("1209:0001", None, "2-1.4", 2, True)
    assert (built_in.ids, built_in.power_saving) == ("", None)
    assert (second.serial, second.description, second.power_saving) == ("S2", "Reedmace cable", False)


def test_what_a_device_tells_of_itself_steers_no_terminal(tree: PortTree) -> None:
    tree.plug("ttyUSB0", "1-1", product="\x1b[2Jcable", serial="A\x1b]0;")
    [port] = plugged_in(tree.roots)
    assert "\x1b" not in f"{port}{port.serial}"


def test_a_system_without_sys_has_no_ports(tmp_path: Path) -> None:
    assert plugged_in(PortTree(tmp_path / "a").roots) == ()
    assert plugged_in(type(PortTree(tmp_path / "b").roots)(sys=tmp_path / "none")) == ()


def test_the_twin_for_other_systems_lists(monkeypatch: pytest.MonkeyPatch, tree: PortTree) -> None:
    """Through pyserial; what is there on this machine, whatever that is."""
    assert all(port.device for port in plugged_in_elsewhere(tree.roots))


def test_nothing_fits_and_too_much_fits(tree: PortTree) -> None:
    tree.plug("ttyUSB0", "1-1", serial="A10K2F")
    with pytest.raises(LinkNotFound, match=r"nothing plugged in is usb:0403:6001:A10K2E; .*did you mean .*A10K2F\?"):
        find(named("usb:0403:6001:A10K2E"), tree.roots)
    tree.plug("ttyUSB1", "1-2", serial="A10K2F")
    with pytest.raises(LinkNotFound, match=r"ttyUSB0 and .*ttyUSB1, which tell the same.*usb-path:1-1.*usb-path:1-2"):
        find(named("usb:0403:6001:A10K2F"), tree.roots)
    assert find(named("usb-path:1-2"), tree.roots).device.endswith("ttyUSB1")


async def _speaks(link: Link, far: PtyEnd) -> None:
    with anyio.fail_after(5):
        await far.send(b"x")
        assert await link.receive() == b"x"
    await link.aclose()


@pytest.mark.asyncio
async def test_an_adapter_is_found_again_under_another_name(tree: PortTree) -> None:
    """It comes back as ttyUSB1 while something else has taken ttyUSB0, and then in another socket."""
    async with pty_end() as far, pty_end() as stranger:
        where = tree.plug("ttyUSB0", "1-1", leads_to=far.path)
        open_it = stably(where, partial(_open, tree), tree.roots)
        await _speaks(await open_it(), far)
        tree.pull("ttyUSB0")
        tree.plug("ttyUSB0", "1-9", serial="OTHER", leads_to=stranger.path)
        with pytest.raises(LinkNotFound, match="nothing plugged in is usb:0403:6001:A10K2F"):
            await open_it()
        tree.plug("ttyUSB1", "1-1", leads_to=far.path)
        await _speaks(await open_it(), far)
        tree.pull("ttyUSB1")
        tree.plug("ttyUSB5", "1-7", leads_to=far.path)
        await _speaks(await open_it(), far)


@pytest.mark.asyncio
async def test_a_unit_that_tells_another_product_while_it_restarts_is_found_by_its_socket(tree: PortTree) -> None:
    async with pty_end() as far:
        tree.plug("ttyACM0", "1-1", "1209:0001", leads_to=far.path)
        open_it = stably("usb:1209:0001:A10K2F", partial(_open, tree), tree.roots)
        await _speaks(await open_it(), far)
        tree.pull("ttyACM0")
        tree.plug("ttyACM1", "1-1", "1209:00b0", None, leads_to=far.path)
        await _speaks(await open_it(), far)


async def _open(tree: PortTree, where: str) -> Link:
    return await open_link(await how.device_of(where, tree.roots))


@pytest.mark.asyncio
async def test_a_place_without_identity_is_opened_as_it_was(tree: PortTree) -> None:
    async with pty_end() as far:
        open_it = stably(far.path, open_link, tree.roots)
        await _speaks(await open_it(), far)
        await _speaks(await open_it(), far)
    assert identity_at("socket://192.0.2.1:1", tree.roots) == ()


@pytest.mark.asyncio
async def test_an_identity_is_opened_as_a_place() -> None:
    """On this computer, where nothing of that kind is plugged in."""
    assert (read_place("usb-path:1-1.2:00").scheme, read_place("usb:0403:6001:A").rest) == ("usb-path", "0403:6001:A")
    for where in ("usb:fff0:fff0:NONE", "usb-path:99-1"):
        with pytest.raises(LinkNotFound, match=f"nothing plugged in is {where}; "):
            await open_link(where, LineSettings())
    with pytest.raises(LinkNotFound, match="expected usb-path:BUS-PORT"):
        await open_link("usb-path:hub")


@pytest.mark.asyncio
async def test_a_new_port_that_something_looks_at_is_waited_for() -> None:
    """A program has the port for a moment, as one does that looks for modems."""
    async with pty_end() as far, await anyio.open_process([sys.executable, "-c", HOLDING, far.path]) as holder:
        assert holder.stdout is not None
        await holder.stdout.receive()
        with pytest.raises(LinkBusy):
            await open_link(far.path)
        async with anyio.create_task_group() as both:
            both.start_soon(_end_later, holder)
            link = await patiently(partial(open_link, far.path), far.path, appears_s=0, poll_s=0.05)
        await link.aclose()


async def _end_later(holder: anyio.abc.Process) -> None:
    await anyio.sleep(0.3)
    holder.kill()


@pytest.mark.asyncio
async def test_who_has_an_old_port_means_to_keep_it(
    tmp_path: Path, tree: PortTree, monkeypatch: pytest.MonkeyPatch
) -> None:
    tries = []

    async def busy() -> Link:
        tries.append(1)
        raise LinkBusy("held")

    port = tmp_path / "port"
    port.touch()
    now = port.stat().st_ctime
    assert is_new(str(port), tree.roots, now + 1)
    assert not is_new(str(port), tree.roots, now + how.NEW_S + 1)
    assert is_new("/dev/none", tree.roots)
    assert not is_new("rfc2217://192.0.2.7:1", tree.roots)
    monkeypatch.setattr(how, "NEW_S", -1.0)
    with pytest.raises(LinkBusy):
        await patiently(busy, str(port), appears_s=0, poll_s=0.01)
    assert len(tries) == 1


@pytest.mark.asyncio
async def test_a_port_that_has_not_shown_up_yet_is_waited_for(tmp_path: Path) -> None:
    async with pty_end() as far:
        link_path = tmp_path / "later"

        async def show_up() -> None:
            await anyio.sleep(0.2)
            link_path.symlink_to(far.path)

        async with anyio.create_task_group() as both:
            both.start_soon(show_up)
            link = await patiently(partial(open_link, str(link_path)), str(link_path), appears_s=5, poll_s=0.05)
        await link.aclose()


@pytest.mark.asyncio
async def test_few_ports_are_opened_at_once() -> None:
    most = 0

    async def one() -> None:
        nonlocal most
        async with one_at_a_time():
            most = max(most, int(one_at_a_time().borrowed_tokens))
            await anyio.sleep(0.005)

    async with anyio.create_task_group() as many:
        for _ in range(30):
            many.start_soon(one)
    assert most == how.OPENED_AT_ONCE


def test_who_has_a_port(tree: PortTree) -> None:
    device = tree.plug("ttyUSB0", "1-1")
    assert holder_of(device, tree.roots) is None
    tree.process(4711, "minder", device)
    assert holder_of(device, tree.roots) == "minder (process 4711)"
    assert holder_before_opening("/dev/pts/0", tree.roots) is None


@pytest.mark.parametrize("text", ["", "no number", "99999", "our own", "\x00\x01\x02\x03"])
def test_lock_files_that_hold_nobody_off(tree: PortTree, text: str) -> None:
    device = tree.plug("ttyUSB0", "1-1")
    (tree.roots.locks / "LCK..ttyUSB0").write_text(str(os.getpid()) if text == "our own" else text)
    (tree.roots.proc / str(os.getpid())).mkdir()
    assert holder_of(device, tree.roots) is None


def test_a_lock_file_of_a_living_program(tree: PortTree) -> None:
    device = tree.plug("ttyUSB0", "1-1")
    (tree.roots.locks / "LCK..ttyUSB0").write_text("      4712\n")
    tree.process(4712, "terminal", "/dev/null")
    assert holder_of(device, tree.roots) == "terminal (process 4712)"


def told(found: Looked) -> dict[Code, str]:
    """Return code -> text."""
    return {trouble.code: trouble.text for trouble in found.troubles}


def test_all_is_well(tree: PortTree) -> None:
    device = tree.plug("ttyUSB0", "1-1")
    server = ("R3", "round", "rfc2217://192.0.2.7:1")
    cables = [("R1", "round", "usb:0403:6001:A10K2F"), ("R2", "round", None), server]
    found = FREE(cables, tree.roots)
    assert found.troubles == ()
    assert [cable.device for cable in found.cables] == [device, None, None]
    assert [c.number for c in found.cables_of(found.plugged[0])] == ["R1"]


def test_each_trouble_says_what_to_do(tree: PortTree) -> None:
    device = tree.plug("ttyUSB0", "1-1", power="auto")
    tree.plug("ttyUSB1", "1-2")
    tree.process(4711, "minder", device)
    cables = [
        ("R1", "round", "usb-path:1-1"),
        ("R2", "round", device),
        ("R3", "round", "usb:0403:6001:A10K2F"),
        ("R4", "round", "/dev/ttyNONE"),
    ]
    found = look(cables, tree.roots, may=lambda path, _mode: not path.endswith("USB0"))
    texts = told(found)
    assert set(texts) == {
        Code.ABSENT, Code.FORBIDDEN, Code.IN_USE, Code.DOUBLE, Code.SHARED, Code.POWER_SAVING
    }  # fmt: skip
    assert "usermod -aG" in texts[Code.FORBIDDEN]
    assert "minder (process 4711)" in texts[Code.IN_USE]
    assert texts[Code.SHARED].startswith("cables R1 and R2 have the same port")
    assert f"echo on > {tree.usb}/1-1/power/control" in texts[Code.POWER_SAVING]
    assert "usb-path:1-1" in texts[Code.DOUBLE]
    absent = [t.text for t in found.troubles if t.code is Code.ABSENT]
    assert "cable R3 (round): its port usb:0403:6001:A10K2F means 2 that are plugged in" in absent[0]
    assert "cable R4 (round): its port /dev/ttyNONE is not plugged in; plug it in, or correct bench.yaml" in absent[1]


def test_the_rule_names_each_kind_of_adapter_once(tree: PortTree) -> None:
    tree.plug("ttyUSB0", "1-1")
    tree.plug("ttyUSB1", "1-2", serial="B")
    tree.plug("ttyACM0", "1-3", "1209:0001")
    text = rules(plugged_in(tree.roots))
    assert text.count('ENV{ID_MM_DEVICE_IGNORE}="1"') == 2
    assert 'ATTR{idVendor}=="1209", ATTR{idProduct}=="0001"' in text
    assert 'ATTR{power/control}="on"' in text
    assert "No USB adapter is plugged in" in rules(())
