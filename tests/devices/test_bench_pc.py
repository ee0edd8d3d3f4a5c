"""The bench PC: its supply out of a folder like the kernel's, its clock, and being kept awake."""

from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from pathlib import Path

import anyio
import pytest

from benchday.devices import pc_linux, pc_mac, pc_windows
from benchday.devices.bench_pc import ThisPc, steady_pc, this_pc
from benchday.devices.pc_awake import kept_awake_by
from benchday.devices.pc_parts import PcParts, Supply
from benchday.domain.seams import PcState

MAINS = {"type": "Mains", "online": "1"}
OFF = {"type": "Mains", "online": "0"}
BATTERY = {"type": "Battery", "capacity": "81", "status": "Discharging", "present": "1"}


def sources(folder: Path, **each: Mapping[str, str]) -> Path:
    """Lay out supplies as the kernel does."""
    for name, files in each.items():
        (folder / name).mkdir()
        for file, text in files.items():
            (folder / name / file).write_text(text + "\n", encoding="utf-8")
    return folder


@pytest.mark.parametrize(
    ("each", "expected"),
    [
        ({}, Supply(True, None, None)),
        ({"AC": MAINS}, Supply(True, None, None)),
        ({"AC": MAINS, "BAT0": {**BATTERY, "status": "Charging"}}, Supply(True, 81, None)),
        ({"AC": OFF, "BAT0": {**BATTERY, "time_to_empty_now": "5400"}}, Supply(False, 81, 90)),
        ({"AC": OFF, "BAT0": {**BATTERY, "energy_now": "30000000", "power_now": "10000000"}}, Supply(False, 81, 180)),
        # Some batteries tell the current while discharging as a negative number.
        ({"AC": OFF, "BAT0": {**BATTERY, "charge_now": "3000000", "current_now": "-2000000"}}, Supply(False, 81, 90)),
        ({"AC": OFF, "BAT0": {**BATTERY, "energy_now": "30000000", "power_now": "0"}}, Supply(False, 81, None)),
        ({"AC": OFF, "BAT0": BATTERY, "BAT1": {**BATTERY, "capacity": "40"}}, Supply(False, 60, None)),
        ({"BAT0": BATTERY}, Supply(False, 81, None)),
        ({"BAT0": {**BATTERY, "status": "Full"}}, Supply(True, 81, None)),
        ({"BAT0": {**BATTERY, "status": "Unknown"}}, Supply(None, 81, None)),
        ({"AC": {"type": "Mains"}, "BAT0": BATTERY}, Supply(None, 81, None)),
        ({"AC": OFF, "BAT0": {"type": "Battery", "capacity": "a lot"}}, Supply(False, None, None)),
        # A mouse's battery is not the computer's.
        ({"AC": MAINS, "mouse": {**BATTERY, "scope": "Device", "capacity": "5"}}, Supply(True, None, None)),
    ],
)
def test_supply_under_linux(tmp_path: Path, each: dict[str, Mapping[str, str]], expected: Supply) -> None:
    """What sysfs says becomes mains, percent and minutes; what it does not say is not known."""
    assert pc_linux.supply(sources(tmp_path, **each)) == expected


def test_no_sysfs_is_not_known(tmp_path: Path) -> None:
    """Where there is no such folder, nothing is claimed."""
    assert pc_linux.supply(tmp_path / "none") == Supply(None, None, None)


@pytest.mark.parametrize(("answer", "expected"), [(0, True), (1, True), (5, None), (-1, None), (None, None)])
def test_clock_under_linux(answer: int | None, expected: bool | None) -> None:
    """adjtimex(2) answers 5 (TIME_ERROR) while nothing synchronises the clock, -1 when it may not be asked."""
    assert pc_linux.clock_set(lambda: answer, lambda: 1.8e9) is expected


def test_a_clock_that_lost_its_battery() -> None:
    """A time before the program was written is wrong, whatever the kernel thinks of it."""
    assert pc_linux.clock_set(lambda: 0, lambda: 86_400.0) is False


