"""Sleep is inhibited by the system's own program, over a real message bus, as long as a write runs and no longer."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import anyio
import pytest

from benchday.devices.pc_linux import linux
from benchday.domain.errors import TransferCut

DEBIANS_PYTHON = "/usr/bin/python3"
STAND_IN = Path(__file__).with_name("logind_stand_in.py")
LID = "sleep:idle:handle-lid-switch"


class StandIn:
    """The stand-in, and what it said."""

    def __init__(self, bus: str, refuses: str | None, around: ExitStack) -> None:
        arguments = [DEBIANS_PYTHON, str(STAND_IN), *([refuses] if refuses else [])]
        self._process = around.enter_context(
            subprocess.Popen(
                arguments, stdout=subprocess.PIPE, text=True, env={"DBUS_SYSTEM_BUS_ADDRESS": bus, "PATH": "/usr/bin"}
            )
        )
        around.callback(self._process.kill)
        assert self.says() == "ready", "needs Debian's dbus, python3-dbus and python3-gi"

    def says(self) -> str:
        """Return the next line."""
        assert self._process.stdout is not None
        return self._process.stdout.readline().strip()


@pytest.fixture
def bus(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[str, ExitStack]]:
    """Run a message bus of our own, and let it be the system's."""
    for program in ("dbus-daemon", "systemd-inhibit"):
        assert shutil.which(program), f"needs {program} (Debian: dbus, systemd)"
    address = f"unix:path={tmp_path}/bus"
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", address)
    command = ["dbus-daemon", "--session", "--nofork", f"--address={address}", "--print-address"]
    with ExitStack() as around:
        daemon = around.enter_context(subprocess.Popen(command, stdout=subprocess.PIPE, text=True))
        around.callback(daemon.kill)
        assert daemon.stdout is not None
        assert daemon.stdout.readline().startswith("unix:")
        yield address, around


@pytest.mark.asyncio
@pytest.mark.parametrize(("refuses", "what"), [(None, LID), ("lid", "sleep:idle")])
async def test_held_while_a_write_runs(bus: tuple[str, ExitStack], refuses: str | None, what: str) -> None:
    """The lid too, where that is allowed: by its default a closed lid heeds no other inhibitor (logind.conf(5))."""
    manager = StandIn(bus[0], refuses, bus[1])
    async with linux().awake("unit 1 is being written") as done:
        assert done
        assert manager.says() == f"held {what} benchday block: unit 1 is being written"
    assert manager.says() == f"ended {what}"


@pytest.mark.asyncio
async def test_let_go_after_an_error_and_a_cancelled_write(bus: tuple[str, ExitStack]) -> None:
    """However a write ends, the computer may sleep again."""
    manager = StandIn(bus[0], None, bus[1])
    with pytest.raises(TransferCut):
        async with linux().awake("unit 1 is being written"):
            raise TransferCut("the line vanished", 1)
    assert [manager.says()[:5], manager.says()] == ["held ", f"ended {LID}"]
    with anyio.CancelScope() as scope:
        async with linux().awake("unit 2 is being written"):
            scope.cancel()
            await anyio.sleep_forever()
    assert [manager.says()[:5], manager.says()] == ["held ", f"ended {LID}"]


@pytest.mark.asyncio
async def test_where_nobody_answers_on_the_bus_it_is_said(bus: tuple[str, ExitStack]) -> None:
    """A bus without a login manager: it could not be done, which the check before the write asks about."""
    assert bus[0]
    async with linux().awake("unit 1 is being written") as done:
        assert not done
