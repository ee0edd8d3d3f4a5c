"""Messages of SMP turned into values and refusals; no I/O. Needs the extra ``smp``.

Source: Zephyr Project, "SMP Protocol Specification" and the pages of the groups. A newer unit may say more than the
library knows, and an older one says ``rc: 0`` beside an answer: what is not known is left out, never refused.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import IntEnum
from typing import Any, TypeGuard, TypeVar

import cbor2
from smp.error import MGMT_ERR
from smp.file_management import FS_MGMT_ERR
from smp.header import GroupId, Header
from smp.image_management import IMG_MGMT_ERR, ImageState, ImageStatesReadResponse
from smp.message import Response
from smp.os_management import OS_MGMT_RET_RC
from smp.settings_management import SETTINGS_MGMT_ERR

from benchday.domain.errors import Garbled, Refused

R = TypeVar("R", bound=Response)

HEADER_BYTES = Header.SIZE
_OWN_FIELDS = frozenset(Response.model_fields)
_UNREADABLE = (cbor2.CBORError, ValueError, TypeError, OverflowError, RecursionError)
_GROUPS: Mapping[int, tuple[str, type[IntEnum]]] = {
    GroupId.OS_MANAGEMENT: ("system", OS_MGMT_RET_RC),
    GroupId.IMAGE_MANAGEMENT: ("images", IMG_MGMT_ERR),
    GroupId.SETTINGS_MANAGEMENT: ("settings", SETTINGS_MGMT_ERR),
    GroupId.FILE_MANAGEMENT: ("files", FS_MGMT_ERR),
}
_PLAIN: Mapping[tuple[int | None, int], str] = {
    (None, int(MGMT_ERR.ENOMEM)): "it has no memory for that",
    (None, int(MGMT_ERR.EINVAL)): "it cannot use a value of the request",
    (None, int(MGMT_ERR.ETIMEOUT)): "it ran out of time",
    (None, int(MGMT_ERR.ENOENT)): "it has no such thing",
    (None, int(MGMT_ERR.EBADSTATE)): "not in its present state: enough charge, nothing else under way?",
    (None, int(MGMT_ERR.EMSGSIZE)): "its answer would be too large",
    (None, int(MGMT_ERR.ENOTSUP)): "it does not know that request",
    (None, int(MGMT_ERR.ECORRUPT)): "what it holds is damaged",
    (None, int(MGMT_ERR.EBUSY)): "it is busy with something else",
    (None, int(MGMT_ERR.EACCESSDENIED)): "it does not allow that",
    (GroupId.IMAGE_MANAGEMENT, int(IMG_MGMT_ERR.NO_FREE_SLOT)): (
        "its other slot is in use: an image waits there for a restart, or is what it would go back to"
    ),
    (GroupId.IMAGE_MANAGEMENT, int(IMG_MGMT_ERR.INVALID_IMAGE_HEADER_MAGIC)): "this is no image for its boot loader",
    (GroupId.IMAGE_MANAGEMENT, int(IMG_MGMT_ERR.INVALID_IMAGE_TOO_LARGE)): "the image is larger than its slot",
}
"""Group (None: of the protocol itself) and number -> words for the bench; the others are worded by their names."""
_LONGEST_TEXT = 200
_LARGEST = 1 << 53
"""Larger whole numbers are none that a unit can mean."""


def header_of(message: bytes) -> Header | None:
    """Read the header; None if it is none, or announces another length than came."""
    try:
        header = Header.loads(message[:HEADER_BYTES])
    except (ValueError, AssertionError):
        return None
    return header if header.length == len(message) - HEADER_BYTES else None


def reply_of(message: bytes, kind: type[R], request: str) -> R:
    """Read an answer.

    Raises:
        Refused: the unit says no; worded.
        Garbled: it is no answer to such a request.
    """
    told = _map_of(message, request)
    refusal = _refusal(told, request)
    if refusal is not None:
        raise refusal
    known = {name: told[name] for name in kind.model_fields if name in told and name not in _OWN_FIELDS}
    if any(isinstance(value, int) and not _small(value) for value in known.values()):
        raise Garbled(f"the unit's answer to {request} holds a number that cannot be right")
    if issubclass(kind, ImageStatesReadResponse):
        known["images"] = _images(known.get("images"))
    try:
        return kind(**known)
    except _UNREADABLE as error:
        raise Garbled(f"the unit's answer to {request} lacks what belongs into it, or says it wrongly") from error


def _map_of(message: bytes, request: str) -> dict[str, Any]:
    try:
        told = cbor2.loads(message[HEADER_BYTES:]) if len(message) > HEADER_BYTES else {}
    except _UNREADABLE as error:
        raise Garbled(f"the unit's answer to {request} cannot be read (it is no CBOR, RFC 8949)") from error
    if not isinstance(told, dict) or not all(isinstance(name, str) for name in told):
        raise Garbled(f"the unit's answer to {request} cannot be read (it is no map of names)")
    return told


def _images(told: object) -> list[dict[str, Any]]:
    listed = told if isinstance(told, list) else []
    return [{n: one[n] for n in ImageState.model_fields if n in one} for one in listed if isinstance(one, dict)]


def _refusal(told: Mapping[str, Any], request: str) -> Refused | None:
    error = told.get("err")
    if isinstance(error, dict) and error.get("rc", 0) != 0:
        return Refused(request, *_worded(error.get("group"), error.get("rc")))
    if told.get("rc", 0) != 0:
        code, words = _worded(None, told.get("rc"))
        reason = shown(told["rsn"]) if isinstance(told.get("rsn"), str) else ""
        return Refused(request, code, f"{words}: {reason}" if reason else words)
    return None


def _small(number: object) -> TypeGuard[int]:
    return isinstance(number, int) and abs(number) <= _LARGEST


def _worded(group: object, number: object) -> tuple[str, str]:
    # CBOR knows whole numbers of any length; those of the protocol are small.
    if not _small(number) or not (group is None or _small(group)):
        return "unreadable", "its reason cannot be read"
    words, numbers = (None, MGMT_ERR) if group is None else _GROUPS.get(group, (f"group {group}", None))
    code = f"{words} error {number}" if words else f"error {number}"
    plain = _PLAIN.get((group, number))
    if plain is None and numbers is not None and number in numbers._value2member_map_:
        plain = numbers(number).name.lower().replace("_", " ")
    return code, plain or "no reason known"


def shown(text: str) -> str:
    """Cut a unit's own words down to what may be shown: printable, and not endless."""
    return "".join(c if c.isprintable() else "?" for c in text[:_LONGEST_TEXT]).strip()


def text_of(value: bytes, name: str) -> str:
    """Read a value that has to be text, like a serial.

    Raises:
        Garbled: it is empty, or no printable UTF-8.
    """
    try:
        text = value.rstrip(b"\0").decode("utf-8").strip()
    except UnicodeDecodeError:
        text = ""
    if not text or not text.isprintable() or len(text) > _LONGEST_TEXT:
        raise Garbled(f"what the unit says as {name} is no text that can be shown")
    return text


_HEX = "hex:"


def setting_text(value: bytes) -> str:
    """Word a setting's value: as text where it is printable text, else as ``hex:`` and digits. The protocol tells no
    types."""
    try:
        text = value.decode("utf-8")
    except UnicodeDecodeError:
        return _HEX + value.hex()
    return text if text.isprintable() and not text.startswith(_HEX) else _HEX + value.hex()


def setting_bytes(text: str) -> bytes:
    """Give the bytes of a value worded by ``setting_text``.

    Raises:
        ValueError: no hexadecimal digits follow ``hex:``.
    """
    return bytes.fromhex(text.removeprefix(_HEX)) if text.startswith(_HEX) else text.encode()
