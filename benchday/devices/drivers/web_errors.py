"""httpx's exceptions in our words; a test walks httpx and fails if one is missing here."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import httpx

from benchday.domain.errors import (
    BenchdayError,
    Garbled,
    InputError,
    LinkError,
    LinkGone,
    LinkNotFound,
    LinkSilent,
    OurFault,
)

_NOT_THERE = "nobody answers at {where}: is the unit on, and is this PC in the unit's own Wi-Fi?"
_SILENT = "{where} does not answer in time: is the unit on, and near enough?"
_GONE = "{where} has ended the connection: unit off, restarting, or out of reach?"
_UNREADABLE = "what {where} answers cannot be read ({error})"
_BAD_PLACE = "{where} is no address that can be used ({error})"
_OURS = "a request to {where} was made wrongly ({error})"

TRANSLATED: Mapping[type[Exception], tuple[Callable[[str], BenchdayError], str]] = {
    httpx.ConnectTimeout: (LinkSilent, _SILENT),
    httpx.ReadTimeout: (LinkSilent, _SILENT),
    httpx.WriteTimeout: (LinkSilent, _SILENT),
    httpx.PoolTimeout: (LinkSilent, _SILENT),
    httpx.TimeoutException: (LinkSilent, _SILENT),
    httpx.ConnectError: (LinkNotFound, _NOT_THERE),
    httpx.ReadError: (LinkGone, _GONE),
    httpx.WriteError: (LinkGone, _GONE),
    httpx.CloseError: (LinkGone, _GONE),
    httpx.NetworkError: (LinkGone, _GONE),
    httpx.RemoteProtocolError: (LinkGone, _GONE),
    httpx.ProtocolError: (Garbled, _UNREADABLE),
    httpx.ProxyError: (LinkError, "a proxy stands between this PC and {where}; take it away"),
    httpx.TransportError: (LinkError, "the connection to {where} failed ({error})"),
    httpx.DecodingError: (Garbled, _UNREADABLE),
    httpx.TooManyRedirects: (Garbled, _UNREADABLE),
    httpx.HTTPStatusError: (Garbled, _UNREADABLE),
    httpx.RequestError: (LinkError, "the connection to {where} failed ({error})"),
    httpx.HTTPError: (LinkError, "the connection to {where} failed ({error})"),
    httpx.UnsupportedProtocol: (InputError, _BAD_PLACE),
    httpx.InvalidURL: (InputError, _BAD_PLACE),
    httpx.LocalProtocolError: (OurFault, _OURS),
    httpx.CookieConflict: (Garbled, _UNREADABLE),
    httpx.StreamError: (OurFault, _OURS),
    httpx.StreamConsumed: (OurFault, _OURS),
    httpx.StreamClosed: (OurFault, _OURS),
    httpx.ResponseNotRead: (OurFault, _OURS),
    httpx.RequestNotRead: (OurFault, _OURS),
}

ALL_OF_HTTPX = (httpx.HTTPError, httpx.InvalidURL, httpx.CookieConflict, httpx.StreamError)
"""The roots of everything that httpx raises."""


def translated(error: Exception, where: str) -> BenchdayError:
    """Turn an exception of httpx into ours; the text holds the address and never what was sent."""
    for kind in type(error).__mro__:
        if kind in TRANSLATED:
            make, text = TRANSLATED[kind]
            return make(text.format(where=where, error=type(error).__name__))

    return OurFault(f"{type(error).__name__} is no exception of httpx")
