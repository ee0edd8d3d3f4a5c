"""Fetching a supplier's list from a real server that answers well, badly, half or not at all."""

from __future__ import annotations

import gzip
import json
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from benchday.inputs.terms_copy import ABOUT, COPY, last_copy
from benchday.inputs.terms_lookup import Fetched, How, fetch_terms

LIST = b"serial,support_until\nA1,2027-03-31\n"
NEWER = b"serial,support_until\nA1,2028-03-31\n"


@dataclass
class Supplier:
    """A server that can be told how to answer."""

    url: str = ""
    body: bytes = LIST
    etag: str | None = '"one"'
    last_modified: str | None = None
    answer: Callable[[BaseHTTPRequestHandler], None] | None = None
    asked: list[dict[str, str]] = field(default_factory=list)
    """Headers of each request, by their names in lower case."""
    waits: threading.Event = field(default_factory=threading.Event)


def handler(supplier: Supplier) -> type[BaseHTTPRequestHandler]:
    """Return the class that answers as the supplier is told to."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            supplier.asked.append({name.lower(): value for name, value in self.headers.items()})
            if supplier.answer is not None and not self.path.startswith("/moved"):
                supplier.answer(self)
            elif supplier.etag is not None and self.headers["If-None-Match"] == supplier.etag:
                self.send_response(304)
                self.end_headers()
            else:
                self.send_response(200)
                for name, value in (("ETag", supplier.etag), ("Last-Modified", supplier.last_modified)):
                    if value is not None:
                        self.send_header(name, value)
                self.send_header("Content-Length", str(len(supplier.body)))
                self.end_headers()
                self.wfile.write(supplier.body)

        def log_message(self, *_: Any) -> None:
            pass

    return Handler


@pytest.fixture
def supplier(monkeypatch: pytest.MonkeyPatch) -> Iterator[Supplier]:
    """Run a supplier's server."""
    for name in ("http_proxy", "HTTP_PROXY", "all_proxy", "ALL_PROXY"):
        monkeypatch.delenv(name, raising=False)
    told = Supplier()
    with ThreadingHTTPServer(("127.0.0.1", 0), handler(told)) as server:
        told.url = f"http://127.0.0.1:{server.server_port}/list.csv"
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        yield told
        told.waits.set()
        server.shutdown()
        thread.join()


def status(code: int, **headers: str) -> Callable[[BaseHTTPRequestHandler], None]:
    """Answer with a status and headers."""

    def answer(request: BaseHTTPRequestHandler) -> None:
        request.send_response(code)
        for name, value in headers.items():
            request.send_header(name, value)
        request.send_header("Content-Length", "0")
        request.end_headers()

    return answer


