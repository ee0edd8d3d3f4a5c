"""Who signs in to a declared page: Basic (RFC 7617), Digest (RFC 7616), or a form."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

import httpx

from benchday.devices.drivers.web_session import Address
from benchday.domain.errors import Garbled, LinkForbidden
from benchday.domain.page import Page
from benchday.domain.page_requests import Request, Send


class Credentials:
    """One user and password, and how they travel. Never shown."""

    def __init__(self, page: Page, address: Address, *, tried_before: bool = False) -> None:
        factory = page.factory
        own = (address.user, address.password)
        from_factory = (factory.user, factory.password) if factory is not None else None
        self._who = from_factory if own == ("", "") and from_factory is not None else own
        self._sign_in = page.sign_in
        self.factory = self._who == from_factory
        """They are what units of this kind are delivered with."""
        self.used = tried_before
        self.auth = self._auth()

    def _auth(self) -> httpx.Auth | None:
        if self._sign_in.way == "basic":
            return httpx.BasicAuth(*self._who)
        if self._sign_in.way == "digest":
            return httpx.DigestAuth(*self._who)
        return None

    @property
    def request(self) -> Request:
        """The request that sends the form."""
        post = self._sign_in.post or "/"
        return Request(method="POST", path=post, send=Send.JSON if self._sign_in.send == "json" else Send.FORM)

    def fields(self) -> dict[str, str]:
        """Return user and password as the form has them."""
        return {self._sign_in.user_field: self._who[0], self._sign_in.password_field: self._who[1]}

    def not_known(self, where: str) -> LinkForbidden:
        """Return the error for a unit that does not know us in spite of all."""
        if self._sign_in.way == "none":
            return LinkForbidden(f"{where} wants a sign-in, and the playbook declares none")
        if self._sign_in.way != "form":
            return LinkForbidden(f"{where} does not let this user in: check user and password")
        return LinkForbidden("the unit let this user in and then did not know it any more; is somebody else signed in?")


async def flow_of(
    auth: httpx.Auth | None, sent: httpx.Request, send: Callable[[httpx.Request], Awaitable[httpx.Response]]
) -> httpx.Response:
    """Send a request with user and password as the unit wants them; one that carries a stream is sent once.

    Raises:
        Garbled: the unit wants a way that is not known.
    """
    if auth is None:
        return await send(sent)
    try:
        flow = auth.auth_flow(sent)
        response = await send(next(flow))
        again = isinstance(sent.stream, httpx.ByteStream)
        while response.status_code == httpx.codes.UNAUTHORIZED and again:
            try:
                onward = flow.send(response)
            except StopIteration:
                break
            await response.aclose()
            response = await send(onward)
    except (LookupError, ValueError, NotImplementedError) as error:
        # What the library that answers Digest challenges lets through of a challenge that is none.
        raise Garbled(f"the unit wants a sign-in that is not known here ({error})") from error
    return response
