"""A unit that restarts again and again: up for a moment each time, until it has had enough or takes an image."""

import asyncio
import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .faces import HostFace
    from .unit import Unit

LOOK_EVERY_S = 0.05


async def session(unit: "Unit", face: "HostFace") -> None:
    """Serve the host until a restart is asked for, or until the unit restarts by itself."""
    if unit.state.loop is None:
        await face.session()
        return
    serving = asyncio.ensure_future(face.session())
    try:
        up_until = time.monotonic() + unit.state.loop.up_s
        while not serving.done():
            loop = unit.state.loop
            # What it is taking or giving keeps it up, as it would on a unit whose loader waits for a host.
            if loop is not None and time.monotonic() >= up_until and unit.activity == "idle":
                break
            await asyncio.wait({serving}, timeout=LOOK_EVERY_S)
    finally:
        serving.cancel()
        await asyncio.gather(serving, return_exceptions=True)
    if not serving.cancelled():
        serving.result()
    else:
        _again(unit)


def _again(unit: "Unit") -> None:
    loop = unit.state.loop
    if loop is None:
        return
    if loop.left > 0:
        loop.left -= 1
        if loop.left == 0:
            unit.state.loop = None
    unit.log.write("restarts by itself", left=loop.left)
    unit.save()


def end(unit: "Unit") -> None:
    """An image has come whole: what it loops with is overwritten."""
    if unit.state.loop is not None:
        unit.state.loop = None
        unit.log.write("loop ended")
