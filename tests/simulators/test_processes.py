"""Units as processes: starting, ending, being looked after; and the line's rate."""

import asyncio
import json
import os
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest

from benchday_simulators.channel import Channel
from benchday_simulators.keeper import until_keeper_is_gone
from benchday_simulators.tcp_line import TcpCarrier
from tests.simulators.stranger import SERIAL, Console, arguments, unit, until
from tests.simulators.test_serial_unit import IMAGE, prepared


def test_the_models_are_listed() -> None:
    command = [sys.executable, "-m", "benchday_simulators", "list"]
    table = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    assert [line.split()[0] for line in table.splitlines()] == [
        *("model", "Millrace", "Weirstone", "Osier", "Tiller", "Wherry", "Gantry", "Fenbook", "Sluicepad")
    ]
    listed = json.loads(subprocess.run([*command, "--json"], capture_output=True, text=True, check=True).stdout)
    assert [model["line"] for model in listed["models"]] == [
        "serial",
        "usb",
        "wifi",
        "none",
        "smp",
        "serial",
        "page",
        "drive",
    ]


def test_a_folder_is_served_once_and_holds_one_unit(tmp_path: Path) -> None:
    folder = prepared(tmp_path / "u")
    with unit("Millrace", folder):
        second = subprocess.run(arguments("Millrace", folder), capture_output=True, text=True, check=False)
        assert second.returncode == 1
        assert "another process serves the unit" in second.stderr
    other = subprocess.run(
        arguments("Millrace", folder, serial_number="1"), capture_output=True, text=True, check=False
    )
    assert other.returncode == 1
    assert f"holds the Millrace {SERIAL}, not the Millrace 1" in other.stderr


def test_the_next_one_waits_for_the_last_one_to_end(tmp_path: Path) -> None:
    """A day that is taken up again at once starts its units before those of the call before have ended."""
    folder = prepared(tmp_path / "u")
    with unit("Millrace", folder) as first:
        first.popen.send_signal(signal.SIGSTOP)  # it takes its time
        command = arguments("Millrace", folder)
        with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as second:
            assert second.stdout is not None
            until(lambda: holds(second.pid, folder / "log.jsonl"), "the second one to come")
            first.popen.terminate()
            first.popen.send_signal(signal.SIGCONT)
            assert json.loads(second.stdout.readline())["serial"] == SERIAL
            second.kill()


def holds(pid: int, path: Path) -> bool:
    """Tell whether a process has a file open."""
    with suppress(FileNotFoundError):
        return any(link.resolve() == path for link in Path(f"/proc/{pid}/fd").iterdir())
    return False


def test_equal_seeds_draw_equal_units(tmp_path: Path) -> None:
    states = []
    for name in ("a", "b"):
        with unit("Weirstone", tmp_path / name) as process:
            state = process.state()
            states.append({key: state[key] for key in ("hardware", "release", "term", "options", "recordings")})
    assert states[0] == states[1]


def test_starting_costs_little(tmp_path: Path) -> None:
    """Twenty units start at once on two cores: one costs little more than Python and what it waits with."""
    folder = prepared(tmp_path / "u")
    bare = costs(lambda: subprocess.run([sys.executable, "-c", "import asyncio, json, subprocess"], check=True))

    def start() -> None:
        with unit("Millrace", folder):
            pass

    started = costs(start)
    assert started < 2.5 * bare, f"{started:.3f} s of CPU to start, Python alone {bare:.3f} s"


def costs(do: Callable[[], object]) -> float:
    """Return the least processor time of some that a child process takes, seconds."""
    found = []
    for _ in range(4):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        do()
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        found.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(found)


@pytest.mark.asyncio
async def test_a_keeper_that_comes_back_keeps_the_unit(tmp_path: Path) -> None:
    file = tmp_path / "keeper"
    file.write_text(str(os.getpid()))
    watch = asyncio.create_task(until_keeper_is_gone(file, gone_for_s=0.1, look_every_s=0.01))
    await asyncio.sleep(0.2)
    assert not watch.done()
    file.unlink()
    await asyncio.wait_for(watch, 5)


LINE_BYTES_PER_S = 11_453
"""What 115,200 Bd, 10 bits a byte, carry at most: 1,024 of 1,029 + 1 bytes are data."""


def comes_at_the_rate_of_the_line(bytes_per_s: Callable[[Path], float], tmp_path: Path, share: float) -> None:
    """Never faster; as fast at least once, for a computer that does much else may stall each of them."""
    for attempt in range(8):
        folder = tmp_path / str(attempt)
        folder.mkdir()
        came = bytes_per_s(folder)
        assert came <= 1.005 * LINE_BYTES_PER_S
        if came > share * LINE_BYTES_PER_S:
            return
    pytest.fail(f"eight times slower than {share} of the line, {came:.0f} B/s the last time")


def test_at_speed_1_an_image_comes_at_the_rate_of_the_line(tmp_path: Path) -> None:
    def bytes_per_s(folder: Path) -> float:
        with unit("Millrace", prepared(folder / "u"), speed=1) as process, Console(process.link) as console:
            assert console.ask("STREAM,0") == "OK,STREAM"
            assert console.ask(f"TAKE,{len(IMAGE)}") == "OK,TAKE"
            console.until_asked()
            assert console.send_blocks(IMAGE, most=1) == b"\x06"  # the first is also logged and synced
            begins = time.monotonic()
            assert console.send_blocks(b"\0" * 1024 + IMAGE[1024:]) == b"\x06"
            return -(-len(IMAGE) // 1024) * 1024 / (time.monotonic() - begins)

    comes_at_the_rate_of_the_line(bytes_per_s, tmp_path, 0.95)


def test_at_speed_1_a_recording_comes_at_the_rate_of_the_line(tmp_path: Path) -> None:
    """OK, 50 ms after C and EOT cost the rest."""

    def bytes_per_s(folder: Path) -> float:
        prepared(folder / "u", recordings=[20_480])
        with unit("Millrace", folder / "u", speed=1) as process, Console(process.link) as console:
            assert console.ask("STREAM,0") == "OK,STREAM"
            begins = time.monotonic()
            got = console.fetch("SITE001.rnx")
            return len(got) / (time.monotonic() - begins)

    comes_at_the_rate_of_the_line(bytes_per_s, tmp_path, 0.90)


@pytest.mark.asyncio
async def test_a_socket_carries_a_line_where_there_are_no_pseudo_terminals(tmp_path: Path) -> None:
    link = tmp_path / "port"
    channel = Channel(TcpCarrier(link), paced=False)
    where = await channel.attach()
    assert json.loads(link.read_text())["url"] == where["port"]
    reader, writer = await asyncio.open_connection("127.0.0.1", int(where["port"].rpartition(":")[2]))
    writer.write(b"asked")
    assert await channel.read(5.0) == b"asked"
    await channel.write(b"answered")
    assert await reader.readexactly(8) == b"answered"
    channel.detach()
    with suppress(ConnectionError):
        assert await reader.read(1) == b""
    writer.close()
    assert not link.exists()
