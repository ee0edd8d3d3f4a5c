"""A serial port on Linux, macOS and BSD: pyserial opens and configures, this reads and writes the descriptor itself.

Nothing is kept back in the program: a ``send`` that was cancelled or a link that was aborted sends no byte more than
the operating system already has. Sources: pyserial 3.5 as installed; POSIX.1-2017 termios (VMIN, VTIME).
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import sys
import termios
import threading
from collections.abc import Awaitable

import anyio
import anyio.lowlevel
import anyio.to_thread
import serial

from benchday.devices.links.line import CLOSE_LIMIT_S, OPEN_LIMIT_S, LineSettings
from benchday.devices.links.port_errors import open_refused
from benchday.domain.errors import LinkGone, LinkSilent
from benchday.domain.seams import ModemLines

assert sys.platform != "win32"  # noqa: S101  # the twin for Windows is serial_threads

_PARITY = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}


class _Port(serial.Serial):
    """pyserial's port, except that opening keeps what has already come: a receiver may have begun to speak."""

    def _reset_input_buffer(self) -> None:
        """Throw nothing away; ``discard_input`` does that when asked."""


class PosixSerialLink:
    """One open port."""

    def __init__(self, port: serial.Serial, path: str) -> None:
        self._port = port
        self._fd = port.fileno()
        self._path = path
        self._over: str | None = None
        self._others_had_their_turn = True

    async def receive(self, max_bytes: int = 65536) -> bytes:
        # Waiting for input lets others run. Where there was nothing to wait for, they get their turn the next time.
        if self._others_had_their_turn:
            await anyio.lowlevel.checkpoint_if_cancelled()
        else:
            await anyio.lowlevel.checkpoint()
        self._others_had_their_turn = False
        while True:
            # From the read to the return nothing is awaited, so a cancelled receive never loses a byte.
            self._check()
            try:
                data = os.read(self._fd, max_bytes)
            except BlockingIOError:
                await self._wait(anyio.wait_readable(self._fd))
                self._others_had_their_turn = True
                continue
            except OSError as error:
                raise self._gone(error) from error
            if not data:
                raise self._gone(None)
            return data

    async def send(self, item: bytes) -> None:
        await anyio.lowlevel.checkpoint_if_cancelled()
        rest = memoryview(item)
        while rest:
            self._check()
            try:
                rest = rest[os.write(self._fd, rest) :]
            except BlockingIOError:
                await self._wait(anyio.wait_writable(self._fd))
            except OSError as error:
                raise self._gone(error) from error

    async def set_baud(self, baud: int) -> None:
        await anyio.lowlevel.checkpoint()
        self._check()
        try:
            self._port.baudrate = baud
            _wait_for_first_byte(self._fd)  # pyserial has set VMIN back to 0
        except (OSError, termios.error, serial.SerialException) as error:
            raise self._gone(error) from error

    def modem_lines(self) -> ModemLines:
        if self._over is not None:
            return ModemLines()
        try:
            return ModemLines(cts=self._port.cts, dsr=self._port.dsr, dcd=self._port.cd)
        except OSError:  # a pseudo-terminal has none
            return ModemLines()

    async def discard_input(self) -> None:
        await anyio.lowlevel.checkpoint()
        self._check()
        try:
            termios.tcflush(self._fd, termios.TCIFLUSH)
        except (OSError, termios.error) as error:
            raise self._gone(error) from error

    def abort(self) -> None:
        if self._end("the line was dropped"):
            threading.Thread(target=_close, args=(self._port,), daemon=True, name=f"close {self._path}").start()

    async def aclose(self) -> None:
        if not self._end("the line was closed"):
            return
        with anyio.move_on_after(CLOSE_LIMIT_S, shield=True):
            await anyio.to_thread.run_sync(_close, self._port, abandon_on_cancel=True, limiter=anyio.CapacityLimiter(1))

    def _end(self, why: str) -> bool:
        if self._over is not None:
            return False
        self._over = why
        anyio.notify_closing(self._fd)
        return True

    def _check(self) -> None:
        if self._over is not None:
            raise LinkGone(f"{self._path}: {self._over}")

    async def _wait(self, waiting: Awaitable[None]) -> None:
        try:
            await waiting
        except anyio.ClosedResourceError:
            raise LinkGone(f"{self._path}: {self._over or 'the line was closed'}") from None

    def _gone(self, error: Exception | None) -> LinkGone:
        reason = f" ({error})" if error else ""
        return LinkGone(f"{self._path} has vanished{reason}: cable out, or the unit is off or restarting?")


