"""The way of an image into a unit's other slot over SMP, until the unit says it is whole and marked for a trial start.

Source: Zephyr Project, "Application/software image management group". Needs the extra ``smp``.
"""

from __future__ import annotations

import hashlib
from collections.abc import AsyncGenerator, Sequence
from dataclasses import dataclass, field

from smp.image_management import (
    ImageState,
    ImageStatesReadRequest,
    ImageStatesReadResponse,
    ImageStatesWriteRequest,
    ImageStatesWriteResponse,
    ImageUploadWriteRequest,
    ImageUploadWriteResponse,
)

from benchday.devices.drivers.smp_line import SmpLine
from benchday.devices.drivers.smp_slot_image import SlotImage, read_slot_image
from benchday.domain.errors import DeviceError, LinkSilent, OutcomeUnknown, Refused, TransferCut
from benchday.domain.readings import Progress

_OVERHEAD = 26
"""Around a piece: header 8, map 1, "off" 4 and a number of at most 5, "data" 5 and its length, at most 3 (bytes)."""
_FIRST_OVERHEAD = _OVERHEAD + 47
"""The first piece also has "len" 4 and a number of at most 5, "sha" 4 and 34 bytes."""


async def states_of(line: SmpLine, *, limit_s: float | None = None, tries: int | None = None) -> Sequence[ImageState]:
    """Read which images the unit holds, of image number 0.

    Raises:
        LinkError, Garbled, Refused
    """
    request = ImageStatesReadRequest(sequence=line.number())
    said = await line.ask(request, ImageStatesReadResponse, "its images", limit_s=limit_s, tries=tries)
    return [state for state in said.images if not state.image]


def running(states: Sequence[ImageState]) -> ImageState | None:
    """Return the image that runs now; None in a boot loader."""
    return next((state for state in states if state.active), None)


def waiting(states: Sequence[ImageState]) -> ImageState | None:
    """Return the image that is marked for the next start, if any."""
    return next((state for state in states if state.pending and not state.active), None)


def may_go_back(states: Sequence[ImageState]) -> bool:
    """Tell whether what runs was not confirmed, so that the next start goes back to what stands in the other slot."""
    now = running(states)
    return now is not None and not now.confirmed and any(state.confirmed for state in states if not state.active)


async def mark(line: SmpLine, digest: bytes, *, confirm: bool) -> Sequence[ImageState]:
    """Mark an image for a trial start, or confirm the one on trial; returns the images as they stand then.

    Raises:
        LinkError, Garbled, Refused
    """
    what = "the confirming of its image" if confirm else "the marking of its image"
    request = ImageStatesWriteRequest(hash=digest, confirm=confirm, sequence=line.number())
    said = await line.ask(request, ImageStatesWriteResponse, what)
    return [state for state in said.images if not state.image]


@dataclass(slots=True)
class ImageWay:
    """How far an image has come."""

    image: bytes
    inside: SlotImage | None = field(init=False)
    """What is read off it; None if it is of another format."""
    at: int = 0
    """Where the unit wants the next piece from."""
    best: int = 0
    """The furthest that it has acknowledged."""
    setbacks: int = 0
    """How often it went back, or stayed where it was, since then."""
    match: bool | None = None
    """Whether the unit's own sum agrees; None: not told."""
    held: bytes | None = None
    """Hash by which the unit lists it, once it is whole and marked."""

    def __post_init__(self) -> None:
        self.inside = read_slot_image(self.image)

    def cut(self, text: str) -> TransferCut:
        return TransferCut(
            f"{text}; its other slot may be half written, what runs was not touched: leave it connected and have it "
            "identified anew",
            self.best,
        )


async def send_image(line: SmpLine, way: ImageWay) -> AsyncGenerator[Progress]:
    """Send the image and have it marked for a trial start.

    Raises:
        Refused: before the unit took the first piece; nothing was erased.
        TransferCut: the other slot may be half written.
        OutcomeUnknown: everything left; read the unit back.
        LinkError, Garbled: before the first piece; nothing was begun.
    """
    states = await states_of(line)
    before = running(states)
    if way.inside and before and before.hash == way.inside.hash:
        if may_go_back(states):  # an earlier restart could not confirm it: the one that follows does
            way.held = way.inside.hash
            yield Progress(len(way.image), len(way.image), "sending")
            return
        raise Refused("the image", "same", "this very image runs already; nothing was sent")
    marked = waiting(states)
    if way.inside and marked and marked.hash == way.inside.hash:
        way.held = way.inside.hash
        yield Progress(len(way.image), len(way.image), "sending")  # by a write that was cut only after that
        return
    while way.at < len(way.image):
        await _send_piece(line, way)
        yield Progress(way.best, len(way.image), "sending")
    await _settle(line, way)


