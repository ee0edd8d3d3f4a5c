"""Lines from standard input, read beside everything else."""

from __future__ import annotations

import os

from anyio.to_thread import run_sync

LONGEST_BYTES = 1 << 20
"""A line that is longer is no answer of anybody's."""


class LineReader:
    """Reads lines from a file descriptor in a thread; whoever waits can be cancelled."""

    def __init__(self, descriptor: int = 0) -> None:
        self._descriptor = descriptor
        self._held = b""
        self._ended = False

    async def line(self) -> str | None:
        """Return the next line without its end; None at the end of the input.

        Raises:
            ValueError: a line is longer than any answer.
        """
        while b"\n" not in self._held and not self._ended:
            # os.read and not the buffered stream: a thread that is left waiting must not hold the stream's lock.
            data = await run_sync(os.read, self._descriptor, 65536, abandon_on_cancel=True)
            self._ended = not data
            self._held += data
            if len(self._held) > LONGEST_BYTES:
                raise ValueError(f"a line on standard input is longer than {LONGEST_BYTES} bytes")
        if not self._held:
            return None
        line, _, self._held = self._held.partition(b"\n")
        return line.decode("utf-8", errors="replace").rstrip("\r")
