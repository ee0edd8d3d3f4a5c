"""How soon the terminal answers an operator while twenty stations work: ``python -m tests.speed.response [KEYS]``.

The full screen runs on a terminal that is drawn for and not shown; units are fakes that tell their progress four times
a second each, the record is a real one. A key counts from the moment it is typed until the screen that shows it has
been drawn, an answer until its item has opened. Processor time is told beside it: a busy computer adds to the first
and not to the second.
"""

from __future__ import annotations

import io
import statistics
import sys
import tempfile
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import anyio
from prompt_toolkit.application import create_app_session
from prompt_toolkit.data_structures import Size as ScreenSize
from prompt_toolkit.input import PipeInput, create_pipe_input
from prompt_toolkit.output.vt100 import Vt100_Output

from benchday.bench.at_rest import at_rest
from benchday.bench.day import BenchDay
from benchday.bench.desk import BenchDesk
from benchday.cli.terminal.conversation import Conversation
from benchday.cli.terminal.prompts import CautionPrompt, Idle
from benchday.cli.terminal.screen import Session
from benchday.testing.clock import ManualClock
from tests.faults.long_shop import LongShop, long_plan

STATIONS = 20
STEP_US = 3_000_000
STEP_S = 0.05
"""Day time moves on by three seconds twenty times a second: a write of 15 minutes takes 15 seconds."""
KEYS = 400
LONGEST_S = 20.0


class Watch:
    """Types into a session and waits until that is drawn."""

    def __init__(self, session: Session, typed: PipeInput) -> None:
        self._typed, self._session = typed, session
        self._drawn = anyio.Event()
        session.app.after_render += lambda _: self._news()
        self.took_ms: list[float] = []
        self.used_ms: list[float] = []
        """Processor time that the whole program took meanwhile."""

    def _news(self) -> None:
        drawn, self._drawn = self._drawn, anyio.Event()
        drawn.set()

    async def key(self, text: str, shows: str) -> None:
        """Type a key; the line must show so much afterwards."""
        began, used = time.perf_counter(), time.process_time()
        self._typed.send_text(text)
        with anyio.fail_after(LONGEST_S):
            while self._session.line != shows:
                await self._drawn.wait()
        self.took_ms.append((time.perf_counter() - began) * 1000)
        self.used_ms.append((time.process_time() - used) * 1000)


async def measure(folder: Path, keys: int) -> tuple[Watch, int, float]:
    """Return what the keys took, how many entries landed meanwhile, and the share of a processor that all took."""
    plan = long_plan(folder, 300, STATIONS, 3, 1)
    clock = ManualClock(plan.at_us(plan.hours.opens))
    shop = LongShop(folder, plan, clock, {p.name: p.read_bytes() for p in (folder / "images").glob("*.fen")}, 1)
    out = Vt100_Output(io.StringIO(), lambda: ScreenSize(rows=60, columns=200), term="xterm-256color")
    with at_rest():
        return await _measured(shop, clock, out, keys)


async def _measured(shop: LongShop, clock: ManualClock, out: Vt100_Output, keys: int) -> tuple[Watch, int, float]:
    plan = shop.plan
    # Time passes until the last task has ended: what is cancelled may still wait for it before it lets go.
    async with shop.opened() as tools, _passing(clock), anyio.create_task_group() as tasks:
        day = BenchDay(tools)
        tasks.start_soon(day.run, shop.people)
        await tools.book.until(lambda: sum(s.on_station for s in tools.book.state.units.values()) >= STATIONS)
        with create_pipe_input() as typed, create_app_session(input=typed, output=out):
            talk = Conversation(day.desk, plan.bench.operators[0].name, "person")
            await talk.begin()
            while isinstance(talk.prompt, CautionPrompt):
                await talk.enter("y", talk.prompt)
            session = Session(talk)
            watch, seq = Watch(session, typed), tools.book.state.seq
            async with anyio.create_task_group() as screen:
                screen.start_soon(session.run, day.desk)
                began, used = time.perf_counter(), time.process_time()
                await _typed(watch, day.desk, talk, keys)
                share = (time.process_time() - used) / (time.perf_counter() - began)
                screen.cancel_scope.cancel()
            landed = tools.book.state.seq - seq
        for shield in (one for shields in tools.no_safe_stop.values() for one in shields):
            # Nobody waits for these writes: their time does not pass any more.
            shield.shield = False
        tasks.cancel_scope.cancel()
    return watch, landed, share


async def _typed(watch: Watch, desk: BenchDesk, talk: Conversation, keys: int) -> None:
    await watch.key("0", "0")
    for number in range(keys):
        if number % 3 == 2:
            # Enter on a number that no item has: said, and the line is empty again. More digits would be a walk-in.
            await watch.key("\r", "")
            await watch.key("0", "0")
            assert isinstance(talk.prompt, Idle)
        else:
            await watch.key("7", "0" + "7" * (number % 3 + 1))
        await anyio.sleep(0.02)
    assert desk.state.seq


@asynccontextmanager
async def _passing(clock: ManualClock) -> AsyncIterator[None]:
    async with anyio.create_task_group() as tasks:
        tasks.start_soon(_pass_time, clock)
        yield
        tasks.cancel_scope.cancel()


async def _pass_time(clock: ManualClock) -> None:
    while True:
        clock.advance(STEP_US)
        await anyio.sleep(STEP_S)


def main() -> None:
    """Measure and tell."""
    keys = int(sys.argv[1]) if len(sys.argv) > 1 else KEYS
    with tempfile.TemporaryDirectory() as folder:
        watch, landed, share = anyio.run(measure, Path(folder) / "day", keys)
    for what, told in (("waited", watch.took_ms), ("of a processor", watch.used_ms)):
        cuts = statistics.quantiles(told, n=100)
        sys.stdout.write(
            f"{len(told)} keys, ms {what}: median {statistics.median(told):.1f}, 95 of 100 within {cuts[94]:.1f}, "
            f"99 of 100 within {cuts[98]:.1f}, longest {max(told):.1f}\n"
        )
    sys.stdout.write(f"{landed} entries landed meanwhile; all of it took {share * 100:.0f} % of a processor\n")


if __name__ == "__main__":
    main()
