"""One address, one adapter, one certificate: what the page driver speaks with, and what it does not."""

from __future__ import annotations

import hashlib
import os
import shutil
import socket
import ssl
import subprocess
import sys
from pathlib import Path
from typing import Any

import httpx
import pytest

from benchday.devices.drivers import Place, make_driver
from benchday.devices.drivers.page_wire import Adapter, Pin, UnitTransport
from benchday.domain.errors import InputError, LinkForbidden, LinkGone, LinkNotFound
from benchday.record.certificates import KnownCertificates
from benchday_simulators.certificate import context_of
from tests.devices.page_server import PLAIN, QUICK, WHO, Asked, Deal, Told, as_json, driven, good, server
from tests.devices.pages import with_page

SECURE = PLAIN.replace("scheme: http", "scheme: https")


def fingerprint(context: Path) -> str:
    """SHA-256 of the certificate in a PEM file, as any other program computes it."""
    text = context.read_text()
    pem = text[text.index("-----BEGIN CERTIFICATE") :]
    return hashlib.sha256(ssl.PEM_cert_to_DER_cert(pem)).hexdigest()


@pytest.mark.asyncio
async def test_a_certificate_is_kept_at_first_sight_and_held_to(tmp_path: Path) -> None:
    """The same is taken again; another one is refused before user or password leave."""
    keys, first, second = tmp_path / "keys", tmp_path / "a", tmp_path / "b"
    first.mkdir()
    second.mkdir()
    store, asked = KnownCertificates(keys), list[Asked]()

    def answer(request: Asked) -> Told | Deal:
        asked.append(request)
        return good(request)

    for _ in range(2):
        async with driven(answer, SECURE, tls=context_of(first, "7"), certificates=store) as driver:
            assert (await driver.identify()).certificate == fingerprint(first / "page.pem")
    assert KnownCertificates(keys).known("7") == fingerprint(first / "page.pem")
    asked.clear()
    async with driven(answer, SECURE, tls=context_of(second, "7"), certificates=store) as driver:
        with pytest.raises(LinkForbidden, match="shows another certificate than unit 7 did before") as told:
            await driver.identify()
    assert "keys/certificates.json" in str(told.value)
    assert asked == []


@pytest.mark.asyncio
async def test_the_certificate_of_another_unit_is_not_kept(tmp_path: Path) -> None:
    """Only a unit whose serial was read and is right is remembered."""
    store = KnownCertificates(tmp_path / "keys")
    async with driven(good, SECURE, tls=context_of(tmp_path, "8"), unit="8", certificates=store) as driver:
        assert (await driver.identify()).serial == "7"
    assert store.known("8") is None


@pytest.mark.asyncio
async def test_no_other_address_is_ever_connected_to() -> None:
    """Whatever asks the transport: it opens connections to the unit alone."""
    async with server(good) as port:
        transport = UnitTransport(httpx.URL(f"http://127.0.0.1:{port}"), Adapter(), Pin("7", None))
        async with httpx.AsyncClient(transport=transport, trust_env=False) as client:
            assert (await client.get(f"http://127.0.0.1:{port}/who")).json() == WHO
            with pytest.raises(LinkForbidden, match="is spoken with, never"):
                await client.get(f"http://127.0.0.2:{port}/who")
            with pytest.raises(LinkForbidden, match="is spoken with, never"):
                await client.get("http://127.0.0.1:1/who")


@pytest.mark.asyncio
async def test_proxies_of_the_environment_are_not_used(monkeypatch: pytest.MonkeyPatch) -> None:
    """A shop's proxy has no business between bench and unit."""
    for name in ("http_proxy", "HTTP_PROXY", "all_proxy", "ALL_PROXY"):
        monkeypatch.setenv(name, "http://127.0.0.1:9")
    async with driven(good) as driver:
        assert (await driver.identify()).serial == "7"


@pytest.mark.asyncio
async def test_connections_leave_by_the_address_of_their_adapter() -> None:
    """Two units, two adapters: each server sees the adapter that bench.yaml names."""
    seen: list[str] = []

    def answer(request: Asked) -> Told | Deal:
        seen.append(request.peer)
        return good(request)

    async with server(answer) as port:
        for own in ("127.0.0.2", "127.0.0.3"):
            place = Place(
                f"http://127.0.0.1:{port}", {**QUICK}, playbook=with_page(PLAIN), unit="7", through={"bind": own}
            )
            driver: Any = await make_driver("page", place)
            await driver.identify()
            await driver.aclose()
    assert seen == ["127.0.0.2", "127.0.0.3"]


@pytest.mark.asyncio
async def test_an_adapter_that_is_not_there() -> None:
    """An address that this computer does not have, an interface that does not exist: told, with its name."""
    for through, name in (({"bind": "192.0.2.77"}, "192.0.2.77"), ({"interface": "nosuch7"}, "nosuch7")):
        place = Place("http://127.0.0.1:9", {**QUICK}, playbook=with_page(PLAIN), through=through)
        driver: Any = await make_driver("page", place)
        with pytest.raises(LinkGone, match=f"adapter {name} has no such address or is not there"):
            await driver.identify()
        await driver.aclose()


@pytest.mark.asyncio
async def test_a_place_of_the_wrong_scheme_and_one_where_nobody_is() -> None:
    """An http address for an https page; a port at which nobody listens."""
    with pytest.raises(InputError, match="expected https://address"):
        await make_driver("page", Place("http://127.0.0.1", {}, playbook=with_page(SECURE)))
    with pytest.raises(InputError, match="declares the unit's page"):
        await make_driver("page", Place("http://127.0.0.1", {}))
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    driver: Any = await make_driver("page", Place(f"http://127.0.0.1:{port}", {}, playbook=with_page(PLAIN)))
    with pytest.raises(LinkNotFound, match="is this PC in the unit's own Wi-Fi"):
        await driver.identify()
    await driver.aclose()


def test_the_pages_port_is_used_where_the_address_names_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """And not where it names one."""
    from benchday.devices.drivers.page_making import _address  # noqa: PLC0415 - the rule alone

    book = with_page(PLAIN.replace("scheme: http", "scheme: http\nport: 8080"))
    assert book.page is not None
    for where, url in (
        ("http://192.0.2.1", "http://192.0.2.1:8080"),
        ("http://192.0.2.1:81", "http://192.0.2.1:81"),
        ("http://[2001:db8::1]/x", "http://[2001:db8::1]:8080"),
    ):
        assert _address(Place(where, {}, playbook=book), book.page).url == url


def test_two_units_at_one_factory_address() -> None:
    """Each adapter leads to its own unit, though both are at 192.0.2.1:80; a network that is left is told as that.

    In network namespaces of its own, as root or in a user namespace: nothing of this computer's network is touched.
    """
    missing = [name for name in ("ip", "unshare") if shutil.which(name) is None]
    assert not missing, f"missing {', '.join(missing)}; Debian: apt-get install iproute2 util-linux"
    own = ["unshare", *(["--user", "--map-root-user"] if os.geteuid() != 0 else []), "--net", "--mount"]
    tried = subprocess.run([*own, "true"], capture_output=True, text=True, check=False)
    assert tried.returncode == 0, f"needs root, or a system that allows user namespaces: {tried.stderr}"
    script = 'mount -t tmpfs tmpfs /run && exec "$0" -m tests.devices.two_networks'
    done = subprocess.run(
        [*own, "sh", "-c", script, sys.executable], capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.split() == ["7", "8", "left", "7"]


def test_as_json_is_json() -> None:
    """The little server's own answers are what they say."""
    assert as_json(WHO).body == b'{"serial": "7", "release": "1.0"}'
