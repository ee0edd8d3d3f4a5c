"""YAML 1.2 as people write it here: a plain subset, read into plain values with the place of each.

ruamel.yaml reads the text into events; this file turns the events into values, so that what is refused (anchors, tags,
several documents, doubled keys) is refused by name and place, and nothing can be built but text, numbers, yes and no,
lists and groups. Plain scalars follow the core schema (YAML 1.2.2, section 10.3.2).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    Event,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)
from ruamel.yaml.reader import ReaderError

from benchday.domain.errors import Mistake
from benchday.inputs.outcome import shown
from benchday.inputs.scalars import NO_NUMBER, unquoted_trouble, value_of

LARGEST_BYTES = 1024 * 1024
DEEPEST = 20

KeyPath = tuple[str | int, ...]
"""Keys and positions (from 0) that lead to a value."""


@dataclass(frozen=True, slots=True)
class Spot:
    """Where something stands, counted from 1, and how it was written."""

    line: int
    column: int
    raw: str | None = None
    """A scalar's text as written, without its quotes; None for lists and groups."""
    quoted: bool = False


@dataclass(slots=True)
class YamlText:
    """One file as read: plain values, where each stands, and what is wrong with the writing itself."""

    file: str
    value: object = None
    """Text, number, bool, None, list or dict."""
    values: dict[KeyPath, Spot] = field(default_factory=dict)
    """Where each value stands."""
    keys: dict[KeyPath, Spot] = field(default_factory=dict)
    """Where the key of each value in a group stands."""
    mistakes: list[Mistake] = field(default_factory=list)

    def spot(self, path: KeyPath) -> Spot:
        """Return where the value stands, or the nearest one around it."""
        while path and path not in self.values:
            path = path[:-1]
        return self.values.get(path, Spot(1, 1))

    def mistake(self, path: KeyPath, expected: str, found: str, nearest: str | None = None) -> Mistake:
        """Return a mistake that points at a value."""
        spot = self.spot(path)
        return Mistake(self.file, spot.line, spot.column, expected, found, nearest)


def read_yaml(data: bytes, file: str) -> YamlText:
    """Read one file; whatever is wrong with it is in ``mistakes``."""
    text = YamlText(file)
    if len(data) > LARGEST_BYTES:
        text.mistakes.append(Mistake(file, 0, 0, "a file of at most 1 MiB", f"{len(data)} bytes"))
        return text

    try:
        plain = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line, column = _line_and_column(data[: error.start].decode("utf-8-sig", "replace"))
        byte = f"the byte {data[error.start]:02X} hex"
        text.mistakes.append(Mistake(file, line, column, "text in UTF-8: save the file as UTF-8", byte))
        return text

    try:
        _Builder(text).build(_events(plain))
    except _Hopeless:
        pass
    except YAMLError as error:
        text.mistakes.append(_syntax(error, file, plain))
    except (ValueError, OverflowError, IndexError, TypeError, AttributeError, AssertionError) as error:
        # The scanner lets some of Python's own errors through, on escapes of impossible characters for one.
        text.mistakes.append(Mistake(file, 0, 0, "YAML 1.2", f"something that cannot be read ({shown(str(error))})"))

    if text.mistakes:
        text.value = text.value if isinstance(text.value, dict) else None
    return text


def _events(plain: str) -> Iterator[Event]:
    events: Iterator[Event] = YAML(typ="safe", pure=True).parse(plain)
    return events


class _Hopeless(Exception):
    """The rest of the file cannot be understood; the mistake has been noted."""


@dataclass(slots=True)
class _Open:
    """A list or group whose end has not come yet."""

    path: KeyPath
    box: list[object] | dict[str, object]
    key: str | None = None
    """The key whose value comes next, in a group."""


