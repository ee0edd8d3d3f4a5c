"""The full screen: what the picture shows, and one input line that no redraw disturbs."""

from __future__ import annotations

import os
import signal
import sys
from contextlib import suppress

import anyio
from anyio.streams.memory import MemoryObjectReceiveStream
from prompt_toolkit.application import Application
from prompt_toolkit.buffer import Buffer
from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.key_binding import KeyBindings, KeyPressEvent
from prompt_toolkit.keys import Keys
from prompt_toolkit.layout import HSplit, Layout, VSplit, Window
from prompt_toolkit.layout.controls import BufferControl, FormattedTextControl
from prompt_toolkit.output import ColorDepth
from prompt_toolkit.styles import Style

from benchday.bench.desk import BenchDesk
from benchday.cli.stopping import NOT_PUT_ASIDE, bench_desk
from benchday.cli.terminal.conversation import Conversation
from benchday.cli.terminal.paint import PLAIN, Signs
from benchday.cli.terminal.picture import picture
from benchday.cli.terminal.prompts import Prompt
from benchday.cli.terminal.view import view_of
from benchday.domain.clean import clean
from benchday.domain.seams import Desk

MOST_LINES = 64
"""Lines that may wait to be taken; more at once is no person's typing."""

REDRAW_S = 0.25
"""Real seconds between redraws without news: the clock and the bars move on."""

STYLE = Style.from_dict(
    {
        "title": "bold",
        "simulated": "reverse",
        "rule": "ansibrightblack",
        "dim": "ansibrightblack",
        "bar": "ansigreen",
        "hands": "bold ansiyellow",
        "safety": "bold ansired",
        "caution": "bold ansiyellow",
        "chosen": "bold",
        "message": "bold",
        "question": "",
        "prompt": "bold",
    }
)
# Without colours the dim parts would look like all others; that is right: nothing rests on a colour alone.


class Screen:
    """Serves people at a full-screen terminal."""

    def __init__(self, operator: str) -> None:
        self._operator = operator
        self._session: Session | None = None

    async def serve(self, desk: Desk) -> None:
        """Show the day and take lines until cancelled, or until the terminal is gone."""
        bench = bench_desk(desk)
        talk = Conversation(bench, self._operator, "person")
        await talk.begin()
        self._session = Session(talk)
        await self._session.run(bench)

    def say(self, text: str) -> None:
        """Say something on the screen: what a signal to stop means."""
        if self._session is not None:
            self._session.say(text)


class Session:
    """One conversation on one full screen."""

    def __init__(self, talk: Conversation) -> None:
        self._talk = talk
        self._signs = Signs() if "utf" in (sys.stdout.encoding or "").lower() else PLAIN
        self._typed_at: Prompt | None = None
        self._seen_safety: set[str] = set()
        self._lines, self._taken = anyio.create_memory_object_stream[tuple[str, Prompt | None]](MOST_LINES)
        self._buffer = Buffer(multiline=False, accept_handler=self._accept)
        self._buffer.on_text_changed += lambda _: self._typed()
        self.app = self._application()

    @property
    def line(self) -> str:
        """What stands on the input line."""
        return self._buffer.text

    async def run(self, desk: BenchDesk) -> None:
        """Show and take lines until cancelled."""
        async with self._lines, self._taken, anyio.create_task_group() as tasks:
            tasks.start_soon(self._take, self._taken)
            tasks.start_soon(self._follow, desk)
            tasks.start_soon(self._redraw)
            # A terminal that is gone ends the face; the day then stops as at Ctrl-C, and nothing is lost.
            with suppress(EOFError, OSError):
                await self.app.run_async(handle_sigint=False, set_exception_handler=False)
            tasks.cancel_scope.cancel()

    def say(self, text: str) -> None:
        """Say something to the person."""
        self._talk.say(text)
        self.app.invalidate()

    async def _take(self, taken: MemoryObjectReceiveStream[tuple[str, Prompt | None]]) -> None:
        async for line, typed_at in taken:
            await self._talk.enter(line, typed_at)
            self.app.invalidate()

    async def _follow(self, desk: BenchDesk) -> None:
        while True:
            self._talk.refresh()
            safety = {i.item.id for i in desk.items() if i.item.safety}
            if safety - self._seen_safety:
                self.app.output.bell()
            self._seen_safety = safety
            self.app.invalidate()
            await desk.changed()

    async def _redraw(self) -> None:
        while True:
            await anyio.sleep(REDRAW_S)
            self.app.invalidate()

    def _application(self) -> Application[None]:
        top = Window(FormattedTextControl(self._drawn), wrap_lines=False, always_hide_cursor=True)
        mark = Window(FormattedTextControl([("class:prompt", " > ")]), width=3, height=1, dont_extend_width=True)
        line = VSplit([mark, Window(BufferControl(self._buffer), height=1)], height=1)
        colours = None if not os.environ.get("NO_COLOR") else ColorDepth.DEPTH_1_BIT
        app: Application[None] = Application(
            layout=Layout(HSplit([top, line]), focused_element=self._buffer),
            key_bindings=self._keys(),
            style=STYLE,
            full_screen=True,
            color_depth=colours,
            mouse_support=False,
        )
        app.ttimeoutlen = 0.05
        return app

    def _drawn(self) -> StyleAndTextTuples:
        size = self.app.output.get_size()
        lines = picture(view_of(self._talk), size.columns, size.rows - 1, self._signs)
        drawn: StyleAndTextTuples = []
        for number, line in enumerate(lines):
            drawn += [*line, ("", "\n" if number < len(lines) - 1 else "")]
        return drawn

    def _typed(self) -> None:
        # The prompt at which a line begins is the one that it answers.
        if len(self._buffer.text) == 1 or self._typed_at is None:
            self._typed_at = self._talk.prompt
        if not self._buffer.text:
            self._typed_at = None

    def _accept(self, buffer: Buffer) -> bool:
        try:
            self._lines.send_nowait((buffer.text, self._typed_at or self._talk.prompt))
        except anyio.WouldBlock:
            self._talk.say("Too much was typed at once; the last line was not used.")
        self._typed_at = None
        return False

    def _keys(self) -> KeyBindings:
        keys, talk = KeyBindings(), self._talk

        @keys.add("escape", eager=True)
        def _(event: KeyPressEvent) -> None:
            if event.current_buffer.text:
                event.current_buffer.reset()
            else:
                talk.back()

        @keys.add("c-c")
        def _(_: KeyPressEvent) -> None:
            # One way in: what is typed here and what is sent from elsewhere are heard alike.
            signal.raise_signal(signal.SIGINT)

        @keys.add("c-z")
        def _(_: KeyPressEvent) -> None:
            talk.say(NOT_PUT_ASIDE)

        @keys.add("up")
        def _(_: KeyPressEvent) -> None:
            talk.select(-1)

        @keys.add("down")
        def _(_: KeyPressEvent) -> None:
            talk.select(1)

        @keys.add("pageup")
        def _(_: KeyPressEvent) -> None:
            talk.scroll = max(0, talk.scroll - 5)

        @keys.add("pagedown")
        def _(_: KeyPressEvent) -> None:
            talk.scroll += 5

        @keys.add(Keys.BracketedPaste)
        def _(event: KeyPressEvent) -> None:
            # A paste is typed, never entered: whoever pastes looks at it first.
            event.current_buffer.insert_text(clean(event.data.strip()))

        return keys
