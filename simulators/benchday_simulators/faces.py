"""How a host reaches a unit that talks over a serial line, or one that cannot talk."""

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from .channel import Channel
from .lines import Carrier
from .unit import Face, Unit


class HostFace(Face, Protocol):
    """What the process does with a unit's face over its life."""

    async def attach(self) -> dict[str, str]:
        """Appear to the host; gives where."""
        ...

    async def session(self) -> None:
        """Serve the host from the end of a boot until a restart is asked for."""
        ...

    async def rest(self) -> None:
        """The unit boots or is off."""
        ...

    def detach(self) -> None:
        """Vanish."""
        ...


def _pty(link: Path | None) -> Carrier:
    from .pty_line import PtyCarrier  # noqa: PLC0415 does not exist on every platform

    return PtyCarrier(link)


def _tcp(link: Path | None) -> Carrier:
    from .tcp_line import TcpCarrier  # noqa: PLC0415

    return TcpCarrier(link)


CARRIERS: dict[str, Callable[[Path | None], Carrier]] = {
    "pty": _pty,
    "tcp": _tcp,  # tried on Linux only
}


class SerialFace:
    """A serial line. A USB port vanishes while the unit boots or is off, a serial cable stays."""

    def __init__(self, unit: Unit, link: Path | None, carrier: str) -> None:
        self._unit = unit
        paced = unit.clock.speed == 1
        self._line = Channel(CARRIERS[carrier](link), paced=paced, baud=unit.model.baud, speech=unit.speech)
        self._usb = unit.model.line == "usb"
        self._pulled = 0
        self._greet = False
        self._plugging: asyncio.Future[dict[str, str]] | None = None

    async def attach(self) -> dict[str, str]:
        """Let the port appear; gives its name."""
        return await self._line.attach()

    async def session(self) -> None:
        """Talk until a restart is asked for."""
        # Each is loaded where it is needed: a unit without a line needs neither.
        from .prompt_dialogue import PromptDialogue  # noqa: PLC0415
        from .serial_dialogue import SerialDialogue  # noqa: PLC0415

        if not self._pulled:
            await self._line.attach()
        self._line.hear(on=True)
        prompts = self._unit.model.speaks == "prompts"
        dialogue = (PromptDialogue if prompts else SerialDialogue)(self._unit, self._line)
        if self._greet:
            await dialogue.hello()
        await dialogue.talk()

    async def rest(self) -> None:
        """Hear nothing; a USB port vanishes once the host has read what was said."""
        self._greet = True
        self._line.hear(on=False)
        if self._usb:
            await self._line.drained(0.5)
            self._line.detach()

    def detach(self) -> None:
        """Let the port vanish for good."""
        self._line.detach()

    def pull_cable(self, seconds: float) -> None:
        """Let the port vanish; it comes back after some real seconds."""
        self._pulled += 1
        self._line.detach()
        self._unit.later(seconds, self._plug_in)

    def _plug_in(self) -> None:
        self._pulled -= 1
        there = self._unit.lit.is_set() and not self._unit.booting
        if not self._pulled and (there or not self._usb):
            self._plugging = asyncio.ensure_future(self._line.attach())


class NoFace:
    """A unit without any line: display, keys and a memory card."""

    def __init__(self, unit: Unit) -> None:
        self._unit = unit

    async def attach(self) -> dict[str, str]:
        """There is nothing to appear."""
        return {}

    async def session(self) -> None:
        """Go on until somebody restarts it."""
        self._unit.restart_asked.clear()
        await self._unit.restart_asked.wait()

    async def rest(self) -> None:
        """Nothing is heard anyway."""

    def detach(self) -> None:
        """There is nothing to vanish."""

    def pull_cable(self, seconds: float) -> None:
        """There is no cable."""
