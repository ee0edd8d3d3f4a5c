"""The first connection to a unit's page, made patiently: a unit that was just switched on does not listen yet."""

from __future__ import annotations

import anyio
import httpx

POLL_S = 0.25
"""Between two tries (real seconds)."""


class PatientAtFirst(httpx.AsyncBaseTransport):
    """Tries a connection that is refused again, until one was made or some time is over; nothing was sent then."""

    def __init__(self, transport: httpx.AsyncBaseTransport, appears_s: float) -> None:
        """Wrap a transport.

        Args:
            transport: carries the requests.
            appears_s: how long, from the first request on, nobody may listen (real seconds).
        """
        self._transport, self._appears_s = transport, appears_s
        self._until: float | None = None
        self._met = False

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        if self._until is None:
            self._until = anyio.current_time() + self._appears_s
        while True:
            try:
                response = await self._transport.handle_async_request(request)
            except httpx.ConnectError:
                if self._met or anyio.current_time() >= self._until:
                    raise
                await anyio.sleep(POLL_S)
            else:
                self._met = True
                return response

    async def aclose(self) -> None:
        await self._transport.aclose()
