"""The way to one unit's own page and to nothing else: one address, one adapter, one certificate.

Each connection is bound to its adapter before it is made, so that units that share one factory address are told apart
by the adapter alone. A certificate is looked at before the first byte of a request leaves.
"""

from __future__ import annotations

import asyncio
import errno
import hashlib
import select
import socket
import ssl
from collections.abc import Iterable
from typing import Any, Protocol

import anyio
import anyio.abc
import anyio.streams.tls
import httpcore
import httpx

from benchday.domain.errors import CertificateChanged, LinkForbidden, LinkGone, LinkNotFound

_SEND_BUFFER = 1 << 16
"""Keeps what counts as sent close to what has left; the system's own grows to megabytes."""
_BIND_TO_DEVICE = 25
"""SO_BINDTODEVICE of Linux (socket(7)); Python names it from 3.8 on, and on Linux only."""
_AWAY = {errno.ENETUNREACH, errno.EHOSTUNREACH, errno.ENETDOWN, errno.EADDRNOTAVAIL, errno.ENODEV, errno.ENXIO}
_LEFT = (
    "computers leave a network without internet by themselves; join the unit's network again, and let this computer "
    "keep it"
)


class Certificates(Protocol):
    """What is kept of units' certificates."""

    def known(self, unit: str) -> str | None:
        """Return the fingerprint seen first (SHA-256, 64 hex digits); None for a unit that was never seen."""
        ...

    def keep(self, unit: str, fingerprint: str) -> None:
        """Keep the fingerprint of a unit seen for the first time."""
        ...


class Pin:
    """The certificate of one unit: whatever it shows at first sight, and the same ever after.

    A unit's own certificate is signed by nobody, so that nobody can be asked about it; the serial read on the page,
    compared with the label, is what ties it to the unit.
    """

    def __init__(self, unit: str, store: Certificates | None) -> None:
        self._unit, self._store = unit, store
        self.fingerprint = store.known(unit) if store is not None and unit else None
        """SHA-256 of the certificate (DER), 64 hex digits; None before the first sight."""

    def look(self, certificate: bytes | None) -> None:
        """Take the first certificate, refuse another one.

        Raises:
            LinkForbidden: it shows none.
            CertificateChanged
        """
        if not certificate:
            raise LinkForbidden("the unit's page shows no certificate")
        shown = hashlib.sha256(certificate).hexdigest()
        if self.fingerprint is not None and shown != self.fingerprint:
            raise CertificateChanged(
                f"the page shows another certificate than unit {self._unit or 'here'} did before: is it this unit's "
                "network? Sign in to nothing. If the unit was reset or has a new one, have that confirmed by whoever "
                "did it, then take the unit's line out of keys/certificates.json in the record",
                shown,
                self.fingerprint,
            )
        self.fingerprint = shown

    def keep(self) -> None:
        """Keep what was seen; called once the serial was read and is right."""
        if self._store is not None and self._unit and self.fingerprint and self._store.known(self._unit) is None:
            self._store.keep(self._unit, self.fingerprint)


class Adapter:
    """Through which adapter of this computer a unit is reached; any, if neither name nor address is given."""

    def __init__(self, interface: str = "", local: str = "") -> None:
        self._interface, self._local = interface, local
        self._own = ""
        """The address that this computer had in the unit's network."""

    @property
    def name(self) -> str:
        return self._interface or self._local

    def ready(self, family: int) -> socket.socket:
        """Make a socket that can leave through this adapter only.

        Raises:
            LinkGone: the adapter or its address is not there.
        """
        made = socket.socket(family, socket.SOCK_STREAM)
        made.setblocking(False)
        try:
            made.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _SEND_BUFFER)
            made.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            if self._interface:
                # Since Linux 5.7 anybody may bind a socket that is not bound yet; before, root alone.
                made.setsockopt(socket.SOL_SOCKET, _BIND_TO_DEVICE, self._interface.encode() + b"\0")
            if self._local:
                made.bind((self._local, 0))
        except OSError as error:
            made.close()
            if isinstance(error, PermissionError):
                text = f"this user may not bind to adapter {self._interface}; name its own address as bind: instead"
                raise LinkForbidden(text) from error
            raise LinkGone(f"adapter {self.name} has no such address or is not there ({error.strerror})") from error
        return made

    def met(self, own: str) -> None:
        """Note the address that this computer has in the unit's network."""
        self._own = own

    def left(self) -> str | None:
        """Tell, in words, that this computer has left the unit's network; None if it has not."""
        own = self._local or self._own
        if not own:
            return None
        with socket.socket(socket.AF_INET6 if ":" in own else socket.AF_INET, socket.SOCK_DGRAM) as probe:
            try:
                probe.bind((own, 0))
            except OSError:
                through = f"adapter {self.name}" if self.name else "this computer"
                return f"{through} no longer has the address {own}: it has left the unit's network. {_LEFT}"
        return None


