"""The web dialogue: what each request does and what it is answered."""

import json
import secrets
from collections.abc import Awaitable, Callable
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs, unquote

from .position import sentences
from .state import Recording
from .unit import Refused, Unit
from .web_connection import Request, Response, as_json
from .web_image import WebImage

COOKIE = "quill"
IN_BOOT = {"/status", "/proof", "/image", "/restart"}
STATUS_OF = {"missing": 404, "nokey": 404, "unknown": 404}
"""refusals that are not answered 409"""

Act = Callable[[Request], Awaitable[Response]]


class WebDialogue:
    """Answer the requests of hosts, from the end of a boot until a restart."""

    def __init__(self, unit: Unit) -> None:
        self._unit = unit
        self._sessions: set[str] = set()
        self.image = WebImage(unit)
        self._acts: dict[tuple[str, str], Act] = {
            ("GET", "/status"): self._status,
            ("GET", "/recordings"): self._recordings,
            ("POST", "/image"): self.image.take,
            ("GET", "/image"): self._image,
            ("POST", "/restart"): self._restart,
            ("POST", "/test"): self._test,
            ("GET", "/air"): self._air,
            ("GET", "/position"): self._position,
            ("POST", "/proof"): self._proof,
        }
        self._under: dict[tuple[str, str], Act] = {
            ("GET", "/recordings/"): self._recording,
            ("PUT", "/settings/"): self._setting,
        }

    async def answer(self, request: Request) -> Response:
        """Answer one request."""
        if (request.method, request.path) == ("POST", "/sign-in"):
            return await self._sign_in(request)
        if self._unit.suffers("signed out"):
            self._sessions.clear()
        if not self._signed_in(request):
            return as_json(401, {"refused": "session", "words": "sign in first"})
        act = self._find(request)
        try:
            if act is None:
                return as_json(404, {"refused": "unknown", "words": "no such page"})
            if self._unit.state.mode == "boot" and request.path not in IN_BOOT:
                return self._refuse(request, Refused("boot", "no valid release"))
            return await act(request)
        except Refused as refusal:
            return self._refuse(request, refusal)

    def _find(self, request: Request) -> Act | None:
        folder, _, name = request.path[1:].partition("/")
        if name:
            return self._under.get((request.method, f"/{folder}/"))
        return self._acts.get((request.method, request.path))

    def _refuse(self, request: Request, refusal: Refused) -> Response:
        self._unit.log.write("refused", request=f"{request.method} {request.path}", code=refusal.code)
        return as_json(STATUS_OF.get(refusal.code, 409), {"refused": refusal.code, "words": refusal.words})

    def _signed_in(self, request: Request) -> bool:
        try:
            cookie = SimpleCookie(request.header("cookie")).get(COOKIE)
        except CookieError:
            return False
        return cookie is not None and cookie.value in self._sessions

    async def _sign_in(self, request: Request) -> Response:
        form = parse_qs((await request.body()).decode("utf-8", "replace"), keep_blank_values=True)
        state = self._unit.state
        if form.get("user") != [state.user] or form.get("password") != [state.password]:
            return as_json(403, {"refused": "password", "words": "user or password is wrong"})
        session = secrets.token_hex(16)
        self._sessions.add(session)
        return Response(204, headers=[("set-cookie", f"{COOKIE}={session}; HttpOnly; Path=/")])

    # Asked

    async def _status(self, _: Request) -> Response:
        await self._unit.meet("identify")
        state = self._unit.state
        self._unit.log.write("identify", serial=state.identity(), mode=state.mode)
        return as_json(
            200,
            {
                "serial": state.identity(),
                "model": state.model,
                "hardware": state.hardware,
                "mode": state.mode,
                "release": state.release,
                "options": state.options,
                "term": state.term,
                "power": self._unit.power_reading(),
                "settings": state.settings,
            },
        )

    async def _recordings(self, _: Request) -> Response:
        await self._unit.meet("recordings")
        kept = self._unit.state.recordings
        return as_json(200, [{"name": one.name, "bytes": one.bytes, "sha256": one.sha256} for one in kept])

    async def _recording(self, request: Request) -> Response:
        recording = self._unit.recording(_last(request))
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

    async def _image(self, _: Request) -> Response:
        return as_json(200, {"state": self.image.state, "percent": self.image.percent})

    async def _test(self, _: Request) -> Response:
        failed = await self._unit.self_test()
        return as_json(200, {"result": "fail", "words": failed} if failed else {"result": "pass"})

    async def _air(self, _: Request) -> Response:
        air = self._unit.air()
        return as_json(200, {"fix": air.fix, "base": air.base, "satellites": air.satellites})

    async def _position(self, _: Request) -> Response:
        return as_json(200, {"gga": sentences(self._unit.air())[0].decode("ascii").strip()})

    # Told

    async def _restart(self, _: Request) -> Response:
        if self.image.busy():
            raise Refused("busy", "an image is under way")
        await self._unit.meet("restart")
        return Response(202, then=self._unit.restart_asked.set)

    async def _setting(self, request: Request) -> Response:
        try:
            value = json.loads(await request.body())
        except ValueError:
            value = None
        if not isinstance(value, str):
            return as_json(400, {"refused": "value", "words": "the body is the value as a JSON string"})
        self._unit.change_setting(_last(request), value)
        return Response(204)

    async def _proof(self, request: Request) -> Response:
        try:
            nonce = str(json.loads(await request.body())["nonce"])
        except (ValueError, KeyError, TypeError):
            return as_json(400, {"refused": "value", "words": 'expected {"nonce": 32 hexadecimal digits}'})
        return as_json(200, {"mac": self._unit.prove(nonce)})


async def still_there(unit: Unit, recording: Recording, percent: float) -> bool:
    """Meet what is due while a recording is sent; says whether there is a rest to send."""
    try:
        await unit.meet("send", percent, begin=False, moved=percent * recording.bytes / 100)
        unit.recording(recording.name)
    except Refused:
        return False
    return True


def _last(request: Request) -> str:
    return unquote(request.path.split("/", 2)[2])
