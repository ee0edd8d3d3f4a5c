"""What steers a terminal, a page, a spreadsheet or a path, and how it is told that it did not."""

from __future__ import annotations

import unicodedata

STEERS = (
    "\x1b[2J\x1b]0;owned\x07",
    "\x9b31mred",
    "\x7f\x08\x08gone",
    "one\rtwo\nthree",
    "\u202egnp.exe",
    "\u2066hidden\u2069\u200b",
    "\ufeff\u2028line",
    "nul\x00end",
)
"""Escape sequences, C1 controls, deletions, line ends, bidirectional and invisible characters."""
MARKUP = "<script>alert(1)</script>&\"'><img src=x onerror=alert(1)>"
FORMULAS = ('=HYPERLINK("http://192.0.2.1","x")', "+1+1", "-1+1", "@SUM(A1)", "\uff1d1+1", "'=1")
PATHS = (
    *("../../escape.obs", "/var/escape.obs", "C:\\escape.obs", "..\\escape.obs", ".", "..", "~", "-rf"),
    *("CON", "NUL.obs", "a.obs", "A.OBS", "n" * 255, "%2e%2e%2fescape.obs"),
    *("\uff0e\uff0e\uff0fescape.obs", "a\u0301.obs", "\xe1.obs"),
)
"""Names of recordings: traversal, absolute, reserved on Windows, case alone, long, encoded, full width, two spellings
of one letter (Unicode Standard Annex 15)."""
_STEERING = ("Cc", "Cf", "Cs", "Co", "Zl", "Zp")


def steering(text: str) -> list[str]:
    """Return what in an output could steer whoever shows it; line feeds are its own."""
    return sorted({f"{ord(c):04X}" for c in text if c != "\n" and unicodedata.category(c) in _STEERING})
