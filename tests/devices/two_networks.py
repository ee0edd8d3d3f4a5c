"""Two units at one factory address, each behind its own adapter; run by a test in namespaces of its own."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import anyio

from benchday.devices.drivers import Place, make_driver
from benchday.domain.errors import LinkGone, LinkNotFound, LinkSilent
from tests.devices.page_server import PLAIN, QUICK
from tests.devices.pages import with_page

UNIT_PROGRAM = """
import http.server, json, sys
class H(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    def do_GET(self):
        body = json.dumps({"serial": sys.argv[1], "release": "1.0"}).encode()
        self.send_response(200); self.send_header("Content-Length", str(len(body))); self.end_headers()
        self.wfile.write(body)
    def log_message(self, *a): pass
http.server.ThreadingHTTPServer(("192.0.2.1", 80), H).serve_forever()
"""


def ip(*words: str) -> None:
    """Run ip."""
    subprocess.run(["ip", *words], check=True)


@contextmanager
def unit_behind(adapter: str, serial: str, own: str) -> Iterator[None]:
    """A unit at 192.0.2.1 in a network of its own, behind an adapter of this computer."""
    space, far = f"unit-{serial}", f"{adapter}u"
    ip("netns", "add", space)
    ip("link", "add", adapter, "type", "veth", "peer", "name", far)
    ip("link", "set", far, "netns", space)
    ip("addr", "add", f"{own}/24", "dev", adapter)
    ip("link", "set", adapter, "up")
    inside = ["ip", "netns", "exec", space]
    subprocess.run([*inside, "ip", "addr", "add", "192.0.2.1/24", "dev", far], check=True)
    subprocess.run([*inside, "ip", "link", "set", far, "up"], check=True)
    with subprocess.Popen([*inside, sys.executable, "-c", UNIT_PROGRAM, serial]) as served:
        try:
            yield
        finally:
            served.kill()


async def made(adapter: str, serial: str) -> Any:
    """A driver bound to an adapter."""
    told = {**QUICK, "answer_s": 5.0}
    place = Place("http://192.0.2.1", told, playbook=with_page(PLAIN), unit=serial, through={"interface": adapter})
    return await make_driver("page", place)


async def heard(driver: Any) -> str:
    """Ask until the unit's server has started."""
    given_up = time.monotonic() + 60
    while True:
        try:
            return str((await driver.identify()).serial)
        except (LinkNotFound, LinkGone, LinkSilent):
            assert time.monotonic() < given_up
            await anyio.sleep(0.05)


async def main() -> None:
    """Speak with both; leave one network; tell what was heard."""
    with unit_behind("air1", "7", "192.0.2.10"), unit_behind("air2", "8", "192.0.2.11"):
        first, second = await made("air1", "7"), await made("air2", "8")
        print(await heard(first), await heard(second))  # noqa: T201 - the test reads it
        ip("addr", "del", "192.0.2.11/24", "dev", "air2")
        try:
            while True:  # until the connection that is kept open is given up
                await second.identify()
        except LinkGone as gone:
            assert re.search("left the unit's network.*without internet", str(gone)), gone  # noqa: PT017
            print("left")  # noqa: T201 - the test reads it
        print((await first.identify()).serial)  # noqa: T201 - the test reads it
        await first.aclose()
        await second.aclose()


if __name__ == "__main__":
    anyio.run(main)
