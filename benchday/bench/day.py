"""The day is a task group: stations, talks beside them, the dispatcher, and whoever serves the operators."""

from __future__ import annotations

import anyio

from benchday.bench.aside.sets import DONE
from benchday.bench.conversations import Conversations
from benchday.bench.desk import BenchDesk
from benchday.bench.editing import Look, watch_inputs
from benchday.bench.foreseeing import Foreseer
from benchday.bench.recovery import hold_what_was_cut, void_confirmations
from benchday.bench.serving import Tools
from benchday.bench.station import Station
from benchday.bench.targeting import late_from_us
from benchday.bench.wall_clock import watch_wall_clock
from benchday.domain.fold import DayState
from benchday.domain.kinds import ProgramStopped
from benchday.domain.seams import Operators
from benchday.domain.steps import NO_SAFE_STOP, State
from benchday.domain.story import UnitStory

LAST_STOP_WITHIN_US = 10_000_000


class BenchDay:
    """Runs one day until everything is done, or until it is stopped."""

    def __init__(
        self, tools: Tools, look: Look | None = None, foreseer: Foreseer | None = None, *, linger: bool = False
    ) -> None:
        """Make the day ready to run.

        Args:
            tools: what it works with.
            look: compares the day's files with what was recorded, if edits are to be offered.
            foreseer: works out again and again how the rest of the day looks, if that is wanted.
            linger: while a unit is held the day stays open until closing time, so that the hold can be lifted.
        """
        self._tools = tools
        self._linger = linger
        self._look = look
        self._foreseer = foreseer
        tools.foreseer = foreseer
        self._stopping = anyio.Event()
        self._warned_us: int | None = None
        self._why = "finished"
        self._conversations = Conversations(tools)
        self.stations = [Station(tools, s.name, self._stopping) for s in tools.plan.bench.stations]
        self.desk = BenchDesk(tools, self._conversations, self.stop, self.stop_once)
        self._running = 0
        self._fault: Exception | None = None

    async def run(self, operators: Operators) -> str:
        """Run the day; return why it ended: finished, stopped or nobody (to ask).

        Raises:
            RecordError: the journal cannot be written any more.
            Exception: what a face stumbled over, once the writes that ran have ended.
        """
        await hold_what_was_cut(
            self._tools.book, self._tools.queue, "the program ended while the unit was being written"
        )
        await void_confirmations(self._tools.book, self._tools.queue)
        async with anyio.create_task_group() as day:
            for station in self.stations:
                day.start_soon(self._serve, station)
            for work in (self._dispatch, self._conversations.run, self._wake):
                day.start_soon(work)
            day.start_soon(self._tools.pauses.watch, self._tools)
            day.start_soon(watch_wall_clock, self._tools)
            if self._look is not None:
                day.start_soon(watch_inputs, self._tools, self._look)
            if self._foreseer is not None:
                day.start_soon(self._foreseer.run)
            day.start_soon(self._operators, operators)
            await self._tools.book.until(self._over)
            day.cancel_scope.cancel()
        await hold_what_was_cut(
            self._tools.book, self._tools.queue, "the program was stopped while the unit was being written"
        )
        await self._tools.book.append(ProgramStopped(why=self._why).draft())
        if self._fault is not None:
            raise self._fault
        return self._why

    def stop(self) -> str:
        """Take a request to stop, and say what it means.

        The first lets running writes finish. While units are being written the second names them, and only a third
        within ten seconds of it ends all the same.
        """
        now, writing = self._tools.book.clock.monotonic(), self._writing()
        self._why = "stopped"
        if not self._stopping.is_set():
            self._stopping.set()
            for station in self.stations:
                station.stop()
            self._tools.book.nudge()
            return _first_stop(writing)
        warned, self._warned_us = self._warned_us, now
        if writing and (warned is None or now - warned > LAST_STOP_WITHIN_US):
            named = ", ".join(writing)
            return f"STILL BEING WRITTEN, would be left half written: {named}. Once more within 10 s ends all the same."
        for station in self.stations:
            station.cut()
        return "Ended; what was being written is interrupted." if writing else "Ended; nothing was being written."

    def stop_once(self) -> str:
        """Take a request to stop that is nobody's decision about a write: asked again it only says what is let finish.

        A terminal that closes sends its signal two or three times, and so does a system that shuts down.
        """
        self._why = "stopped"
        return _first_stop(self._writing()) if self._stopping.is_set() else self.stop()

    def _writing(self) -> list[str]:
        return [s.serial for s in self._tools.book.state.units.values() if s.state in NO_SAFE_STOP]

    async def _serve(self, station: Station) -> None:
        self._running += 1
        try:
            await station.run()
        finally:
            self._running -= 1
            self._tools.book.nudge()

    async def _operators(self, operators: Operators) -> None:
        try:
            await operators.serve(self.desk)
        except Exception as fault:  # noqa: BLE001 -- units may be being written: told once that has ended
            self._fault = fault
        # A face that ends by itself has nobody left to ask.
        if not self._stopping.is_set():
            self.stop()
            self._why = "nobody"
        while True:
            # A write goes on by itself; what waits for an answer would wait for ever.
            for station in self.stations:
                if station.asks():
                    station.cut()
            await self._tools.book.changed()

    async def _dispatch(self) -> None:
        places = self._tools.places
        while True:
            news = self._tools.book.watch()
            await places.settle(new_units=not self._stopping.is_set())
            await news.wait()

    async def _wake(self) -> None:
        """Wake everybody when the next unit is due, and at closing time."""
        book, woken = self._tools.book, self._tools.book.clock.now()
        while True:
            news = book.watch()
            awaited = [s for s in book.state.units.values() if s.state is State.EXPECTED]
            due = [at for s in awaited for at in (s.arrives_us, late_from_us(book.state, s)) if at]
            coming = [at for at in (*due, (book.state.begun or {}).get("closes_us", 0)) if at > woken]
            if coming and min(coming) <= (now := book.clock.now()):
                woken = now
                book.nudge()
                continue
            async with anyio.create_task_group() as waiting:
                if coming:
                    waiting.start_soon(self._wake_at, min(coming))
                # Edited hours and rosters move what is waited for.
                await news.wait()
                waiting.cancel_scope.cancel()

    async def _wake_at(self, at_us: int) -> None:
        await self._tools.book.clock.wait_until(at_us)
        self._tools.book.nudge()

    def _over(self) -> bool:
        if self._stopping.is_set():
            return self._running == 0
        state, now = self._tools.book.state, self._tools.book.clock.now()
        return is_over(state, now, linger=self._linger) and not self._conversations.busy()


def is_over(state: DayState, now_us: int, *, linger: bool = False) -> bool:
    """Tell whether nothing more is to be done today; if it lingers, a held unit may still be lifted until closing."""
    closed = now_us >= (state.begun or {}).get("closes_us", 0)
    return bool(state.begun) and all(_done(story, closed, linger) for story in state.units.values())


def _done(story: UnitStory, closed: bool, linger: bool) -> bool:
    if story.state is State.WAITING:
        # One that was sent off still stands on its station until somebody has taken it away.
        return story.station is None and (story.not_today is not None or closed)
    if story.state is State.HELD:
        return story.station is None and (closed or not linger or story.taken)
    return story.state in DONE and story.state is not State.READY


def _first_stop(writing: list[str]) -> str:
    if not writing:
        return "No new step begins; the day can be taken up again at any time."
    return f"No new step begins. Still being written, let finish: {', '.join(writing)}."
