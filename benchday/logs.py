"""Logging: events with their facts, to standard error; set up late, by the command that needs it."""

from __future__ import annotations

import io
import logging
import os
import sys
from collections.abc import Mapping, MutableMapping
from typing import Any, TextIO

import structlog

_SECRET = ("key", "password", "secret", "token", "mac", "nonce", "cookie")
"""Facts whose name holds one of these words are never written."""


LEVEL = "BENCHDAY_LOG"
"""Environment variable: debug, info, warning (the usual one) or error."""


class Kept(io.StringIO):
    """A log kept back while a full screen is shown, so that no line falls into it."""

    def isatty(self) -> bool:
        """Say what standard error says, where it ends up."""
        return sys.stderr.isatty()


def level_wanted() -> int:
    """Return the level that the environment asks for; warning where it asks for none that is known."""
    known = {"debug": logging.DEBUG, "info": logging.INFO, "error": logging.ERROR}
    return known.get(os.environ.get(LEVEL, "").lower(), logging.WARNING)


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
            last,
        ],
        wrapper_class=structlog.make_filtering_bound_logger(level_wanted() if level is None else level),
        logger_factory=structlog.PrintLoggerFactory(out),
        cache_logger_on_first_use=False,
    )


def without_secrets(_: object, __: str, event: MutableMapping[str, Any]) -> Mapping[str, Any]:
    """Blank what must not stand in a log."""
    for name in event:
        if any(word in name.lower() for word in _SECRET):
            event[name] = "(not logged)"
    return event
