"""Running a command: what it raises becomes a clear message and an exit status, never a traceback on the screen."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from contextlib import suppress
from typing import NoReturn

from benchday.cli.exits import Exit


def conduct(command: Callable[[], int]) -> NoReturn:
    """Run a command and exit with its status."""
    raise SystemExit(int(status_of(command)))


def status_of(command: Callable[[], int]) -> int:
    """Run a command; return its status, or that of what it raised."""
    try:
        status = command()
        sys.stdout.flush()
    except (KeyboardInterrupt, EOFError):
        complain("interrupted; nothing that was recorded is lost")
        return Exit.INTERRUPTED
    except BrokenPipeError:
        say_nothing_more()
        return Exit.FAILED
    except Exception as raised:  # noqa: BLE001 -- the last line of defence: everything becomes a sentence
        return _told(raised)
    return status


def _told(raised: Exception) -> int:
    from benchday.domain.errors import BenchdayError, InputError, OurFault, RecordDamaged

    leaves = _leaves(raised)
    if any(isinstance(leaf, KeyboardInterrupt) for leaf in leaves):
        complain("interrupted; nothing that was recorded is lost")
        return Exit.INTERRUPTED
    if all(isinstance(leaf, BenchdayError) and not isinstance(leaf, OurFault) for leaf in leaves):
        for text in dict.fromkeys(str(leaf) for leaf in leaves):
            complain(text)
        if any(isinstance(leaf, RecordDamaged) for leaf in leaves):
            return Exit.UNPROVED
        return Exit.INPUT if all(isinstance(leaf, InputError) for leaf in leaves) else Exit.FAILED
    from benchday.cli.fault import save_report

    fault = next(leaf for leaf in leaves if not isinstance(leaf, BenchdayError) or isinstance(leaf, OurFault))
    complain(f"a fault of benchday ({type(fault).__name__}); nothing that was recorded is lost. {save_report(raised)}")
    return Exit.FAILED


def _leaves(raised: BaseException) -> list[BaseException]:
    """Return what a group holds: tasks that run beside one another wrap what they raise."""
    if isinstance(raised, BaseExceptionGroup):
        return [leaf for inner in raised.exceptions for leaf in _leaves(inner)]
    return [raised]


def say_nothing_more() -> None:
    """Let go of standard output: whoever read it has gone, which is their right; nothing more can be said to them."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def complain(text: str) -> None:
    """Tell the person, on standard error."""
    from benchday.domain.clean import clean

    # Where the terminal has gone nobody can be told, and the exit status still says it.
    with suppress(OSError, ValueError):
        print(f"benchday: {clean(text, keep_lines=True)}", file=sys.stderr)
