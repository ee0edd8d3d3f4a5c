"""How ports are opened: few at once, patiently after they were plugged in, and again by the identity they had.

A host with many adapters can lose them all when many are opened in the same moment, and a port that was just plugged in
belongs for some seconds to whatever the system starts to look at it (both common practice, no source).
"""

from __future__ import annotations

import os
import time
from collections.abc import Awaitable, Callable
from typing import TypeVar

import anyio
import anyio.lowlevel
import anyio.to_thread

from benchday.devices.ports import find, plugged_in
from benchday.devices.ports.roots import HERE, Roots
from benchday.domain.errors import LinkBusy, LinkError, LinkForbidden, LinkNotFound
from benchday.domain.ports import names_for, read_port_name, server_of
from benchday.domain.seams import Link

OPENED_AT_ONCE = 4
"""How many ports may be in the middle of being opened."""
BUSY_S = 15.0
"""How long a program that looks at every new port is waited for (seconds)."""
NEW_S = 60.0
"""A port is new for so long after it came (seconds); later, whoever has it means to keep it."""

_T = TypeVar("_T")
_LIMITER = anyio.lowlevel.RunVar[anyio.CapacityLimiter]("benchday_opened_at_once")


def one_at_a_time() -> anyio.CapacityLimiter:
    """Return what lets few ports be opened at once; whoever waits in it has not begun to count its own time limit."""
    try:
        return _LIMITER.get()
    except LookupError:
        limiter = anyio.CapacityLimiter(OPENED_AT_ONCE)
        _LIMITER.set(limiter)
        return limiter


async def patiently(
    open_it: Callable[[], Awaitable[_T]], where: str, *, appears_s: float, poll_s: float, roots: Roots = HERE
) -> _T:
    """Open a port that may not have shown up yet, or that something looks at; after a while the last refusal stands.

    Args:
        open_it: raises as ``open_link`` does.
        where: the port, by path or identity.
        appears_s: how long it may be missing or forbidden.
        poll_s: between two tries.
        roots: of the system.
    """
    began = anyio.current_time()
    while True:
        try:
            return await open_it()
        except (LinkNotFound, LinkForbidden):
            if anyio.current_time() - began >= appears_s:
                raise
        except LinkBusy:
            if anyio.current_time() - began >= BUSY_S or not await anyio.to_thread.run_sync(is_new, where, roots):
                raise
        await anyio.sleep(poll_s)


def is_new(where: str, roots: Roots = HERE, now_s: float | None = None) -> bool:
    """Tell whether a port came only lately, by the last change of its node's status (stat(2)), or nobody knows."""
    if server_of(where) is not None:
        return False
    try:
        name = read_port_name(where)
        device = find(name, roots).device if name is not None else where
        age_s = (time.time() if now_s is None else now_s) - os.stat(device).st_ctime  # noqa: PTH116
    except (OSError, ValueError, LinkError):
        return True
    return age_s < NEW_S


Open = Callable[[str], Awaitable[Link]]


def stably(where: str, open_it: Open, roots: Roots = HERE) -> Callable[[], Awaitable[Link]]:
    """Return how to open a place now, and later again whatever it is called then.

    After the first time an adapter is looked for by its serial, and then by its socket, for a unit that tells another
    product while it restarts; whatever else has taken its old name is not opened. A port that is on no USB, and a
    place that is no port, are opened as before.
    """
    known: list[str] = []

    async def opened() -> Link:
        missing: LinkNotFound | None = None
        for name in known or [where]:
            try:
                link = await open_it(name)
            except LinkNotFound as error:
                missing = missing or error
                continue
            if not known:
                try:
                    known.extend(await anyio.to_thread.run_sync(identity_at, where, roots))
                except BaseException:
                    link.abort()  # given up meanwhile: nobody else would close it
                    raise
            return link
        raise missing or LinkNotFound(f"there is no port {where}")

    return opened


def identity_at(where: str, roots: Roots = HERE) -> tuple[str, ...]:
    """Return the names of the adapter that a place is now; none for a place without an identity."""
    there = plugged_in(roots)
    try:
        name = read_port_name(where)
    except ValueError:
        return ()
    if name is not None:
        others = [other for port in there if name.fits(port) for other in names_for(port, there)]
        return tuple(dict.fromkeys([where, *others]))
    real = os.path.realpath(where)
    for port in there:
        if port.vid is not None and real in (port.device, os.path.realpath(port.device)):
            return names_for(port, there)
    return ()


async def device_of(text: str, roots: Roots = HERE) -> str:
    """Return what the system calls the port of an identity today.

    Raises:
        LinkNotFound: nothing, or more than one thing, is that.
    """
    try:
        name = read_port_name(text)
    except ValueError as error:
        raise LinkNotFound(str(error)) from error
    if name is None:
        return text
    port = await anyio.to_thread.run_sync(find, name, roots)
    return port.device
