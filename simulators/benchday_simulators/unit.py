"""One simulated unit: its state, power and physics, and the trouble that befalls it. Its faces act on it."""

import asyncio
import hashlib
import hmac
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from . import power, slots, started
from .display import display
from .drawing import BOOT_S, SELF_TEST_S, seconds_of
from .models import MODELS
from .physics import PhysicsClock
from .speech import Speech
from .state import RECORDINGS, Recording, UnitState, save
from .trouble_effects import befall
from .troubles import Trouble, Troubles
from .unit_log import UnitLog

PACK_SWAP_S = 5.0
LEAST_CHARGE_PERCENT = 15
"""below this, and without external power, no image is taken"""


class Refused(Exception):
    """The unit says no."""

    def __init__(self, code: str, words: str = "") -> None:
        super().__init__(code, words)
        self.code = code
        self.words = words


class Face(Protocol):
    """How a host reaches the unit."""

    def pull_cable(self, seconds: float) -> None:
        """Cut whoever is connected; back after some real seconds."""
        ...


@dataclass(frozen=True)
class Air:
    """What a unit hears."""

    fix: str
    """none, single, float or fixed"""
    base: str
    """serial of the base heard, or empty"""
    satellites: int


class Unit:
    """One unit. Everything runs in one event loop; what is called here is done when it returns."""

    def __init__(
        self, directory: Path, state: UnitState, *, clock: PhysicsClock, log: UnitLog, troubles: Troubles, key: bytes
    ) -> None:
        self.directory = directory
        self.state = state
        self.model = MODELS[state.model]
        self.clock = clock
        self.log = log
        self.lit = asyncio.Event()
        """set while the unit is on"""
        self.dark = asyncio.Event()
        """set while the unit is off"""
        self.restart_asked = asyncio.Event()
        """set when a unit without a serial line is told to restart"""
        self.unmount_asked = asyncio.Event()
        """set when a unit that shows a drive has it unmounted"""
        self.face: Face | None = None
        self.air: Callable[[], Air] = lambda: Air("none", "", 0)
        self.booting = state.boot_until_s > clock.now()
        self.activity = "idle"
        self.doing = ""
        """what the display says it is doing"""
        self.proof_shown = ""
        """what the display shows for the last proof asked for by its keys"""
        self.armed: set[str] = set(state.armed)
        """trouble that waits for its effect"""
        self.speech = Speech()
        """how it speaks, whatever its face is"""
        self.speech.stuck = state.stuck
        self._troubles = troubles
        self._key = key
        self._settled_s = clock.now()

    # Power

    def start(self) -> None:
        """Begin where the state says; a process that ended in the middle of an image has lost it."""
        reason = f"started again while {self.state.writing}" if self.state.writing else "started"
        self.state.writing = ""
        self.state.trouble = self._troubles.memory
        on = self.state.switched_on and (self.state.external_power or self.state.battery.charge_mwh > 0)
        (self.lit if on else self.dark).set()
        self.log.write("power", on=on, reason=reason)
        self.save()

    def power_off(self, reason: str) -> None:
        """Go dark at once, whatever is under way."""
        if self.dark.is_set():
            return
        self.settle()
        self.activity, self.doing = "idle", ""
        self.state.stuck = self.speech.stuck = False
        self.lit.clear()
        self.dark.set()
        self.log.write("power", on=False, reason=reason)
        self.save()

    def power_on(self, reason: str) -> None:
        """Come on, if there is anything to run on."""
        self.settle()
        powered = self.state.external_power or self.state.battery.charge_mwh > 0
        if self.lit.is_set() or not powered or not self.state.switched_on:
            return
        self.log.write("power", on=True, reason=reason)
        self.begin_boot()
        self.dark.clear()
        self.lit.set()

    def settle(self) -> None:
        """Bring the battery up to now."""
        now = self.clock.now()
        power.settle(self.state.battery, self.flow_mw(), now - self._settled_s)
        self._settled_s = now

    def flow_mw(self) -> int:
        """Give the power that flows into the pack now."""
        lit = self.lit.is_set()
        return power.balance_mw(self.model, self.activity, lit=lit, external=self.state.external_power)

    def be(self, activity: str, doing: str = "") -> None:
        """Say what the unit is busy with, for its battery and its display."""
        self.settle()
        self.activity, self.doing = activity, doing

    def power_reading(self) -> dict[str, int | bool]:
        """Say what the unit says of its power."""
        self.settle()
        return power.reading(self.state, self.flow_mw())

    # Starting

    def begin_boot(self) -> None:
        """Begin to boot: a release that was flashed runs from now on."""
        state = self.state
        self.booting = True
        state.boot_until_s = self.clock.now() + seconds_of(BOOT_S, state, "boot")
        slots.start(self)
        started.start(self)
        self.doing = "starting"
        self.save()

    async def boot(self) -> None:
        """Wait until the boot is over."""
        await self.clock.sleep_until(self.state.boot_until_s)
        self.state.booted_at_s = self.clock.now()
        self.booting = False
        self.doing = ""
        self.save()

    # What a host asks

    def change_setting(self, name: str, value: str) -> None:
        """Change a setting; raises Refused when there is none of that name."""
        if name not in self.state.settings:
            raise Refused("unknown", "no such setting")
        self.log.write("settings", name=name, **{"from": self.state.settings[name], "to": value})
        self.state.settings[name] = value
        self.save()

    def recording(self, name: str) -> Recording:
        """Find a recording; raises Refused."""
        for recording in self.state.recordings:
            if recording.name == name:
                return recording
        raise Refused("missing", "no such recording")

    def recorded_bytes(self, recording: Recording) -> bytes:
        """Read what is stored of a recording, as far as it can be read."""
        data = (self.directory / RECORDINGS / recording.name).read_bytes()
        if recording.breaks_at_percent:
            return data[: len(data) * recording.breaks_at_percent // 100]
        return data

    async def self_test(self) -> str:
        """Test itself; gives what failed, empty when all is well."""
        await self.meet("test")
        await self.clock.sleep(SELF_TEST_S)
        return "oscillator drift" if self.suffers("test fails") else ""

    def prove(self, nonce: str) -> str:
        """Prove to be a simulator; raises Refused without a key."""
        if not self._key:
            raise Refused("nokey", "no key was handed in")
        return hmac.new(self._key, f"{nonce}:{self.state.identity()}".encode(), hashlib.sha256).hexdigest()

    def power_suffices(self) -> bool:
        """Say whether charge and supply allow an image to be taken."""
        self.settle()
        return self.state.external_power or self.state.battery.percent() >= LEAST_CHARGE_PERCENT

    def save(self) -> None:
        """Replace the stored state; it is durable when this returns."""
        self.settle()
        self.state.physics_s = self.clock.now()
        self.state.armed = sorted(self.armed)
        self.state.display = display(self)
        save(self.directory, self.state)

    def save_if_seen(self) -> None:
        """Replace the stored state if a person would see another display than the stored one."""
        if display(self) != self.state.display:
            self.save()

    # Trouble

    async def meet(self, when: str, percent: float = 0, *, begin: bool = True, moved: float = 0) -> None:
        """Let happen what is due at a moment; raises Refused where the unit is to refuse."""
        now_s = self.clock.now()
        for trouble in self._troubles.due(when, percent, begin=begin, moved=moved, now_s=now_s):
            self._tell(trouble, when)
            befall(self, trouble)
            if self.dark.is_set() or self.state.stuck:
                await asyncio.Event().wait()  # nothing goes on; the session is ended from outside
            if trouble.what in REFUSALS and self.suffers(trouble.what):
                raise REFUSALS[trouble.what]()

    def meet_times(self) -> None:
        """Let happen what is due because it is time, while the unit is on."""
        if self.lit.is_set():
            for trouble in self._troubles.due_by_time(self.clock.now()):
                self._tell(trouble, trouble.when or "time")
                befall(self, trouble)

    def next_time_s(self) -> float | None:
        """Say when (seconds of physics) `meet_times` has something to do, None while it has nothing."""
        return self._troubles.next_s()

    def _tell(self, trouble: Trouble, when: str) -> None:
        self.save()  # first, so that a process that is killed here does not begin again
        self.log.write("trouble", kind=trouble.what, when=when, entry=trouble.key, count=self._troubles.count(trouble))

    def suffers(self, what: str) -> bool:
        """Say whether trouble that waits has its effect now, and be done with it."""
        if what not in self.armed:
            return False
        self.armed.discard(what)
        self.save()
        return True

    def later(self, seconds: float, act: Callable[[], None]) -> None:
        """Do something after some real seconds, even if a session ends meanwhile."""
        asyncio.get_running_loop().call_later(seconds, act)


REFUSALS = {
    "refuses": lambda: Refused("busy", "try again later"),
    "no room": lambda: Refused("full", "no room for it"),
}
"""trouble that is told to the host at once"""