class _Stream(httpcore.AsyncNetworkStream):
    """One connection, with httpcore's errors."""

    def __init__(self, stream: anyio.abc.ByteStream, pin: Pin) -> None:
        self._stream, self._pin = stream, pin

    async def read(self, max_bytes: int, timeout: float | None = None) -> bytes:
        try:
            with anyio.fail_after(timeout):
                return await self._stream.receive(max_bytes)
        except anyio.EndOfStream:
            return b""
        except TimeoutError as error:
            raise httpcore.ReadTimeout(str(error)) from error
        except (anyio.BrokenResourceError, anyio.ClosedResourceError, ssl.SSLError) as error:
            raise httpcore.ReadError(str(error)) from error

    async def write(self, buffer: bytes, timeout: float | None = None) -> None:
        if not buffer:
            return
        try:
            with anyio.fail_after(timeout):
                await self._stream.send(buffer)
        except TimeoutError as error:
            raise httpcore.WriteTimeout(str(error)) from error
        except (anyio.BrokenResourceError, anyio.ClosedResourceError, ssl.SSLError) as error:
            raise httpcore.WriteError(str(error)) from error

    async def aclose(self) -> None:
        with anyio.CancelScope(shield=True):
            await anyio.aclose_forcefully(self._stream)

    async def start_tls(
        self, ssl_context: ssl.SSLContext, server_hostname: str | None = None, timeout: float | None = None
    ) -> httpcore.AsyncNetworkStream:
        try:
            with anyio.fail_after(timeout):
                inner = await anyio.streams.tls.TLSStream.wrap(
                    self._stream, ssl_context=ssl_context, hostname=server_hostname, standard_compatible=False
                )
            self._pin.look(inner.extra(anyio.streams.tls.TLSAttribute.peer_certificate_binary))  # noqa: S610 - no database in sight
        except TimeoutError as error:
            await self.aclose()
            raise httpcore.ConnectTimeout(str(error)) from error
        except (anyio.BrokenResourceError, anyio.EndOfStream, ssl.SSLError) as error:
            await self.aclose()
            raise httpcore.ConnectError(str(error)) from error
        except BaseException:
            await self.aclose()
            raise
        return _Stream(inner, self._pin)

    def get_extra_info(self, info: str) -> Any:
        if info == "is_readable":
            raw = self._stream.extra(anyio.abc.SocketAttribute.raw_socket, None)  # noqa: S610 - no database in sight
            return raw is None or _readable(raw)
        return None


def _readable(raw: Any) -> bool:
    """Tell whether an idle connection has something to read, which means that the unit has closed it."""
    if raw.fileno() < 0:
        return True
    if not hasattr(select, "poll"):
        return bool(select.select([raw.fileno()], [], [], 0)[0])
    looking = select.poll()
    looking.register(raw.fileno(), select.POLLIN)
    return bool(looking.poll(0))


class _OnlyTheUnit(httpcore.AsyncNetworkBackend):
    """Connects to one host and port, through one adapter."""

    def __init__(self, host: str, port: int, adapter: Adapter, pin: Pin) -> None:
        self._only, self._adapter, self._pin = (host, port), adapter, pin

    async def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,
        local_address: str | None = None,  # noqa: ARG002 - the adapter says it
        socket_options: Iterable[Any] | None = None,  # noqa: ARG002 - the adapter sets them
    ) -> httpcore.AsyncNetworkStream:
        if (host, port) != self._only:
            raise LinkForbidden(f"only {self._only[0]}:{self._only[1]} is spoken with, never {host}:{port}")
        try:
            with anyio.fail_after(timeout):
                return await self._connected(host, port)
        except TimeoutError as error:
            if (left := self._adapter.left()) is not None:
                raise LinkGone(left) from error
            raise httpcore.ConnectTimeout(str(error)) from error

    async def _connected(self, host: str, port: int) -> httpcore.AsyncNetworkStream:
        try:
            family, _, _, _, address = (await anyio.getaddrinfo(host, port, type=socket.SOCK_STREAM))[0]
        except OSError as error:
            raise LinkNotFound(f"{host} is no address that this computer knows ({error.strerror})") from error
        made = self._adapter.ready(family)
        try:
            await asyncio.get_running_loop().sock_connect(made, address)
            self._adapter.met(made.getsockname()[0])
            return _Stream(await anyio.abc.SocketStream.from_socket(made), self._pin)
        except OSError as error:
            made.close()
            left = self._adapter.left() or (_LEFT if error.errno in _AWAY and self._adapter.name else None)
            if left is not None:
                raise LinkGone(f"adapter {self._adapter.name} does not reach {host}: {left}") from error
            raise httpcore.ConnectError(str(error)) from error
        except BaseException:
            made.close()
            raise


class UnitTransport(httpx.AsyncHTTPTransport):
    """httpx's own transport, over connections to one unit."""

    def __init__(self, url: httpx.URL, adapter: Adapter, pin: Pin) -> None:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        # Nobody vouches for a unit's certificate; the pin looks at it instead, before anything is sent.
        context.check_hostname = False
        context.verify_mode = ssl.CERT_NONE
        super().__init__(verify=context, trust_env=False)
        port = url.port or (443 if url.scheme == "https" else 80)
        # httpx has no public way to hand in a network backend; a test watches that this one is used.
        self._pool = httpcore.AsyncConnectionPool(
            ssl_context=context,
            max_connections=4,
            keepalive_expiry=5.0,
            network_backend=_OnlyTheUnit(url.host, port, adapter, pin),
        )