async def _send_piece(line: SmpLine, way: ImageWay) -> None:
    """Send the piece that the unit wants, and heed from where it wants the next one."""
    data, request = _piece(line, way)
    began, last = way.at, way.at + len(data) == len(way.image)
    # The first piece goes out once: to a unit that has restarted meanwhile it would begin a second write. Where its
    # answer is missing the next piece asks whether it came, which begins nothing.
    limit_s, tries = (None, None) if began else (line.limits.erase_s, 1)
    try:
        said = await line.ask(request, ImageUploadWriteResponse, "a piece of the image", limit_s=limit_s, tries=tries)
    except Refused as refusal:
        if began == 0:
            raise
        raise way.cut(f"the unit refused a piece: {refusal.code} {refusal.words}") from refusal
    except LinkSilent as error:
        if last:
            raise _unknown("the last piece was sent, but the unit did not say that it came") from error
        if began == 0:
            way.at = len(data)
            return
        raise way.cut(f"the unit fell silent while the image was sent: {error}") from error
    except DeviceError as error:
        raise way.cut(f"the image was on its way: {error}") from error
    wanted = said.off
    most = len(way.image) if began == 0 else began + len(data)  # at 0 it may resume what it already has
    if wanted is None or not 0 <= wanted <= most:
        raise way.cut(f"the unit wants the image from byte {wanted}, which makes no sense")
    if last and wanted == 0 and line.sent_times > 1:
        await _read_back(line, way, began)
        return
    if wanted == 0:
        what = "knows of no transfer: it never heard of it, or was off, or restarted, meanwhile"
        raise way.cut(f"the unit {what if began else 'stays at byte 0'}")
    way.at, way.match = wanted, said.match
    way.setbacks = 0 if wanted > way.best else way.setbacks + (wanted <= began)
    way.best = max(way.best, wanted)
    if way.setbacks > line.limits.tries:
        raise way.cut(f"the unit stays at byte {wanted}")


def _piece(line: SmpLine, way: ImageWay) -> tuple[bytes, ImageUploadWriteRequest]:
    number = line.number()
    if way.at:
        data = way.image[way.at : way.at + line.most_bytes - _OVERHEAD]
        return data, ImageUploadWriteRequest(off=way.at, data=data, sequence=number)
    data = way.image[: line.most_bytes - _FIRST_OVERHEAD]
    digest = hashlib.sha256(way.image).digest()
    return data, ImageUploadWriteRequest(off=0, data=data, len=len(way.image), sha=digest, sequence=number)


async def _read_back(line: SmpLine, way: ImageWay, began: int) -> None:
    """After a lost answer to the last piece a unit may know of no transfer any more: it has ended, or all is lost."""
    inside = way.inside
    listed = [state.hash for state in await _states_after(line)]
    if inside is None or inside.hash_ends <= began or inside.hash not in listed:
        raise _unknown("the last piece was sent, and the unit knows of no transfer any more")
    way.at = way.best = len(way.image)


async def _settle(line: SmpLine, way: ImageWay) -> None:
    """Return if the unit says that the image is whole, and it is marked; else raise what its words mean."""
    if way.match is False:
        raise way.cut("the unit took the whole image, but its sum of it differs")
    held = _held(await _states_after(line), way)
    if held is None or held.hash is None:
        raise way.cut("the unit took the whole image, but does not list it: it cannot use it")
    if not held.pending:
        await _have_marked(line, way, bytes(held.hash))
    way.held = bytes(held.hash)


def _held(states: Sequence[ImageState], way: ImageWay) -> ImageState | None:
    """Find the image among those listed: by its own hash, or, where its file tells none, by the unit's own sum."""
    others = [state for state in states if not state.active]
    if way.inside is not None:
        return next((state for state in others if state.hash == way.inside.hash), None)
    return others[0] if way.match and len(others) == 1 else None


async def _have_marked(line: SmpLine, way: ImageWay, digest: bytes) -> None:
    try:
        states = await mark(line, digest, confirm=False)
    except Refused as refusal:
        # An answer may have been lost, and what is marked already is then refused.
        states = await _states_after(line)
        if not _is_marked(states, digest):
            raise way.cut(f"the image is whole, but it cannot be marked for a start: {refusal.words}") from refusal
    except DeviceError as error:
        raise _unknown(f"the image is whole, but whether it is marked for a start was not told ({error})") from error
    if not _is_marked(states, digest):
        raise way.cut("the image is whole, but the unit did not mark it for a start")


def _is_marked(states: Sequence[ImageState], digest: bytes) -> bool:
    return any(state.hash == digest and state.pending for state in states)


async def _states_after(line: SmpLine) -> Sequence[ImageState]:
    try:
        return await states_of(line)
    except DeviceError as error:
        raise _unknown(f"the whole image was sent, but the unit did not list its images ({error})") from error


def _unknown(text: str) -> OutcomeUnknown:
    return OutcomeUnknown(f"{text}; what runs was not touched: read the unit back")