class _Builder:
    """Makes values of events, keeping places and refusing what the subset leaves out."""

    def __init__(self, text: YamlText) -> None:
        self._text = text
        self._open: list[_Open] = []
        self._documents = 0

    def build(self, events: Iterator[Event]) -> None:
        for event in events:
            if isinstance(event, DocumentStartEvent):
                self._document(event)
            elif isinstance(event, AliasEvent):
                self._refuse(event, "the value itself", f"the alias *{event.anchor}")
                self._put(event, None, None)
            elif isinstance(event, ScalarEvent):
                self._scalar(event)
            elif isinstance(event, (MappingStartEvent, SequenceStartEvent)):
                self._begin(event, {} if isinstance(event, MappingStartEvent) else [])
            elif isinstance(event, (MappingEndEvent, SequenceEndEvent)):
                self._open.pop()

    def _refuse(self, event: Event, expected: str, found: str) -> None:
        mark = event.start_mark
        self._text.mistakes.append(Mistake(self._text.file, mark.line + 1, mark.column + 1, expected, found))

    def _document(self, event: DocumentStartEvent) -> None:
        self._documents += 1
        if self._documents > 1:
            self._refuse(event, "one document in a file", "a second one, begun by ---")
            raise _Hopeless
        if event.version or event.tags:
            self._refuse(event, "no line with % above the ---", "one")

    def _plainness(self, event: ScalarEvent | MappingStartEvent | SequenceStartEvent) -> None:
        if event.anchor:
            self._refuse(event, "the value alone", f"the anchor &{shown(str(event.anchor))}")
        if event.ctag is not None and str(event.ctag):
            self._refuse(event, "the value alone", f"the tag {shown(str(event.ctag))}")

    def _begin(self, event: MappingStartEvent | SequenceStartEvent, box: dict[str, object] | list[object]) -> None:
        self._plainness(event)
        if self._is_key():
            self._refuse(event, "a word as a key", "a list or group as a key")
            raise _Hopeless
        if len(self._open) >= DEEPEST:
            self._refuse(event, f"at most {DEEPEST} levels", "one level more")
            raise _Hopeless
        path = self._put(event, box, None)
        self._open.append(_Open(path, box))

    def _is_key(self) -> bool:
        return bool(self._open) and isinstance(self._open[-1].box, dict) and self._open[-1].key is None

    def _scalar(self, event: ScalarEvent) -> None:
        self._plainness(event)
        raw = str(event.value)
        quoted = event.style is not None
        bad = next((c for c in raw if _unfit(c)), None)
        if bad is not None:
            self._refuse(event, "text without control characters", f"the character {ord(bad):04X} hex")
            raw = "".join(c for c in raw if not _unfit(c))
        if self._is_key():
            self._key(event, raw, quoted)
            return

        if not quoted and (trouble := unquoted_trouble(raw)) is not None:
            self._refuse(event, *trouble)
            value: object = raw
        else:
            value = raw if quoted else value_of(raw)
        if value is NO_NUMBER:
            self._refuse(event, "a number of at most 15 digits, or text in quotes", shown(raw))
            value = None
        self._put(event, value, raw)

    def _key(self, event: ScalarEvent, raw: str, quoted: bool) -> None:
        box = self._open[-1]
        assert isinstance(box.box, dict)  # noqa: S101 -- _is_key has just said so; this tells the type checker
        if not quoted and raw == "<<":
            self._refuse(event, "keys written out", "the merge key <<")
        elif not quoted and not isinstance(value_of(raw), str):
            self._refuse(event, "a word as a key, or one in quotes", shown(raw) or "nothing")
        path = (*box.path, raw)
        if raw in box.box:
            first = self._text.keys[path]
            self._refuse(event, "each key once", f"{shown(raw)} again, which stands in line {first.line} too")
        else:
            self._text.keys[path] = Spot(event.start_mark.line + 1, event.start_mark.column + 1, raw, quoted)
        box.key = raw

    def _put(self, event: Event, value: object, raw: str | None) -> KeyPath:
        """Put a value where it belongs and return its path."""
        mark = event.start_mark
        spot = Spot(mark.line + 1, mark.column + 1, raw, getattr(event, "style", None) is not None)
        if not self._open:
            self._text.value = value
            self._text.values[()] = spot
            return ()

        top = self._open[-1]
        if isinstance(top.box, list):
            path: KeyPath = (*top.path, len(top.box))
            top.box.append(value)
        else:
            if top.key is None:  # an alias where a key should be
                raise _Hopeless
            path = (*top.path, top.key)
            if top.key not in top.box:
                top.box[top.key] = value
            top.key = None
        self._text.values.setdefault(path, spot)
        return path


def _unfit(character: str) -> bool:
    return (character < " " and character not in "\n\t") or character == "\x7f" or "\ud800" <= character <= "\udfff"


def _line_and_column(before: str) -> tuple[int, int]:
    return before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1


def _syntax(error: YAMLError, file: str, plain: str) -> Mistake:
    if isinstance(error, ReaderError):
        line, column = _line_and_column(plain[: error.position])
        return Mistake(file, line, column, "text without control characters", f"the character {error.character!r}")
    if not isinstance(error, MarkedYAMLError):
        return Mistake(file, 0, 0, "YAML 1.2", shown(str(error)))

    mark = error.problem_mark or error.context_mark
    line, column = (mark.line + 1, mark.column + 1) if mark is not None else (0, 0)
    context = f" {error.context}" if error.context else ""
    problem = " ".join(str(error.problem or "something that cannot be read").split())
    return Mistake(file, line, column, "YAML 1.2", shown(f"{problem}{context}", 160))
