"""Text from outside made safe to show: what a unit, a file or a person says must not steer the terminal."""

from __future__ import annotations

import unicodedata

_STEERING = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""Unicode general categories that draw nothing, turn the writing direction, or move the cursor."""


def clean(text: str, *, keep_lines: bool = False) -> str:
    """Return the text with escape and control sequences neutralised: each steering character becomes visible.

    Args:
        text: from outside.
        keep_lines: line feeds stay, for text of several lines.
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(_shown(c, keep_lines) for c in text)


def plain_json(text: str) -> str:
    """Return JSON with each steering character in strings written as its escape: the same value, safe on a terminal.

    Args:
        text: valid JSON; outside its strings only line feeds and spaces could be meant, and they stay.
    """
    if text.isascii() and "\x7f" not in text:
        return text
    return "".join(_escaped(c) if unicodedata.category(c) in _STEERING and c not in "\n\r\t" else c for c in text)


def _escaped(char: str) -> str:
    units = char.encode("utf-16-be", "surrogatepass")  # JSON escapes are UTF-16 code units (RFC 8259, section 7)
    return "".join(f"\\u{units[at] << 8 | units[at + 1]:04x}" for at in range(0, len(units), 2))


def _shown(char: str, keep_lines: bool) -> str:
    if char == "\n" and keep_lines:
        return char
    if char in "\n\t":
        return " "
    if unicodedata.category(char) not in _STEERING:
        return char
    code = ord(char)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
