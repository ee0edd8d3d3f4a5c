"""The dialogue of a field controller's page: pages for people, JSON beside them, faults told with status 200."""

import json
import secrets
from collections.abc import Awaitable, Callable
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs, unquote

from . import book_pages as pages
from .book_image import STEPS, BookImage
from .unit import Refused, Unit
from .web_connection import Request, Response, as_json
from .web_dialogue import still_there
from .web_image import WebImage

COOKIE = "fen"
IN_LOADER = {"/", "/state.json", "/software", "/software.json", "/restart", "/proof"}
MOST_TICKETS = 50
ELSEWHERE = "http://192.0.2.99/elsewhere"
"""an address of the range for documentation (RFC 5737)"""

Act = Callable[[Request, dict[str, str]], Awaitable[Response]]


class BookDialogue:
    """Answer the requests of hosts, from the end of a boot until a restart."""

    def __init__(self, unit: Unit) -> None:
        self._unit = unit
        self._sessions: set[str] = set()
        self._tickets: list[str] = []
        self.image: WebImage = BookImage(unit)
        self._shown: dict[str, Act] = {
            "/": self._status,
            "/state.json": self._state,
            "/jobs": self._jobs,
            "/software.json": self._software,
        }
        self._done: dict[tuple[str, str], Act] = {
            ("POST", "/settings"): self._setting,
            ("POST", "/restart"): self._restart,
            ("POST", "/test"): self._test,
            ("POST", "/proof"): self._proof,
        }

    async def answer(self, request: Request) -> Response:
        """Answer one request."""
        if request.path == "/sign-in":
            return await self._sign_in(request)
        if self._unit.suffers("signed out"):
            self._sessions.clear()
        if not self._signed_in(request):
            return Response(303, headers=[("location", "/sign-in")])
        if self._unit.suffers("points elsewhere"):
            return Response(302, headers=[("location", ELSEWHERE)])
        if self._unit.suffers("error text"):
            return as_json(200, {"fault": "internal", "words": "try again later"})
        try:
            return await self._acted(request)
        except Refused as refusal:
            self._unit.log.write("refused", request=f"{request.method} {request.path}", code=refusal.code)
            return as_json(200, {"fault": refusal.code, "words": refusal.words})

    async def _acted(self, request: Request) -> Response:
        if self._unit.state.mode == "boot" and request.path not in IN_LOADER:
            raise Refused("boot", "no valid software")
        if request.method == "PUT" and request.path == "/software":
            self._use(request.query("ticket"))
            return _at_200(await self.image.take(request))
        if request.method == "GET" and request.path.startswith("/jobs/"):
            return await self._job(request)
        if request.method == "GET" and request.path in self._shown:
            return await self._shown[request.path](request, {})
        act = self._done.get((request.method, request.path))
        if act is None:
            return pages.as_page(404, "<p>No such page.</p>\n")
        told = parse_qs((await request.body()).decode("utf-8", "replace"), keep_blank_values=True)
        fields = {name: values[-1] for name, values in told.items()}
        if request.path != "/proof":
            self._use(fields.get("ticket", ""))
        return await act(request, fields)

    def _ticket(self) -> str:
        """Hand out a ticket for one act."""
        self._tickets = [*self._tickets[-MOST_TICKETS:], secrets.token_hex(8)]
        return self._tickets[-1]

    def _use(self, ticket: str) -> None:
        if ticket not in self._tickets:
            raise Refused("ticket", "the page was not shown before, or its ticket was used")
        self._tickets.remove(ticket)

    # Sign-in

    def _signed_in(self, request: Request) -> bool:
        try:
            cookie = SimpleCookie(request.header("cookie")).get(COOKIE)
        except CookieError:
            return False
        return cookie is not None and cookie.value in self._sessions

    async def _sign_in(self, request: Request) -> Response:
        if request.method != "POST":
            return pages.sign_in(self._ticket(), wrong=False)
        form = parse_qs((await request.body()).decode("utf-8", "replace"), keep_blank_values=True)
        state, ticket = self._unit.state, form.get("ticket", [""])[0]
        known = ticket in self._tickets
        if known:
            self._tickets.remove(ticket)
        if not known or form.get("person") != [state.user] or form.get("code") != [state.password]:
            return pages.sign_in(self._ticket(), wrong=True)
        session = secrets.token_hex(16)
        self._sessions.add(session)
        cookie = f"{COOKIE}={session}; HttpOnly; Secure; Path=/"
        return Response(303, headers=[("location", "/"), ("set-cookie", cookie)])

    # Asked

    async def _status(self, _: Request, __: dict[str, str]) -> Response:
        await self._unit.meet("identify")
        state = self._unit.state
        self._unit.log.write("identify", serial=state.identity(), mode=state.mode)
        return pages.status(state, self._ticket())

    async def _state(self, _: Request, __: dict[str, str]) -> Response:
        told, state = self._unit.power_reading(), self._unit.state
        battery = {
            "charge": told["charge_percent"] / 100,
            "error": f"{told['max_error_percent']} %",
            "full_wh": f"{int(told['full_10mwh']) / 100:.2f}",
            "temperature_c": round((int(told["temperature_dk"]) - 2731.5) / 10, 2),
            "volts": f"{int(told['mv']) / 1000:.3f} V",
            "amps": f"{int(told['ma']) / 1000:.3f}",
            "supply": "mains" if told["external"] else "battery",
        }
        kept = [{"name": name, "value": value} for name, value in state.settings.items()]
        return as_json(200, {"fault": None, "battery": battery, "settings": kept})

    async def _jobs(self, _: Request, __: dict[str, str]) -> Response:
        await self._unit.meet("recordings")
        return pages.jobs(self._unit.state.recordings)

    async def _job(self, request: Request) -> Response:
        recording = self._unit.recording(unquote(request.path.split("/", 2)[2]))
        await self._unit.meet("send")
        self._unit.recording(recording.name)  # it may have vanished
        data = self._unit.recorded_bytes(recording)
        return Response(
            200,
            data.ljust(recording.bytes, b"\0"),
            [("content-type", "application/octet-stream")],
            cut_at=len(data) if len(data) < recording.bytes else None,
            moment=lambda percent: still_there(self._unit, recording, percent),
        )

    async def _software(self, _: Request, __: dict[str, str]) -> Response:
        return as_json(200, {"fault": None, "step": STEPS[self.image.state], "done": self.image.percent / 100})

    # Told

    async def _setting(self, _: Request, fields: dict[str, str]) -> Response:
        self._unit.change_setting(fields.get("name", ""), fields.get("value", ""))
        return as_json(200, {"fault": None, "ok": True})

    async def _restart(self, _: Request, __: dict[str, str]) -> Response:
        if self.image.busy():
            raise Refused("busy", "software is being taken or written")
        await self._unit.meet("restart")
        answer = as_json(200, {"fault": None, "ok": True})
        answer.then = self._unit.restart_asked.set
        return answer

    async def _test(self, _: Request, __: dict[str, str]) -> Response:
        failed = await self._unit.self_test()
        return as_json(200, {"fault": None, "outcome": "bad" if failed else "good", "words": failed})

    async def _proof(self, _: Request, fields: dict[str, str]) -> Response:
        return as_json(200, {"fault": None, "mac": self._unit.prove(fields.get("nonce", ""))})


def _at_200(answer: Response) -> Response:
    """Say it as this page says everything: with status 200, a refusal as a fault."""
    told = json.loads(answer.body)
    return as_json(200, {"fault": told.get("refused"), **{k: v for k, v in told.items() if k != "refused"}})