def half(request: BaseHTTPRequestHandler) -> None:
    """Answer with half of what was announced."""
    request.send_response(200)
    request.send_header("Content-Length", str(len(NEWER)))
    request.end_headers()
    request.wfile.write(NEWER[: len(NEWER) // 2])
    request.close_connection = True


def copy_of(folder: Path, url: str) -> bytes:
    """Return the copy, which must be there and whole."""
    copy, why = last_copy(folder, url)
    assert copy is not None, why
    return copy.data


@pytest.mark.asyncio
async def test_fetched_and_kept(supplier: Supplier, tmp_path: Path) -> None:
    """The copy is what came, with what is needed to ask again."""
    assert await fetch_terms(tmp_path, supplier.url, "2026-11-20") == Fetched(How.FETCHED, "2026-11-20")
    assert copy_of(tmp_path, supplier.url) == LIST
    about = json.loads((tmp_path / ABOUT).read_text(encoding="utf-8"))
    assert (about["fetched"], about["url"], about["etag"]) == ("2026-11-20", supplier.url, '"one"')
    assert sorted(p.name for p in tmp_path.iterdir()) == [COPY, ABOUT]


@pytest.mark.asyncio
async def test_asked_again_only_for_what_is_new(supplier: Supplier, tmp_path: Path) -> None:
    """An unchanged list is not sent again, and counts as of today."""
    await fetch_terms(tmp_path, supplier.url, "2026-11-20")
    assert await fetch_terms(tmp_path, supplier.url, "2026-11-25") == Fetched(How.UNCHANGED, "2026-11-25")
    assert "if-none-match" not in supplier.asked[0]
    assert supplier.asked[1]["if-none-match"] == '"one"'
    assert copy_of(tmp_path, supplier.url) == LIST

    supplier.body, supplier.etag = NEWER, '"two"'
    assert (await fetch_terms(tmp_path, supplier.url, "2026-11-26")).how is How.FETCHED
    assert copy_of(tmp_path, supplier.url) == NEWER


@pytest.mark.asyncio
async def test_asked_by_date_where_there_is_no_tag(supplier: Supplier, tmp_path: Path) -> None:
    """The server's own date is sent back as it wrote it."""
    supplier.etag, supplier.last_modified = None, "Fri, 20 Nov 2026 08:00:00 GMT"
    await fetch_terms(tmp_path, supplier.url, "2026-11-20")
    supplier.answer = status(304)
    assert (await fetch_terms(tmp_path, supplier.url, "2026-11-25")).how is How.UNCHANGED
    assert supplier.asked[1]["if-modified-since"] == supplier.last_modified


@pytest.mark.asyncio
async def test_a_damaged_copy_is_fetched_whole(supplier: Supplier, tmp_path: Path) -> None:
    """Otherwise an unchanged list would never come again."""
    await fetch_terms(tmp_path, supplier.url, "2026-11-20")
    (tmp_path / COPY).write_bytes(b"serial,support_until\nA1,2099-12-31\n")
    assert (await fetch_terms(tmp_path, supplier.url, "2026-11-25")).how is How.FETCHED
    assert copy_of(tmp_path, supplier.url) == LIST


@pytest.mark.parametrize(
    ("answer", "why"),
    [
        (status(500), "the server answered 500 Internal Server Error"),
        (status(404), "the server answered 404 Not Found"),
        (status(302, Location="http://localhost:1/list.csv"), "it was to be fetched from another host, localhost"),
        (status(302, Location="file:///etc/hostname"), "127.0.0.1: Request URL has an unsupported protocol"),
        (status(302, Location="/list.csv"), "it was sent on more than 5 times"),
        (half, "127.0.0.1: peer closed connection without sending complete message body"),
    ],
)
@pytest.mark.asyncio
async def test_the_last_copy_stays_in_use(
    supplier: Supplier, tmp_path: Path, answer: Callable[[BaseHTTPRequestHandler], None], why: str
) -> None:
    """Whatever goes wrong, what was there before is untouched, and its day and the reason are told."""
    await fetch_terms(tmp_path, supplier.url, "2026-11-20")
    supplier.answer = answer
    found = await fetch_terms(tmp_path, supplier.url, "2026-11-25")
    assert (found.how, found.as_of) == (How.COPY, "2026-11-20")
    assert found.notices[0].startswith(f"last fetched 2026-11-20; could not be fetched now: {why}")
    assert copy_of(tmp_path, supplier.url) == LIST
    assert why in json.loads((tmp_path / ABOUT).read_text(encoding="utf-8"))["failed"]
    assert sorted(p.name for p in tmp_path.iterdir()) == [COPY, ABOUT]

    supplier.answer = None
    assert (await fetch_terms(tmp_path, supplier.url, "2026-11-26")).how is How.UNCHANGED
    assert json.loads((tmp_path / ABOUT).read_text(encoding="utf-8"))["failed"] is None


@pytest.mark.asyncio
async def test_sent_on_within_the_host(supplier: Supplier, tmp_path: Path) -> None:
    """A supplier may tidy up."""
    supplier.answer = status(301, Location="/moved/list.csv")
    assert (await fetch_terms(tmp_path, supplier.url, "2026-11-25")).how is How.FETCHED
    assert copy_of(tmp_path, supplier.url) == LIST


@pytest.mark.asyncio
async def test_a_list_with_mistakes_is_not_taken(supplier: Supplier, tmp_path: Path) -> None:
    """A login page is no list; nor is one that cannot be read as it stands."""
    supplier.body = b"serial,support_until\nA1,31/03/2027\n"
    found = await fetch_terms(tmp_path, supplier.url, "2026-11-25")
    assert (found.how, found.as_of) == (How.NONE, None)
    assert "what came holds mistakes: list.csv:2:2:" in found.notices[0]
    assert list(tmp_path.iterdir()) == []


@pytest.mark.asyncio
async def test_too_large(supplier: Supplier, tmp_path: Path) -> None:
    """What is larger than any list is not read to its end."""
    supplier.body = LIST + b"A2,2027-03-31\n" * 200_000
    found = await fetch_terms(tmp_path, supplier.url, "2026-11-25", most_bytes=1 << 20)
    assert "it is larger than 1 MiB" in found.notices[0]
    assert list(tmp_path.iterdir()) == []


@pytest.mark.asyncio
async def test_a_packed_list_is_not_unpacked(supplier: Supplier, tmp_path: Path) -> None:
    """It was not asked for: a few packed kilobytes can hold gigabytes."""

    def packed(asked: BaseHTTPRequestHandler) -> None:
        body = gzip.compress(bytes(10_000_000))
        asked.send_response(200)
        asked.send_header("Content-Encoding", "gzip")
        asked.send_header("Content-Length", str(len(body)))
        asked.end_headers()
        asked.wfile.write(body)
        assert asked.headers["Accept-Encoding"] == "identity"

    supplier.answer = packed
    found = await fetch_terms(tmp_path, supplier.url, "2026-11-25")
    assert "packs the list" in found.notices[0]
    assert list(tmp_path.iterdir()) == []


@pytest.mark.asyncio
async def test_a_server_that_says_nothing(supplier: Supplier, tmp_path: Path) -> None:
    """Nobody waits longer than the limit."""

    def wait(_: BaseHTTPRequestHandler) -> None:
        supplier.waits.wait(10)

    supplier.answer = wait
    found = await fetch_terms(tmp_path, supplier.url, "2026-11-25", limit_s=0.2)
    assert found.how is How.NONE
    assert "no whole answer within 0.2 s" in found.notices[0]


@pytest.mark.asyncio
async def test_offline(tmp_path: Path) -> None:
    """Nobody is there, and nothing was ever fetched: the terms are unknown, and that is said."""
    found = await fetch_terms(tmp_path, "http://127.0.0.1:9/list.csv", "2026-11-25")
    assert found.how is How.NONE
    assert found.notices[0].startswith("could not be fetched: 127.0.0.1: ")
    assert found.notices[0].endswith("there is no copy either (it was never fetched), so the list says nothing")
