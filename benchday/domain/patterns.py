"""Patterns of lines: literal text with placeholders, as a playbook declares what is said and heard.

``ID {serial} {model:text}, rev {hardware}`` is a pattern. A placeholder is ``{name}`` or ``{name:kind}``; ``{-}`` takes
what nobody wants to know; ``{{`` and ``}}`` stand for braces. There is one way to read a line: a placeholder takes
everything up to the first place where the literal after it stands, the last one everything to the end. Nothing is ever
tried twice, so that reading takes at most two steps for each character of the line, plus the pattern's own length,
whatever the line and the pattern are (the search is Knuth, Morris and Pratt, Fast pattern matching in strings, SIAM
Journal on Computing 6(2), 1977; the bound of two comparisons for each character is theirs).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches

from benchday.domain.words import Expected

LONGEST_PATTERN = 200
UNNAMED = "-"

_DIGITS = frozenset("0123456789")
_NAME = frozenset("abcdefghijklmnopqrstuvwxyz0123456789_")


def _word(text: str) -> bool:
    return bool(text) and not any(c.isspace() for c in text)


def _digits(text: str) -> bool:
    return bool(text) and _DIGITS.issuperset(text)


def _decimal(text: str) -> bool:
    whole, point, part = text.removeprefix("-").removeprefix("+").partition(".")
    signs = text[:2] in ("-+", "+-")
    return not signs and _DIGITS.issuperset(whole + part) and bool(whole) and bool(part) == bool(point)


def _hex(text: str) -> bool:
    return bool(text) and frozenset("0123456789abcdefABCDEF").issuperset(text)


def _any(text: str) -> bool:  # noqa: ARG001  # one of several
    return True


KINDS: Mapping[str, Callable[[str], bool]] = {
    "word": _word,
    "digits": _digits,
    "decimal": _decimal,
    "hex": _hex,
    "text": _any,
    "rest": _any,
}
"""word: one or more characters without a space, what a placeholder is if it names no kind; digits; decimal: a number
with or without sign and decimal point; hex: hexadecimal digits; text: anything up to the literal that follows, even
nothing; rest: anything to the end of the line."""


@dataclass(frozen=True, slots=True)
class Part:
    """A placeholder and the literal text after it."""

    name: str
    kind: str
    literal: str
    fallback: tuple[int, ...] = field(repr=False)
    """Of the literal: where to go on comparing after a difference."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """A pattern that was read."""

    text: str
    head: str
    """Literal text before the first placeholder."""
    parts: tuple[Part, ...]

    @property
    def names(self) -> frozenset[str]:
        """What its placeholders are called, without those that nobody wants to know."""
        return frozenset(part.name for part in self.parts if part.name != UNNAMED)

    def match(self, line: str, step: Callable[[], None] | None = None) -> dict[str, str] | None:
        """Return what stands in the places of the placeholders, or None if the line is another.

        Args:
            line: without its ending.
            step: called for each comparison of a character; for whoever counts them.
        """
        if not line.startswith(self.head):
            return None
        found: dict[str, str] = {}
        at = len(self.head)
        for part in self.parts:
            end = _find(line, part, at, step) if part.literal else len(line)
            if end < 0 or not KINDS[part.kind](line[at:end]):
                return None
            if part.name != UNNAMED:
                found[part.name] = line[at:end]
            at = end + len(part.literal)

        return found if at == len(line) else None

    def say(self, values: Mapping[str, str]) -> str:
        """Put values into the places of the placeholders.

        Raises:
            ValueError: a value would change how the line is read.
        """
        said = [self.head]
        for part in self.parts:
            value = values[part.name]
            if not value.isprintable() or not value.isascii():
                raise ValueError(f"{part.name} holds characters that cannot be said on the line")
            after = part.literal
            if not KINDS[part.kind](value) or (after and _find(value + after, part, 0, None) < len(value)):
                raise ValueError(f"{part.name} {value!r} does not fit into {self.text!r}")
            said += (value, after)

        return "".join(said)


def _find(line: str, part: Part, at: int, step: Callable[[], None] | None) -> int:
    """Return the first place, from ``at`` on, where the literal stands; -1 if there is none."""
    literal, matched = part.literal, 0
    for place in range(at, len(line)):
        while True:
            if step is not None:
                step()
            if line[place] == literal[matched]:
                matched += 1
                break
            if not matched:
                break
            matched = part.fallback[matched - 1]
        if matched == len(literal):
            return place + 1 - matched

    return -1


def _fallback(literal: str) -> tuple[int, ...]:
    """For each beginning of the literal: how long its longest proper beginning is that it also ends with."""
    table = [0] * len(literal)
    matched = 0
    for place in range(1, len(literal)):
        while matched and literal[place] != literal[matched]:
            matched = table[matched - 1]
        matched += literal[place] == literal[matched]
        table[place] = matched

    return tuple(table)


def pattern_of(text: str) -> Pattern:
    """Read a pattern.

    Raises:
        Expected: it is none, or could be read in two ways.
    """
    if not text or len(text) > LONGEST_PATTERN or not text.isascii() or not text.isprintable():
        raise Expected(f"a pattern: 1 to {LONGEST_PATTERN} printable ASCII characters")

    literals, names = [""], list[tuple[str, str]]()
    for kind, piece in _pieces(text):
        if kind == "literal":
            literals[-1] += piece
        else:
            names.append(_placeholder(text, piece))
            literals.append("")
    _one_way(text, literals, names)
    parts = tuple(
        Part(name, kind, literal, _fallback(literal)) for (name, kind), literal in zip(names, literals[1:], strict=True)
    )
    return Pattern(text, literals[0], parts)


def _pieces(text: str) -> Iterator[tuple[str, str]]:
    at = 0
    while at < len(text):
        if text[at : at + 2] in ("{{", "}}"):
            yield "literal", text[at]
            at += 2
        elif text[at] == "{":
            end = text.find("}", at)
            if end < 0:
                raise Expected("a closing } for every {", found=text[at:])
            yield "placeholder", text[at + 1 : end]
            at = end + 1
        elif text[at] == "}":
            raise Expected("}} for a closing brace in the text itself", found=text)
        else:
            yield "literal", text[at]
            at += 1


def _placeholder(text: str, inside: str) -> tuple[str, str]:
    name, colon, kind = inside.partition(":")
    if name != UNNAMED and not (name and _NAME.issuperset(name)):
        raise Expected("a placeholder like {serial} or {bytes:digits}", found=f"{{{inside}}} in {text}")
    kind = kind if colon else "word"
    if kind not in KINDS:
        near = get_close_matches(kind, KINDS, 1)
        raise Expected(
            "one of the kinds " + ", ".join(KINDS), found=f"{kind} in {text}", nearest=near[0] if near else None
        )

    return name, kind


def _one_way(text: str, literals: list[str], names: list[tuple[str, str]]) -> None:
    for (name, kind), literal in zip(names[:-1], literals[1:-1], strict=False):
        if not literal:
            raise Expected(
                "text between two placeholders, or nobody can tell where one ends", found=f"after {{{name}}} in {text}"
            )
        if kind == "rest":
            raise Expected("a placeholder of the kind rest only at the end", found=f"{{{name}:rest}} in {text}")
    if names and names[-1][1] == "rest" and literals[-1]:
        raise Expected("nothing after a placeholder of the kind rest", found=f"{literals[-1]} in {text}")
    known = [name for name, _ in names if name != UNNAMED]
    twice = sorted({name for name in known if known.count(name) > 1})
    if twice:
        raise Expected("each placeholder once", found=f"{{{twice[0]}}} twice in {text}")
