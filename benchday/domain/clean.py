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


def _shown(char: str, keep_lines: bool) -> str:
    if char == "\n" and keep_lines:
        return char
    if char in "\n\t":
        return " "
    if unicodedata.category(char) not in _STEERING:
        return char
    code = ord(char)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
