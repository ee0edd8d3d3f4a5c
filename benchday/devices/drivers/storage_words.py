"""What a unit's own file on its drive says of it: bytes in, identity out, no I/O."""

from __future__ import annotations

import json
from collections.abc import Mapping

from benchday.domain.clean import clean
from benchday.domain.errors import Garbled
from benchday.domain.readings import Identity, Mode
from benchday.domain.storage import About, Form

LARGEST_BYTES = 65_536
_LONGEST_VALUE = 200
_MOST_DIGITS = 15


def identity_in(data: bytes, about: About) -> Identity:
    """Read who the unit is.

    Raises:
        Garbled: the file is not in its form, or lacks serial or model.
    """
    told, names = _told(data, about), about.names
    serial, model, release = (told.get(name, "") for name in (names.serial, names.model, names.release))
    if not serial or not model:
        raise Garbled(f"{about.file} on the drive does not say {names.serial if not serial else names.model}")
    options = told.get(names.options, "") if names.options else ""
    return Identity(
        serial=serial,
        model=model,
        hardware=told.get(names.hardware, "") if names.hardware else "",
        # A unit that took no whole image shows its drive, and no release runs on it.
        mode=Mode.RUN if release else Mode.BOOT,
        release=release or None,
        options=tuple(sorted(name.strip() for name in options.split(";") if name.strip())),
        term=(told.get(names.term, "") if names.term else "") or None,
    )


def free_in(data: bytes, about: About) -> int | None:
    """Read how many bytes there is room for by the unit's own word; None if it says nothing of it.

    Raises:
        Garbled: the file is not in its form, or that is no number.
    """
    name = about.names.free
    text = _told(data, about).get(name, "") if name else ""
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text) <= _MOST_DIGITS):
        raise Garbled(f"{about.file} on the drive says {text[:40]!r} for {name}; expected a number of bytes")
    return int(text)


def _told(data: bytes, about: About) -> Mapping[str, str]:
    try:
        text = data.decode("utf-8-sig")
        return _object(text) if about.form is Form.JSON else _lines(text)
    except (ValueError, RecursionError) as error:
        raise Garbled(f"{about.file} on the drive cannot be read: {error}") from None


def _lines(text: str) -> Mapping[str, str]:
    told: dict[str, str] = {}
    for line in text.splitlines():
        name, colon, value = line.partition(":")
        if colon:
            # The first of a name counts: nothing appended later takes its place.
            told.setdefault(name.strip(), _value(value))
    return told


def _object(text: str) -> Mapping[str, str]:
    read = json.loads(text)
    # Anything but an object says nothing.
    return {str(name): _json_value(value) for name, value in read.items()} if isinstance(read, dict) else {}


def _json_value(value: object) -> str:
    if isinstance(value, list):
        return ";".join(_json_value(one) for one in value if not isinstance(one, list))
    if isinstance(value, bool) or not isinstance(value, str | int):
        # A version that was written as a number is no version: 2.10 has become 2.1.
        return ""
    return _value(str(value))


def _value(text: str) -> str:
    return clean(text.strip())[:_LONGEST_VALUE]