async def open_serial(path: str, line: LineSettings) -> PosixSerialLink:
    """Open a port for ourselves alone, its control lines as the settings say.

    Raises:
        LinkNotFound, LinkForbidden, LinkBusy: the operating system refuses.
        LinkSilent: it does not come back from opening.
    """
    left = threading.Event()

    def opened() -> serial.Serial:
        port = _open(path, line)
        if left.is_set():  # nobody waits for it any more
            _close(port)
        return port

    try:
        with anyio.fail_after(OPEN_LIMIT_S):
            port = await anyio.to_thread.run_sync(opened, abandon_on_cancel=True, limiter=anyio.CapacityLimiter(1))
    except TimeoutError:
        left.set()
        raise LinkSilent(
            f"opening {path} did not come to an end in {OPEN_LIMIT_S:.0f} s: take its adapter out and put it in again"
        ) from None
    except anyio.get_cancelled_exc_class():
        left.set()
        raise

    link = PosixSerialLink(port, path)
    await _settle(link, line.settle_ms)
    return link


async def _settle(link: PosixSerialLink, settle_ms: int) -> None:
    try:
        await anyio.sleep(settle_ms / 1000)
    except BaseException:
        link.abort()
        raise


def _open(path: str, line: LineSettings) -> serial.Serial:
    port = _Port(
        baudrate=line.baud,
        bytesize=line.data_bits,
        parity=_PARITY[line.parity],
        stopbits=line.stop_bits,
        timeout=0,
        exclusive=True,
    )
    port.port, port.dtr, port.rts = path, line.dtr, line.rts
    try:
        port.open()
    except (OSError, ValueError, termios.error, serial.SerialException) as error:
        raise open_refused(path, error) from error
    try:
        _for_us_alone(port.fileno())
        _wait_for_first_byte(port.fileno())
    except (OSError, termios.error) as error:
        port.close()
        raise open_refused(path, error) from error

    return port


def _for_us_alone(fd: int) -> None:
    # flock (exclusive=True) holds off programs that ask for it, TIOCEXCL the others. Not on a pseudo-terminal: there
    # the mark outlives a killed owner for as long as the other end lives, and would keep the next owner out.
    if not _is_pseudo_terminal(fd):
        fcntl.ioctl(fd, termios.TIOCEXCL)


def _is_pseudo_terminal(fd: int) -> bool:
    return os.ttyname(fd).startswith(("/dev/pts/", "/dev/ttys", "/dev/ttyp"))


def _wait_for_first_byte(fd: int) -> None:
    # With pyserial's VMIN=0 an empty read means both "nothing yet" and "hung up"; with 1 the first is EAGAIN.
    settings = termios.tcgetattr(fd)
    settings[6][termios.VMIN], settings[6][termios.VTIME] = 1, 0
    termios.tcsetattr(fd, termios.TCSANOW, settings)


def _close(port: serial.Serial) -> None:
    # Unsent output is thrown away first: close would wait for it, on some lines for half a minute.
    with contextlib.suppress(OSError, termios.error):
        termios.tcflush(port.fileno(), termios.TCOFLUSH)
    with contextlib.suppress(OSError, termios.error):
        if not _is_pseudo_terminal(port.fileno()):
            fcntl.ioctl(port.fileno(), termios.TIOCNXCL)
    with contextlib.suppress(OSError, serial.SerialException):
        port.close()
