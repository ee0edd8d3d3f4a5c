"""Declared requests turned into real ones."""

from __future__ import annotations

import json
from collections.abc import Mapping
from urllib.parse import quote

import httpx

from benchday.domain.errors import Garbled, OurFault
from benchday.domain.page_requests import Put, Request, Send


def asked_of(path: str) -> Request:
    """Return the request that reads a page."""
    return Request(path=path)


def request_name(request: Request) -> str:
    """Return how a request is called in an error."""
    return f"{request.method} {request.path}"


def fields_of(request: Request, puts: Mapping[Put, str], hidden: Mapping[str, str]) -> dict[str, str]:
    """Return the fields of a request with what the moment knows."""
    told = {name: field if isinstance(field, str) else _put(puts, field.put) for name, field in request.fields.items()}
    return {**hidden, **told}


def url_of(base: httpx.URL, request: Request, puts: Mapping[Put, str], query: Mapping[str, str]) -> httpx.URL:
    """Return the address of a request on the unit.

    Raises:
        Garbled: what is put behind the path would lead elsewhere.
    """
    path, _, own_query = request.path.partition("?")
    if request.path_ends is not None:
        path += _last_part(_put(puts, request.path_ends))
    raw = path + (f"?{own_query}" if own_query else "")
    url = base.copy_with(raw_path=raw.encode("ascii"))
    return url.copy_merge_params(query) if query else url


def built(
    client: httpx.AsyncClient, base: httpx.URL, request: Request, puts: Mapping[Put, str], hidden: Mapping[str, str]
) -> httpx.Request:
    """Return the real request."""
    fields = fields_of(request, puts, hidden)
    if request.send is Send.QUERY:
        return client.build_request(request.method, url_of(base, request, puts, fields))
    url = url_of(base, request, puts, {})
    if not fields:
        return client.build_request(request.method, url)
    if request.send is Send.FORM:
        return client.build_request(request.method, url, data=fields)
    value = fields if request.send is Send.JSON else next(iter(fields.values()))
    kind = {"Content-Type": "application/json"}
    return client.build_request(request.method, url, content=json.dumps(value), headers=kind)


def _put(puts: Mapping[Put, str], put: Put) -> str:
    if put not in puts:
        raise OurFault(f"nothing is known to put as {put.value}")
    return puts[put]


def _last_part(name: str) -> str:
    if name in ("", ".", ".."):
        raise Garbled(f"the unit speaks of something called {name!r}, which cannot be asked for")
    return quote(name, safe="")
