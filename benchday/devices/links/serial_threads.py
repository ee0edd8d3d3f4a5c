"""The twin of ``serial_posix`` for systems without waitable descriptors: pyserial in worker threads.

Untried on Windows: it was run on Linux only, against the same conformance suite.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import TypeVar

import anyio
import anyio.to_thread
import serial

from benchday.devices.links.line import CLOSE_LIMIT_S, OPEN_LIMIT_S, LineSettings
from benchday.devices.links.opening import one_at_a_time
from benchday.devices.links.port_errors import open_refused
from benchday.domain.errors import LinkGone, LinkSilent
from benchday.domain.seams import ModemLines

_PARITY = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}
_LOOK_S = 0.1
"""How long one look for input blocks its thread (seconds)."""

_T = TypeVar("_T")


class ThreadedSerialLink:
    """One open port. What a thread reads goes into a buffer, so that a receive that is cancelled loses nothing."""

    def __init__(self, port: serial.Serial, path: str) -> None:
        self._port, self._path = port, path
        self._input = bytearray()
        self._reading = threading.Lock()
        self._over: str | None = None

    async def receive(self, max_bytes: int = 65536) -> bytes:
        while not self._input:
            await self._in_thread(self._look)
        data = bytes(self._input[:max_bytes])
        del self._input[:max_bytes]
        return data

    async def send(self, item: bytes) -> None:
        await self._in_thread(lambda: self._port.write(item))

    async def set_baud(self, baud: int) -> None:
        await self._in_thread(lambda: setattr(self._port, "baudrate", baud))

    def modem_lines(self) -> ModemLines:
        try:
            return ModemLines(cts=self._port.cts, dsr=self._port.dsr, dcd=self._port.cd)
        except (OSError, serial.SerialException):
            return ModemLines()

    async def discard_input(self) -> None:
        await self._in_thread(self._discard)

    def abort(self) -> None:
        if self._over is None:
            self._over = "the line was dropped"
            self._input.clear()
            threading.Thread(target=self._close, daemon=True, name=f"close {self._path}").start()

    async def aclose(self) -> None:
        if self._over is not None:
            return
        self._over = "the line was closed"
        self._input.clear()
        with anyio.move_on_after(CLOSE_LIMIT_S, shield=True):
            await anyio.to_thread.run_sync(self._close, abandon_on_cancel=True, limiter=anyio.CapacityLimiter(1))

    def _look(self) -> None:
        with self._reading:
            if not self._input and self._over is None:
                self._input += self._port.read(1)
                self._input += self._port.read(self._port.in_waiting)

    def _discard(self) -> None:
        self._port.reset_input_buffer()
        self._input.clear()

    def _close(self) -> None:
        self._port.cancel_read()
        with self._reading:
            self._port.close()

    async def _in_thread(self, call: Callable[[], _T]) -> _T:
        self._check()
        try:
            done = await anyio.to_thread.run_sync(call, abandon_on_cancel=True, limiter=anyio.CapacityLimiter(1))
        except (OSError, TypeError, serial.SerialException) as error:  # TypeError: closed while reading
            self._check()
            raise LinkGone(f"{self._path} has vanished ({error}): cable out, or unit off or restarting?") from error
        self._check()
        return done

    def _check(self) -> None:
        if self._over is not None:
            raise LinkGone(f"{self._path}: {self._over}")


async def open_serial(path: str, line: LineSettings) -> ThreadedSerialLink:
    """Open a port; raises as its twin does."""
    try:
        async with one_at_a_time():
            with anyio.fail_after(OPEN_LIMIT_S):
                port = await anyio.to_thread.run_sync(
                    _open, path, line, abandon_on_cancel=True, limiter=anyio.CapacityLimiter(1)
                )
    except TimeoutError:
        raise LinkSilent(f"opening {path} did not come to an end in {OPEN_LIMIT_S:.0f} s") from None

    await anyio.sleep(line.settle_ms / 1000)
    return ThreadedSerialLink(port, path)


def _open(path: str, line: LineSettings) -> serial.Serial:
    port = serial.Serial(
        baudrate=line.baud,
        bytesize=line.data_bits,
        parity=_PARITY[line.parity],
        stopbits=line.stop_bits,
        timeout=_LOOK_S,
        exclusive=True,
    )
    port.port, port.dtr, port.rts = path, line.dtr, line.rts
    try:
        port.open()
    except (OSError, ValueError, serial.SerialException) as error:
        raise open_refused(path, error) from error

    return port