@pytest.mark.parametrize(("text", "expected"), [("freeze mem disk\n", False), ("\n", True), (None, False)])
def test_a_kernel_without_sleep(tmp_path: Path, text: str | None, expected: bool) -> None:
    """An empty list of sleeps means that there is none; no list means that nothing is known."""
    if text is not None:
        (tmp_path / "state").write_text(text, encoding="ascii")
    assert pc_linux.never_sleeps(tmp_path / "state") is expected


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ("Now drawing from 'AC Power'\n -InternalBattery-0 (id=1)\t95%; charging; 0:40 remaining", (True, 95, None)),
        (
            "Now drawing from 'Battery Power'\n -InternalBattery-0 (id=1)\t50%; discharging; 2:05 remaining",
            (False, 50, 125),
        ),
        ("Now drawing from 'AC Power'\n", (True, None, None)),
        ("", (None, None, None)),
    ],
)
def test_supply_under_macos(told: str, expected: tuple[bool | None, int | None, int | None]) -> None:
    """What pmset prints is read as far as it says something."""
    assert pc_mac.supply(told) == Supply(*expected)


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ((0, 1, 70, 0, 3600, 0), (False, 70, 60)),
        ((1, 8, 70, 0, 0xFFFFFFFF, 0), (True, 70, None)),
        ((1, 128, 255, 0, 0xFFFFFFFF, 0), (True, None, None)),
        ((255, 255, 255, 0, 0xFFFFFFFF, 0), (None, None, None)),
    ],
)
def test_supply_under_windows(fields: tuple[int, ...], expected: tuple[bool | None, int | None, int | None]) -> None:
    """The status structure is read as far as it says something."""
    assert pc_windows.supply(pc_windows.PowerStatus(*fields)) == Supply(*expected)
    assert pc_windows.supply(None) == Supply(None, None, None)


@pytest.mark.asyncio
async def test_the_last_write_lets_windows_sleep_again() -> None:
    """Two writes at once: the computer may sleep only after both."""
    flags: list[int] = []

    def set_state(flag: int) -> int:
        flags.append(flag)
        return 1

    wish = pc_windows.AwakeWish(set_state)
    async with wish.awake("one") as first:
        async with wish.awake("two") as second:
            assert first
            assert second
        assert pc_windows.ES_CONTINUOUS not in flags
    assert flags[-1] == pc_windows.ES_CONTINUOUS


@pytest.mark.asyncio
async def test_kept_awake_by_a_program_that_ends_with_us(tmp_path: Path) -> None:
    """The program runs while the context is open, and is gone after it."""
    mark = tmp_path / "running"
    script = f'touch "{mark}"; "$@"; rm "{mark}"'
    async with kept_awake_by(("sh", "-c", script, "sh")) as done:
        assert done
        assert mark.exists()
    assert not mark.exists()


@pytest.mark.asyncio
@pytest.mark.parametrize("command", [("no-such-program-here",), ("false",), ("sh", "-c", "exit 3")])
async def test_what_cannot_keep_it_awake_says_so(command: tuple[str, ...]) -> None:
    """A missing program and one that refuses are told, never raised."""
    async with kept_awake_by(command) as done:
        assert not done


@pytest.mark.asyncio
async def test_a_cancelled_write_leaves_no_program(tmp_path: Path) -> None:
    """Cancelling the task inside ends the program too."""
    mark = tmp_path / "running"
    with anyio.CancelScope() as scope:
        async with kept_awake_by(("sh", "-c", f'touch "{mark}"; "$@"; rm "{mark}"', "sh")):
            scope.cancel()
            await anyio.sleep_forever()
    assert not mark.exists()


def parts(*, awake: bool, never: bool = False) -> tuple[PcParts, list[str]]:
    """Make parts that answer as told, and the reasons they were given."""
    reasons: list[str] = []

    @asynccontextmanager
    async def keep(why: str) -> AsyncIterator[bool]:
        reasons.append(why)
        yield awake

    return PcParts(lambda: Supply(False, 80, 90), lambda: True, lambda: never, keep), reasons


@pytest.mark.asyncio
async def test_state_of_this_pc() -> None:
    """All answers together; whether it can be kept awake is tried each time, for it may have gone since."""
    made, reasons = parts(awake=True)
    pc = ThisPc(made)
    assert await pc.state() == PcState(False, 80, 90, True, sleep_inhibited=True)
    await pc.state()
    assert len(reasons) == 2
    async with pc.inhibit_sleep("unit 1 is being written") as done:
        assert done
    assert reasons[-1] == "unit 1 is being written"


@pytest.mark.asyncio
async def test_what_was_not_shown_is_not_claimed() -> None:
    """That it could not be kept awake leaves the question to a person; a PC that never sleeps needs nothing."""
    failing, _ = parts(awake=False)
    assert (await ThisPc(failing).state()).sleep_inhibited is None
    never, reasons = parts(awake=False, never=True)
    assert (await ThisPc(never).state()).sleep_inhibited is True
    assert reasons == []


@pytest.mark.asyncio
async def test_the_pc_that_runs_this_test_can_be_asked() -> None:
    """Whatever the machine, asking gives an answer and no error."""
    pc = this_pc()
    assert isinstance(await pc.state(), PcState)
    async with pc.inhibit_sleep("a test") as done:
        assert done in (True, False)


@pytest.mark.asyncio
async def test_simulated_days_have_a_steady_pc() -> None:
    """On mains, awake and with its clock set, whatever the computer that runs the simulation."""
    assert await steady_pc().state() == PcState(True, None, None, True, sleep_inhibited=True)
