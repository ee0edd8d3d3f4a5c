"""Logging: events with their facts, to standard error; set up late, by the command that needs it."""

from __future__ import annotations

import io
import logging
import os
import sys
from collections.abc import Mapping, MutableMapping
from contextlib import suppress
from typing import Any, TextIO, cast

import structlog

from benchday.domain.clean import clean

_SECRET = ("key", "password", "secret", "token", "mac", "nonce", "cookie")
"""Facts whose name holds one of these words are never written."""


class Kept(io.StringIO):
    """A log kept back while a full screen is shown, so that no line falls into it."""

    def isatty(self) -> bool:
        """Say what standard error says, where it ends up."""
        return sys.stderr.isatty()


class Careful:
    """A stream that may be gone by now: what cannot be logged is lost, and the day goes on."""

    def __init__(self, out: TextIO) -> None:
        self._out = out

    def write(self, text: str) -> None:
        """Write if that can be done."""
        with suppress(OSError, ValueError):
            self._out.write(text)

    def flush(self) -> None:
        """Flush if that can be done."""
        with suppress(OSError, ValueError):
            self._out.flush()


def logger() -> Any:
    """Return where to log: nowhere before a command has set logging up."""
    if structlog.is_configured():
        return structlog.get_logger()
    return structlog.wrap_logger(None, processors=[_drop])


def _drop(*_: object) -> Any:
    raise structlog.DropEvent


def level_wanted() -> int:
    """Return the level that BENCHDAY_LOG asks for: debug, info, error; warning where it asks for none of these."""
    known = {"debug": logging.DEBUG, "info": logging.INFO, "error": logging.ERROR}
    return known.get(os.environ.get("BENCHDAY_LOG", "").lower(), logging.WARNING)


def set_up(*, level: int | None = None, stream: TextIO | None = None) -> None:
    """Log to a stream (standard error): for people on a terminal, as JSON Lines otherwise.

    The caller binds unit and station once: ``structlog.get_logger().bind(unit=..., station=...)``.
    """
    out = stream if stream is not None else sys.stderr
    human = out.isatty()
    colours = human and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    last: Any = structlog.dev.ConsoleRenderer(colors=colours) if human else structlog.processors.JSONRenderer()
    structlog.configure(
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            without_secrets,
            structlog.processors.format_exc_info,
            made_safe,
            last,
        ],
        wrapper_class=structlog.make_filtering_bound_logger(level_wanted() if level is None else level),
        logger_factory=structlog.PrintLoggerFactory(cast("TextIO", Careful(out))),
        cache_logger_on_first_use=False,
    )


def made_safe(_: object, __: str, event: MutableMapping[str, Any]) -> Mapping[str, Any]:
    """Make what steers a terminal visible: a line of a log may quote a unit. A traceback keeps its lines."""
    for name, value in event.items():
        if isinstance(value, str):
            event[name] = clean(value, keep_lines=name == "exception")
        elif not isinstance(value, (int, float, type(None))):
            event[name] = clean(str(value))
    return event


def without_secrets(_: object, __: str, event: MutableMapping[str, Any]) -> Mapping[str, Any]:
    """Blank what must not stand in a log."""
    for name in event:
        if any(word in name.lower() for word in _SECRET):
            event[name] = "(not logged)"
    return event
