"""The prompt dialogue of a Gantry: a request ended by CR, its echo, lines that answer, and a prompt."""

import time
from collections.abc import Awaitable, Callable

from .channel import Channel
from .prompt_transfers import PromptTransfers
from .prompt_words import LONGEST, PROMPT, LineCutter, line, refusal
from .serial_dialogue import Restart
from .unit import Refused, Unit

SLEEPS_AFTER_S = 120.0
"""real seconds of silence on the line, after which it hears nothing but that somebody speaks"""
IN_LOADER = {"", "WHO", "REL", "BATT", "PROOF", "LOAD", "REBOOT"}

Answers = list[str]


class PromptDialogue:
    """Talk to whoever is at the other end of a line, until a restart."""

    def __init__(self, unit: Unit, channel: Channel) -> None:
        self._unit = unit
        self._line = channel
        self._cutter = LineCutter()
        self._transfers = PromptTransfers(unit, channel)
        self._heard_at = time.monotonic() - SLEEPS_AFTER_S - 1
        self._requests: dict[str, Callable[[str], Awaitable[Answers]]] = {
            "": self._ready,
            "WHO": self._who,
            "REL": self._rel,
            "OPT": self._opt,
            "TERM": self._term,
            "BATT": self._batt,
            "MEM": self._mem,
            "SUM": self._sum,
            "PARAMS": self._params,
            "SET": self._set,
            "CHECK": self._check,
            "PROOF": self._proof,
            "SEND": self._send,
            "LOAD": self._load,
            "REBOOT": self._reboot,
        }

    async def talk(self) -> None:
        """Answer requests until one asks for a restart."""
        try:
            while True:
                await self._hear(await self._line.read(3600.0))
        except Restart:
            return

    async def hello(self) -> None:
        """Say unasked that the unit has started."""
        await self._line.write(line(f"GANTRY {self._unit.state.identity()} UP") + PROMPT)

    async def _hear(self, data: bytes) -> None:
        asleep = time.monotonic() - self._heard_at > SLEEPS_AFTER_S
        self._heard_at = time.monotonic()
        if asleep:  # what wakes it is lost
            self._cutter.clear()
            return
        shown = bytes(byte for byte in data if 0x20 <= byte < 0x7F or byte == 0x0D)
        await self._line.write(shown.replace(b"\r", b"\r\n"))
        for request in self._cutter.feed(data):
            await self._answer(request)
            self._heard_at = time.monotonic()

    async def _answer(self, request: bytes) -> None:
        text = request.decode("ascii", "replace").strip()
        name, _, rest = text.partition(" ")
        try:
            act = self._act_for(name, text)
            answers = await act(rest.strip())
        except Refused as no:
            self._unit.log.write("refused", request=name[:16] if name.isprintable() else "line", code=no.code)
            await self._line.write(refusal(no.code, no.words) + PROMPT)
        else:
            await self._line.write(b"".join(map(line, answers)) + PROMPT)

    def _act_for(self, name: str, text: str) -> Callable[[str], Awaitable[Answers]]:
        if len(text) > LONGEST or not text.isprintable() or not text.isascii():
            raise Refused("line", "cannot be read")
        if name not in self._requests:
            raise Refused("unknown", "no such request")
        if self._unit.state.mode == "boot" and name not in IN_LOADER:
            raise Refused("boot", "not in the loader")
        return self._requests[name]

    # Asked

    async def _ready(self, _: str) -> Answers:
        return ["READY"]

    async def _who(self, _: str) -> Answers:
        await self._unit.meet("identify")
        state = self._unit.state
        self._unit.log.write("identify", serial=state.identity(), mode=state.mode)
        running = "OPERATING" if state.mode == "run" else "LOADER"
        return [f"UNIT {state.identity()} {state.model} REV {state.hardware} {running}"]

    async def _rel(self, _: str) -> Answers:
        return [f"REL {self._unit.state.release or '-'}"]

    async def _opt(self, _: str) -> Answers:
        return [f"OPT {'+'.join(self._unit.state.options) or '-'}"]

    async def _term(self, _: str) -> Answers:
        return [f"TERM {self._unit.state.term or '-'}"]

    async def _batt(self, _: str) -> Answers:
        self._unit.settle()
        state = self._unit.state
        pack, external = state.battery, "ON" if state.external_power else "OFF"
        tenths = max(0, min(1000, int(1000 * pack.charge_mwh / pack.full_mwh)))
        celsius = pack.temperature_dk * 10 - 27315
        sign, celsius = "-" if celsius < 0 else "", abs(celsius)
        full = f"{pack.full_mwh // 1000}.{pack.full_mwh % 1000:03d}"
        return [f"BATT {tenths} OF {full} WH {sign}{celsius // 100}.{celsius % 100:02d} C EXT {external}"]

    async def _mem(self, _: str) -> Answers:
        await self._unit.meet("recordings")
        kept = self._unit.state.recordings
        return [*(f"JOB {number} {one.name} {one.bytes}" for number, one in enumerate(kept, 1)), f"END {len(kept)}"]

    async def _sum(self, rest: str) -> Answers:
        return [f"SUM {self._unit.recording(rest).sha256}"]

    async def _params(self, _: str) -> Answers:
        settings = self._unit.state.settings
        return [*(f"{name}={value}" for name, value in settings.items()), f"END {len(settings)}"]

    async def _check(self, _: str) -> Answers:
        failed = await self._unit.self_test()
        return [f"CHECK FAIL {failed}" if failed else "CHECK PASS"]

    async def _proof(self, rest: str) -> Answers:
        return [f"PROOF {self._unit.prove(rest)}"]

    # Told

    async def _set(self, rest: str) -> Answers:
        name, equals, value = rest.partition("=")
        if not equals:
            raise Refused("unknown", "a name, =, and a value are needed")
        self._unit.change_setting(name, value)
        return ["OK"]

    async def _reboot(self, _: str) -> Answers:
        await self._unit.meet("restart")
        await self._line.write(line("OK"))
        raise Restart

    async def _send(self, rest: str) -> Answers:
        await self._transfers.send(self._unit.recording(rest))
        return []

    async def _load(self, rest: str) -> Answers:
        if not (rest.isascii() and rest.isdigit()):
            raise Refused("size", "the number of bytes is needed")
        await self._transfers.take(int(rest))
        return []
