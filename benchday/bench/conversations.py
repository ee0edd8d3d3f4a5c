"""What goes on beside the stations: check-in, charging, stopped lines, sets, hand-back; each follows from the state."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterator
from contextlib import suppress

import anyio
from anyio.abc import TaskGroup

from benchday.bench.aside.charging import charge, units_to_charge
from benchday.bench.aside.checking_in import check_in, open_walk_ins, units_to_check_in, walk_in
from benchday.bench.aside.choosing import (
    choices_gone_by,
    choose,
    crews_to_choose_for,
    recall_back,
    units_to_take_back,
    withdraw,
)
from benchday.bench.aside.handing_back import (
    hand_back,
    hand_back_as_it_is,
    units_to_give_up,
    units_to_hand_back,
)
from benchday.bench.aside.lines import lift_line, lines_to_lift
from benchday.bench.aside.promising import promises_to_tell, tell_promise
from benchday.bench.aside.putting_first import open_wishes_to_be_next, put_first
from benchday.bench.aside.renewing import open_renewals, renew
from benchday.bench.aside.sets import prove_set, sets_to_prove
from benchday.bench.aside.wanting_back import open_wishes, want_back
from benchday.bench.pauses import pauses_to_tell, tell_pause
from benchday.bench.queue import Withdrawn
from benchday.bench.serving import Tools

Talk = Callable[[Tools, str], Awaitable[None]]

_TALKS: tuple[tuple[str, Callable[[Tools], Iterator[str]], Talk], ...] = (
    ("check in", units_to_check_in, check_in),
    ("walk in", open_walk_ins, walk_in),
    ("charge", units_to_charge, charge),
    ("line", lines_to_lift, lift_line),
    ("slept", pauses_to_tell, tell_pause),
    ("renewal", open_renewals, renew),
    ("wanted back", open_wishes, want_back),
    ("promise", promises_to_tell, tell_promise),
    ("next", open_wishes_to_be_next, put_first),
    ("choice gone by", choices_gone_by, withdraw),
    ("choice", crews_to_choose_for, choose),
    ("take back", units_to_take_back, recall_back),
    ("set", sets_to_prove, prove_set),
    ("hand back", units_to_hand_back, hand_back),
    ("hand back as it is", units_to_give_up, hand_back_as_it_is),
)
"""Name, whom it concerns now, and the talk itself."""


class Conversations:
    """Begins each talk that the state calls for, once, and lets it run beside the others."""

    def __init__(self, tools: Tools) -> None:
        self._tools = tools
        self._running: set[tuple[str, str]] = set()
        self._talks: TaskGroup | None = None

    async def run(self) -> None:
        """Begin talks as the state calls for them, until cancelled."""
        async with anyio.create_task_group() as talks:
            self._talks = talks
            while True:
                for name, concerns, talk in _TALKS:
                    for subject in tuple(concerns(self._tools)):
                        self.begin(name, subject, talk)
                await self._tools.book.changed()

    def begin(self, name: str, subject: str, talk: Talk) -> None:
        """Begin a talk, unless it is going on."""
        if self._talks is not None and (name, subject) not in self._running:
            self._running.add((name, subject))
            self._talks.start_soon(self._talk, (name, subject), talk)

    def going_on(self, name: str) -> frozenset[str]:
        """Return about whom talks of a name are going on."""
        return frozenset(subject for running, subject in self._running if running == name)

    def busy(self) -> bool:
        """Tell whether any talk is going on."""
        return bool(self._running)

    async def _talk(self, key: tuple[str, str], talk: Talk) -> None:
        with suppress(Withdrawn):
            await talk(self._tools, key[1])
        self._running.discard(key)
        self._tools.book.nudge()
