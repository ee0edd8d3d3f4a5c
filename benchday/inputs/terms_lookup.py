"""Fetching a supplier's list of support terms: whole or not at all, and the last copy where that is not possible."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import anyio

from benchday.inputs.day_terms import copy_in_use
from benchday.inputs.source import digest
from benchday.inputs.terms_copy import COPY, About, Copy, last_copy, save, save_about, save_failure
from benchday.inputs.terms_csv import LARGEST_BYTES, read_terms

if TYPE_CHECKING:
    import httpx

LIMIT_S = 10.0
"""Within so many seconds the whole list is there, or the last copy is used."""
MOST_REDIRECTS = 5


class How(StrEnum):
    """What came of it."""

    FETCHED = "fetched"
    UNCHANGED = "unchanged"
    """The server says that the last copy is still the list."""
    COPY = "copy"
    """It could not be fetched; the last copy is used."""
    NONE = "none"
    """It could not be fetched, and there is no copy."""


@dataclass(frozen=True, slots=True)
class Fetched:
    """The outcome."""

    how: How
    as_of: str | None
    """Day on which the supplier last said that this is the list (ISO 8601)."""
    notices: tuple[str, ...] = ()


class _NotFetched(Exception):
    """Why not, in words for a person."""


@dataclass(frozen=True, slots=True)
class _Answer:
    status: int
    etag: str | None
    last_modified: str | None
    body: bytes


async def fetch_terms(
    folder: Path, url: str, today: str, *, limit_s: float = LIMIT_S, most_bytes: int = LARGEST_BYTES
) -> Fetched:
    """Fetch the list and keep it as the last copy; a list with mistakes is not taken.

    Args:
        folder: of the day, where the copy is kept.
        url: of the list, http or https.
        today: day of the fetch (ISO 8601).
        limit_s: seconds that everything together may take.
        most_bytes: size above which it is no such list.

    Raises:
        InputError: the folder cannot be written.
    """
    copy, why_none = last_copy(folder, url)
    try:
        answer = await _within(limit_s, url, copy.about if copy is not None else None, most_bytes)
        if answer.status == 304 and copy is not None:
            save_about(folder, replace(copy.about, fetched=today, failed=None))
            return Fetched(How.UNCHANGED, today)
        _refuse_mistakes(answer.body, url)
    except _NotFetched as error:
        return _copy_instead(folder, copy, why_none, str(error))

    about = About(today, url, digest(answer.body), answer.etag, answer.last_modified)
    save(folder, Copy(answer.body, about))
    return Fetched(How.FETCHED, today)


def _copy_instead(folder: Path, copy: Copy | None, why_none: str, why: str) -> Fetched:
    if copy is None:
        said = f"could not be fetched: {why}; there is no copy either ({why_none}), so the list says nothing"
        return Fetched(How.NONE, None, (said,))
    save_failure(folder, copy, why)
    return Fetched(How.COPY, copy.about.fetched, (copy_in_use(copy.about.fetched, why),))


def _refuse_mistakes(body: bytes, url: str) -> None:
    read = read_terms(body, urlsplit(url).path.rsplit("/", 1)[-1] or COPY)
    if read.mistakes:
        more = f", and {len(read.mistakes) - 1} more mistakes" if len(read.mistakes) > 1 else ""
        raise _NotFetched(f"what came holds mistakes: {read.mistakes[0]}{more}; tell the supplier")


async def _within(limit_s: float, url: str, about: About | None, most_bytes: int) -> _Answer:
    import httpx  # noqa: PLC0415 - late: few commands need it

    try:
        with anyio.fail_after(limit_s):
            async with httpx.AsyncClient(timeout=limit_s, follow_redirects=False) as client:
                headers = {"Accept-Encoding": "identity", **_conditions(about)}
                return await _followed(client, url, headers, most_bytes)
    except (TimeoutError, httpx.TimeoutException):
        raise _NotFetched(f"no whole answer within {limit_s:g} s") from None
    except httpx.InvalidURL as error:
        raise _NotFetched(f"{url} is no address: {error}") from None
    except httpx.HTTPError as error:
        raise _NotFetched(f"{urlsplit(url).hostname}: {str(error) or type(error).__name__}") from None


def _conditions(about: About | None) -> dict[str, str]:
    """Return the headers of a conditional request (RFC 9110 sections 13.1.2 and 13.1.3)."""
    if about is None:
        return {}
    if about.etag is not None:
        return {"If-None-Match": about.etag}
    return {"If-Modified-Since": about.last_modified} if about.last_modified is not None else {}


async def _followed(client: httpx.AsyncClient, url: str, headers: dict[str, str], most_bytes: int) -> _Answer:
    """Return the answer after redirects within the same host (RFC 9110 section 15.4)."""
    begun = urlsplit(url)
    for _ in range(MOST_REDIRECTS + 1):
        async with client.stream("GET", url, headers=headers) as response:
            following = response.next_request
            if following is None:
                return await _whole(response, most_bytes)
            url = str(following.url)
        went = urlsplit(url)
        if went.hostname != begun.hostname:
            raise _NotFetched(
                f"it was to be fetched from another host, {went.hostname}; name that address if it is right"
            )
        if begun.scheme == "https" and went.scheme != "https":
            raise _NotFetched("it was to be fetched without encryption (http) after all; ask the supplier")
    raise _NotFetched(f"it was sent on more than {MOST_REDIRECTS} times")


async def _whole(response: httpx.Response, most_bytes: int) -> _Answer:
    status = response.status_code
    tags = response.headers.get("ETag"), response.headers.get("Last-Modified")
    if status == 304 and {"if-none-match", "if-modified-since"} & set(response.request.headers):
        return _Answer(status, *tags, b"")
    if status != 200:
        raise _NotFetched(f"the server answered {status} {response.reason_phrase}".rstrip())
    body = bytearray()
    if response.headers.get("Content-Encoding", "identity").strip().lower() not in ("", "identity"):
        # A few packed kilobytes can hold gigabytes; it was not asked for.
        raise _NotFetched("the server packs the list, which was not asked for; tell the supplier")
    async for part in response.aiter_raw():
        body += part
        if len(body) > most_bytes:
            raise _NotFetched(f"it is larger than {most_bytes >> 20} MiB, so it is no list of support terms")
    return _Answer(status, *tags, bytes(body))
