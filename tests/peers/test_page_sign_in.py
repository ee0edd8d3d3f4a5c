"""Sign-in by Basic and Digest: the worked examples of the RFCs, and a real web server from Debian."""

from __future__ import annotations

import hashlib
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from typing import Any
from urllib.parse import quote

import httpx
import pytest

from benchday.devices.drivers import Place, make_driver
from benchday.devices.drivers.page_sign_in import Credentials
from benchday.devices.drivers.web_session import Address
from benchday.domain.errors import LinkForbidden
from benchday.domain.page import Page
from tests.devices.pages import page_of, with_page

PAGE = """
scheme: http
sign_in: {way: WAY}
identify:
  request: {path: /unit.html}
  serial: {in_html: "#serial"}
  model: {fixed: Osier}
  release: {after: "running release ", before: " "}
recordings:
  request: {path: /list.html}
  items: {in_html: "ol > li"}
  name: {in_html: a}
fetch:
  request: {path: /files/, path_ends: name}
"""
"""The list tells rounded sizes, so that each length is asked for."""


def header(page: Page, user: str, password: str, answer: httpx.Response | None) -> str:
    """What we send to sign in, before or after the server's challenge."""
    auth = Credentials(page, Address("http://www.example.org", user, password)).auth
    assert auth is not None
    request = httpx.Request("GET", "http://www.example.org/dir/index.html")
    flow = auth.auth_flow(request)
    sent = next(flow)
    if answer is not None:
        sent = flow.send(answer)
    return sent.headers["Authorization"]


@pytest.mark.parametrize(
    ("user", "password", "told"),
    [
        # RFC 7617, 2 and 2.1
        ("Aladdin", "open sesame", "Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ=="),
        ("test", "123\u00a3", "Basic dGVzdDoxMjPCow=="),
    ],
)
def test_basic(user: str, password: str, told: str) -> None:
    """The examples of RFC 7617."""
    assert header(page_of(PAGE.replace("WAY", "basic")), user, password, None) == told


@pytest.mark.parametrize(
    ("algorithm", "response"),
    [
        # RFC 7616, 3.9.1 (with erratum 4495: a small o in "of")
        ("MD5", "8ca523f5e9506fed4657c9700eebdbec"),
        ("SHA-256", "753927fa0e85d155564e2e272a28d1802ca10daf4496794697cf8db5856cb6c1"),
    ],
)
def test_digest(algorithm: str, response: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The examples of RFC 7616, with the client's nonce of the example."""
    nonce = b"f2/wE4q74E6zIJEtWaHKaf5wv/H5QzzpXusqGemxURZJ"
    monkeypatch.setattr(httpx.DigestAuth, "_get_client_nonce", lambda *_: nonce)
    challenge = (
        'Digest realm="http-auth@example.org", qop="auth, auth-int", '
        f'algorithm={algorithm}, nonce="7ypf/xlj9XXwfDPEoM4URrv/xwf94BcCAzFZH4GiTo0v", '
        'opaque="FQhe/qaU925kfnzjCev0ciny7QMkPqMAFRtzCUYo5tdS"'
    )
    asked = httpx.Request("GET", "http://www.example.org/dir/index.html")
    answer = httpx.Response(401, headers={"WWW-Authenticate": challenge}, request=asked)
    told = header(page_of(PAGE.replace("WAY", "digest")), "Mufasa", "Circle of Life", answer)
    assert f'response="{response}"' in told
    assert "nc=00000001" in told
    assert 'uri="/dir/index.html"' in told


FILES = {"a b.job": bytes(range(256)) * 700, "JOB001.job": b"x", "empty.job": b""}


@pytest.fixture(scope="module")
def web_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, int]]:
    """lighttpd with Basic on one port and Digest on another."""
    program = shutil.which("lighttpd") or shutil.which("lighttpd", path="/usr/sbin")
    assert program is not None, "missing lighttpd; Debian: apt-get install lighttpd"
    folder = tmp_path_factory.mktemp("lighttpd")
    (folder / "www" / "files").mkdir(parents=True)
    (folder / "www" / "unit.html").write_text('<b id="serial">FB-7</b> is running release 2.9 today.')
    items = "".join(f'<li><a href="/files/{quote(name)}">{name}</a> about 1 kB</li>' for name in FILES)
    (folder / "www" / "list.html").write_text(f"<ol>{items}</ol>")
    for name, data in FILES.items():
        (folder / "www" / "files" / name).write_bytes(data)
    (folder / "users").write_text("heron:marsh wren\n")
    ports = {}
    served = []
    for way in ("basic", "digest"):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            ports[way] = free.getsockname()[1]
        config = folder / f"{way}.conf"
        config.write_text(
            f'server.document-root = "{folder}/www"\nserver.bind = "127.0.0.1"\nserver.port = {ports[way]}\n'
            'server.modules = ("mod_auth", "mod_authn_file")\n'
            'mimetype.assign = (".html" => "text/html")\nauth.backend = "plain"\n'
            f'auth.backend.plain.userfile = "{folder}/users"\n'
            f'auth.require = ("/" => ("method" => "{way}", "realm" => "unit", "require" => "valid-user"))\n'
        )
        served.append(subprocess.Popen([program, "-D", "-f", str(config)]))
    try:
        for port in ports.values():
            _until_it_listens(port)
        yield ports
    finally:
        for process in served:
            process.kill()
            process.wait()


def _until_it_listens(port: int) -> None:
    given_up = time.monotonic() + 30
    while True:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        assert time.monotonic() < given_up, "lighttpd does not listen"
        time.sleep(0.05)


async def driver_at(port: int, way: str, password: str) -> Any:
    """The page driver before that server."""
    told = {"user": "heron", "password": password}
    place = Place(f"http://127.0.0.1:{port}", told, playbook=with_page(PAGE.replace("WAY", way)), unit="FB-7")
    return await make_driver("page", place)


@pytest.mark.peer
@pytest.mark.asyncio
@pytest.mark.parametrize("way", ["basic", "digest"])
async def test_a_real_server_lets_us_in_and_hands_out_whole_files(way: str, web_server: dict[str, int]) -> None:
    """Signs in, lists, asks each length, fetches; every file comes whole."""
    driver = await driver_at(web_server[way], way, "marsh wren")
    try:
        assert (await driver.identify()).release == "2.9"
        listed = await driver.recordings()
        assert {r.name: r.bytes for r in listed} == {name: len(data) for name, data in FILES.items()}
        for recording in listed:
            got = hashlib.sha256()

            async def sink(piece: bytes, got: Any = got) -> None:
                got.update(piece)

            async for _ in driver.fetch(recording, sink):
                pass
            assert got.hexdigest() == hashlib.sha256(FILES[recording.name]).hexdigest()
    finally:
        await driver.aclose()


@pytest.mark.peer
@pytest.mark.asyncio
@pytest.mark.parametrize("way", ["basic", "digest"])
async def test_a_real_server_turns_away_a_wrong_password(way: str, web_server: dict[str, int]) -> None:
    """Told as that, once."""
    driver = await driver_at(web_server[way], way, "wren")
    with pytest.raises(LinkForbidden, match="check user and password"):
        await driver.identify()
    await driver.aclose()
