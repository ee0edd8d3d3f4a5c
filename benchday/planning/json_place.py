"""Reading JSON (RFC 8259) strictly: each value knows its place, every mistake is noted, and reading goes on."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any

from benchday.domain.errors import InputError


class ModelMistakes(InputError):
    """A model file holds mistakes; all of them are listed, each with its place."""

    def __init__(self, source: str, mistakes: Sequence[str]) -> None:
        self.mistakes = tuple(mistakes)
        super().__init__("\n".join(f"{source}: {mistake}" for mistake in mistakes))


def parsed(text: str, source: str) -> Any:
    """Parse JSON with nothing doubled and nothing that is not a number.

    Raises:
        ModelMistakes: it is not JSON, with line and column.
    """
    try:
        return json.loads(text, object_pairs_hook=_no_doubles, parse_constant=_no_constants)
    except json.JSONDecodeError as wrong:
        mistake = f"line {wrong.lineno}, column {wrong.colno}: expected JSON, but here it breaks off ({wrong.msg})"
        raise ModelMistakes(source, [mistake]) from None
    except RecursionError:
        raise ModelMistakes(source, ["expected a model, found lists within lists without end"]) from None
    except ValueError as wrong:
        raise ModelMistakes(source, [str(wrong)]) from None


def _no_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise ValueError(f"the key {key!r} stands twice in one object; keep one")
        found[key] = value
    return found


def _no_constants(word: str) -> float:
    raise ValueError(f"expected a number, found {word}")


@dataclass(frozen=True, slots=True)
class Place:
    """One value of the file and where it stands; what is wrong with it is noted, and reading goes on."""

    where: str
    value: Any
    mistakes: list[str] = field(repr=False)

    def wrong(self, expected: str, nearest: str | None = None) -> None:
        """Note a mistake here."""
        hint = f" (did you mean {nearest}?)" if nearest else ""
        found = json.dumps(self.value)
        shown = found if len(found) <= 60 else found[:57] + "..."
        self.mistakes.append(f"{self.where or 'the whole file'}: expected {expected}, found {shown}{hint}")

    def raise_mistakes(self, source: str) -> None:
        """Raise what has been noted so far."""
        if self.mistakes:
            raise ModelMistakes(source, self.mistakes)

    def keys(self, needed: set[str], possible: set[str]) -> bool:
        """Check that this is an object with these keys; tell whether it can be read on."""
        if not isinstance(self.value, dict):
            self.wrong(f"an object with {', '.join(sorted(needed))}")
            return False
        known = sorted(needed | possible)
        for key in self.value:
            if key not in known:
                near = next(iter(get_close_matches(key, known, 1)), None)
                self.at(key).wrong(f"one of the keys {', '.join(known)}, not {key!r}", near)
        missing = sorted(needed - set(self.value))
        if missing:
            self.mistakes.append(
                f"{self.where or 'the whole file'}: expected the key {', '.join(missing)}, it is missing"
            )
        return not missing

    def has(self, key: str) -> bool:
        """Tell whether a key is there with a value."""
        return isinstance(self.value, dict) and self.value.get(key) is not None

    def raw(self, key: str) -> Any:
        """Return the value of a key as it stands."""
        return self.value[key]

    def at(self, key: str) -> Place:
        """Go to a key's value."""
        return Place(f"{self.where}.{key}" if self.where else key, self.value.get(key), self.mistakes)

    def each(self, key: str | None = None) -> Iterator[Place]:
        """Go through a list."""
        here = self if key is None else self.at(key) if self.has(key) else None
        if here is None:
            return
        if not isinstance(here.value, list):
            here.wrong("a list")
            return
        for number, value in enumerate(here.value):
            yield Place(f"{here.where}[{number}]", value, self.mistakes)

    def text(self) -> str:
        """Read a text that is not empty."""
        if isinstance(self.value, str) and self.value:
            return self.value
        self.wrong("a text")
        return ""

    def number(self, least: float = -math.inf, most: float = math.inf) -> float:
        """Read a number within bounds."""
        value = self.value
        fits = isinstance(value, (int, float)) and not isinstance(value, bool)
        if fits and least <= value <= most and abs(value) <= 1e15:
            return float(value)
        bounds = "" if least == -math.inf else f" from {least:g}" + ("" if most == math.inf else f" to {most:g}")
        self.wrong(f"a number{bounds}")
        return max(least, 0.0)

    def whole(self, least: int) -> int:
        """Read a whole number."""
        if isinstance(self.value, int) and not isinstance(self.value, bool) and self.value >= least:
            return self.value
        self.wrong(f"a whole number from {least}")
        return least

    def number_or_none(self, key: str) -> float | None:
        """Read a number that need not be there."""
        return self.at(key).number() if self.has(key) else None

    def word(self, among: Sequence[str], what: str) -> str:
        """Read one word of a closed list."""
        if isinstance(self.value, str) and self.value in among:
            return self.value
        near = get_close_matches(self.value, among, 1) if isinstance(self.value, str) else []
        self.wrong(f"{what} ({', '.join(among) or 'there are none'})", next(iter(near), None))
        return ""
