"""The little of CBOR that the unit needs: whole numbers, byte and text strings, arrays, maps, true, false and null.

Source: RFC 8949, section 3 and appendix B.
"""

import struct

DEEPEST = 8
Value = int | bytes | str | bool | list["Value"] | dict[str, "Value"] | None
_SIMPLE: dict[int, bool | None] = {20: False, 21: True, 22: None}
_WIDTHS = {24: ">B", 25: ">H", 26: ">I", 27: ">Q"}


class BadCbor(ValueError):
    """The bytes are no CBOR, or more of it than this unit knows."""


def encode(value: Value) -> bytes:
    """Write a value."""
    if value is None or isinstance(value, bool):
        return bytes((0xE0 | {False: 20, True: 21, None: 22}[value],))
    if isinstance(value, int):
        return _head(0, value) if value >= 0 else _head(1, -1 - value)
    if isinstance(value, bytes):
        return _head(2, len(value)) + value
    if isinstance(value, str):
        text = value.encode()
        return _head(3, len(text)) + text
    if isinstance(value, list):
        return _head(4, len(value)) + b"".join(encode(one) for one in value)
    return _head(5, len(value)) + b"".join(encode(key) + encode(one) for key, one in value.items())


def _head(major: int, argument: int) -> bytes:
    if argument < 24:
        return bytes((major << 5 | argument,))
    for short, form in _WIDTHS.items():
        if argument < 1 << (8 * struct.calcsize(form)):
            return bytes((major << 5 | short,)) + struct.pack(form, argument)
    raise BadCbor("a number of more than 64 bits")


def decode(data: bytes) -> Value:
    """Read one value that fills all the bytes; raises BadCbor."""
    try:
        value, end = _read(data, 0, DEEPEST)
    except (IndexError, struct.error, UnicodeDecodeError) as error:
        raise BadCbor(str(error)) from None
    if end != len(data):
        raise BadCbor(f"{len(data) - end} bytes too many")
    return value


def _read(data: bytes, at: int, depth: int) -> tuple[Value, int]:
    if depth == 0:
        raise BadCbor("too deep")
    major, short, at = data[at] >> 5, data[at] & 31, at + 1
    if short == 31 and major in {4, 5}:  # of no stated length: ended by a break
        return _endless(data, at, major, depth)
    if major == 7:
        if short not in _SIMPLE:
            raise BadCbor("a kind of value that is not known")
        return _SIMPLE[short], at
    argument = short
    if short >= 24:
        form = _WIDTHS.get(short)
        if form is None:
            raise BadCbor("a length that is not known")
        (argument,) = struct.unpack_from(form, data, at)
        at += struct.calcsize(form)
    return _content(data, at, major, argument, depth)


def _content(data: bytes, at: int, major: int, argument: int, depth: int) -> tuple[Value, int]:
    if major in {0, 1}:
        return (argument if major == 0 else -1 - argument), at
    if argument > len(data) - at:
        raise BadCbor("more is announced than came")
    if major in {2, 3}:
        raw = data[at : at + argument]
        return (raw if major == 2 else raw.decode()), at + argument
    if major == 4:
        items: list[Value] = []
        for _ in range(argument):
            one, at = _read(data, at, depth - 1)
            items.append(one)
        return items, at
    if major == 5:
        pairs: dict[str, Value] = {}
        for _ in range(argument):
            at = _pair(data, at, pairs, depth)
        return pairs, at
    raise BadCbor("a tag")


def _pair(data: bytes, at: int, pairs: dict[str, Value], depth: int) -> int:
    name, at = _read(data, at, depth - 1)
    value, at = _read(data, at, depth - 1)
    if not isinstance(name, str):
        raise BadCbor("a name that is no text")
    pairs[name] = value
    return at


def _endless(data: bytes, at: int, major: int, depth: int) -> tuple[Value, int]:
    items: list[Value] = []
    pairs: dict[str, Value] = {}
    while data[at] != 0xFF:
        if major == 5:
            at = _pair(data, at, pairs, depth)
        else:
            one, at = _read(data, at, depth - 1)
            items.append(one)
    return (pairs if major == 5 else items), at + 1
