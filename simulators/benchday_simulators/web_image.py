"""The image of a Wi-Fi unit: taken as a form comes in, flashed afterwards."""

import asyncio
from typing import Protocol

from .image_intake import ImageIntake
from .multipart import BadForm, FilePart, boundary_of
from .unit import Refused, Unit
from .web_connection import Request, Response, as_json


class Body(Protocol):
    """Finds the image in what comes."""

    def feed(self, data: bytes) -> bytes:
        """Take bytes, give those of the image; raises BadForm."""
        ...


class WebImage:
    """At most one image at a time is taken and flashed."""

    def __init__(self, unit: Unit) -> None:
        self.state = "failed" if unit.state.mode == "boot" else "idle"
        """idle, flashing, done or failed"""
        self.percent = 0
        self.unit = unit
        self._taking = False
        self._flashing: asyncio.Task[None] | None = None

    def busy(self) -> bool:
        """Say whether an image is being taken or flashed."""
        return self._taking or self.state == "flashing"

    async def take(self, request: Request) -> Response:
        """Take an image from a form; raises Refused."""
        if self.busy():
            raise Refused("busy", "an image is under way")
        if not self.unit.power_suffices():
            raise Refused("power", "charge or connect external power")
        try:
            part = self._body(request)
        except BadForm as bad:
            return as_json(400, {"refused": "header", "words": str(bad)})
        await self.unit.meet("image")
        self._taking = True
        intake = ImageIntake(self.unit)
        try:
            taken = await self._take(request, part, intake)
        finally:
            self._taking = False
            intake.cut()
            if intake.begun and intake.outcome != "whole":
                self.state = "failed"
        self.state, self.percent = "flashing", 0
        self._flashing = asyncio.create_task(self._flash(intake))
        return as_json(202, {"taken": taken})

    def _body(self, request: Request) -> Body:
        """Say where the image is in a request; raises BadForm."""
        return FilePart(boundary_of(request.header("content-type")), "image")

    async def _take(self, request: Request, part: Body, intake: ImageIntake) -> int:
        taken = 0
        while (piece := await request.piece()) is not None:
            try:
                data = part.feed(piece)
            except BadForm as bad:
                raise Refused("header", str(bad)) from None
            if data:
                taken += len(data)
                await self.unit.speech.tarry(len(data))
                await intake.feed(data)
        intake.finish()
        return taken

    async def _flash(self, intake: ImageIntake) -> None:
        try:
            await intake.flash(self._report)
            self.state = "done"
        except Refused:  # trouble: the host reads `failed`
            pass
        finally:
            if self.state != "done":
                self.state = "failed"
            intake.flash_ended()

    async def _report(self, percent: int) -> None:
        self.percent = percent

    async def stop(self) -> None:
        """The unit goes dark or restarts."""
        if self._flashing is not None:
            self._flashing.cancel()
            await asyncio.gather(self._flashing, return_exceptions=True)
            self._flashing = None
