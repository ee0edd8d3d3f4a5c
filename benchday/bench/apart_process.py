"""The other process of ``apart``: it does what it reads from its standard input, one pickle after the other.

It ends with its input, so that nothing outlives a program that was killed.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
from contextlib import suppress
from typing import BinaryIO

from benchday.bench.apart import HEAD, SumBroken

_NICE = 10
"""The writes go first wherever the processors are few (nice value, POSIX)."""


def _serve(asked: BinaryIO, answers: BinaryIO) -> None:
    """Do one sum after the other until nobody asks any more."""
    while len(head := asked.read(HEAD)) == HEAD:
        text = asked.read(int.from_bytes(head, "big"))
        found: tuple[bool, object]
        try:
            found = (True, pickle.loads(text)())  # noqa: S301  # from the process that started this one
        except Exception as error:  # noqa: BLE001  # whoever asked is told
            found = (False, error)
        try:
            answer = pickle.dumps(found, protocol=pickle.HIGHEST_PROTOCOL)
        except Exception as error:  # noqa: BLE001  # likewise
            answer = pickle.dumps(
                (False, SumBroken(f"an answer that cannot be handed over: {error}: {found[1]!r:.200}"))
            )
        answers.write(len(answer).to_bytes(HEAD, "big") + answer)
        answers.flush()


def main() -> None:
    """Be the other process."""
    # Ctrl-C goes to all programs of a terminal's group; what it means is for the one that runs the day to say.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(os, "nice"):
        with suppress(OSError):
            os.nice(_NICE)
    # Whatever a library prints must not come between the answers.
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    try:
        _serve(sys.stdin.buffer, answers)
    except BrokenPipeError:
        # Whoever asked has ended; to close the pipe in order would only fail again.
        os._exit(0)
