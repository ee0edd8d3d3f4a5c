"""The file of trouble: read into entries, every mistake told at once with its place."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ruamel.yaml.nodes import MappingNode, Node, ScalarNode

from .models import MODELS
from .trouble_kinds import KINDS, MOMENTS, moments_of, moves_bytes, troubles_of, usual_moment
from .trouble_words import BadTrouble, Words
from .troubles import ALWAYS, Trouble

ANY = "any"
WHO, WHEN = ("unit", "model"), ("percent", "after_bytes", "after_seconds")
KEYS = (*WHO, "what", "when", *WHEN, "chance", "seconds", "factor", "restarts", "times", "then")
MOST_SECONDS, MOST_BYTES = 1_000_000, 1_000_000_000


@dataclass
class Entry:
    """One entry as it stands in the file, with what follows upon it."""

    key: str
    unit: str = ANY
    model: str = ""
    what: str = ""
    when: str = ""
    told: dict[str, Any] = field(default_factory=dict)
    """the numbers"""
    then: "list[Entry]" = field(default_factory=list)
    nodes: dict[str, Node] = field(default_factory=dict)
    """where each key's value stands"""

    def befalls(self, serial: str, model: str) -> bool:
        """Say whether the entry is meant for a unit."""
        return self.unit in {ANY, serial} and self.model in {"", model}

    def of(self, model: str) -> Trouble:
        """Give it as it befalls a unit of a model."""
        by_itself = not self.when and "after_seconds" in self.told
        when = "" if by_itself else self.when or usual_moment(model, self.what)
        return Trouble(self.key, when, self.what, **self.told)

    def as_data(self) -> dict[str, Any]:
        """Give it as plain data, which says the same when it is read again."""
        told = {name: getattr(self, name) for name in (*WHO, "what", "when") if name in self.nodes} | self.told
        if self.told.get("times") == ALWAYS:
            told["times"] = "always"
        return told | ({"then": [one.as_data() for one in self.then]} if self.then else {})

    def can(self, model: str) -> bool:
        """Say whether a unit of a model can suffer it."""
        moments = moments_of(model, self.what)
        return bool(moments) and (not self.when or self.when in moments)


class Script:
    """A file of trouble. Use: `Script(path)`, then `of` for one unit, or `check` for a whole bench."""

    def __init__(self, path: Path) -> None:
        """Read it; raises BadTrouble."""
        self._words = Words(path)
        self.entries: list[Entry] = []
        if self._words.root is not None:
            read = _Reading(self._words)
            self.entries = [
                read.entry(node, str(n), ()) for n, node in enumerate(self._words.entries(self._words.root), 1)
            ]
        self._raise()

    def _raise(self) -> None:
        if self._words.mistakes:
            raise BadTrouble(self._words.mistakes)

    def as_data(self) -> list[Any]:
        """Give it as plain data."""
        return [entry.as_data() for entry in self.entries]

    def check(self, units: Mapping[str, str]) -> None:
        """Compare with a bench's units (serial to model); raises BadTrouble."""
        for entry in self.entries:
            if entry.unit != ANY and entry.unit not in units:
                expected = f"the serial of one of the units, or {ANY}"
                self._words.wrong(entry.nodes["unit"], expected, entry.unit, units)
            elif entry.unit != ANY:
                self._fits(entry, units[entry.unit])
        self._raise()

    def _fits(self, entry: Entry, model: str) -> None:
        for one in _whole(entry):
            _suits(self._words, one, model)

    def of(self, serial: str, model: str) -> list[Trouble]:
        """Give what is to happen to one unit; raises BadTrouble for what is meant for it and cannot befall it."""
        found = []
        for entry in self.entries:
            if entry.unit == serial:
                self._fits(entry, model)
            if entry.befalls(serial, model):
                found += [one.of(model) for one in _whole(entry) if one.can(model)]
        self._raise()
        return found


def read_troubles(path: Path, serial: str, model: str) -> list[Trouble]:
    """Read what is to happen to one unit; raises BadTrouble."""
    return Script(path).of(serial, model)


def _whole(entry: Entry) -> Iterator[Entry]:
    yield entry
    for follower in entry.then:
        yield from _whole(follower)


def _suits(words: Words, entry: Entry, model: str) -> None:
    can = [kind.what for kind in troubles_of(model)]
    if entry.what not in can:
        words.wrong(entry.nodes["what"], f"what a {model} can suffer: {', '.join(can)}", entry.what, can)
    elif not entry.can(model):
        moments = moments_of(model, entry.what)
        expected = f"a moment at which a {model} can suffer it: {', '.join(moments)}"
        words.wrong(entry.nodes["when"], expected, entry.when, moments)


class _Reading:
    """Turns groups into entries and notes what is wrong with them."""

    def __init__(self, words: Words) -> None:
        self._words = words
        self._readers: dict[str, Callable[[Node], Any]] = {
            "percent": lambda node: self._number(node, "a number from 0 to 100", 0, 100),
            "after_bytes": lambda node: self._whole_number(node, 1, MOST_BYTES),
            "after_seconds": lambda node: self._number(node, "seconds of physics, 0 or more", 0, MOST_SECONDS),
            "chance": lambda node: self._number(node, "a number above 0, at most 1", 1e-9, 1),
            "seconds": lambda node: self._number(node, "real seconds, 0 or more", 0, MOST_SECONDS),
            "factor": lambda node: self._number(node, "a number from 1 to 1000", 1, 1000),
            "restarts": lambda node: self._whole_number(node, 1, 1000),
            "times": self._times,
        }

    def entry(self, group: MappingNode, key: str, above: tuple[str, ...]) -> Entry:
        """Read one entry; `above` are the entries it follows upon."""
        known = KEYS if not above else tuple(one for one in KEYS if one not in WHO)
        entry = Entry(key)
        for name, _, node in self._words.pairs(group, known):
            entry.nodes[name] = node
            if name in self._readers:
                entry.told[name] = self._readers[name](node)
            elif name == "then":
                followers = self._words.entries(node)
                entry.then = [self.entry(one, f"{key}.{n}", (*above, key)) for n, one in enumerate(followers, 1)]
            else:
                setattr(entry, name, self._text(node))
        self._who(group, entry, follows=bool(above))
        self._what(group, entry)
        self._when(entry)
        for follower in entry.then:
            self._for_model(follower, entry.model)
        return entry

    def _who(self, group: MappingNode, entry: Entry, *, follows: bool) -> None:
        named = [name for name in WHO if name in entry.nodes]
        if follows:
            return
        if len(named) != 1:
            self._words.wrong(
                group, f"unit (a serial, or {ANY}) or model, one of the two", " and ".join(named) or "neither"
            )
        elif entry.model and entry.model not in MODELS:
            self._words.wrong(entry.nodes["model"], f"one of {', '.join(MODELS)}", entry.model, MODELS)
            entry.model = ""

    def _what(self, group: MappingNode, entry: Entry) -> None:
        if "what" not in entry.nodes:
            self._words.wrong(group, "the key what", "an entry without it")
        elif entry.what not in KINDS:
            self._words.wrong(entry.nodes["what"], f"one of {', '.join(KINDS)}", entry.what, KINDS)
        else:
            self._takes(entry)
            if entry.model:
                _suits(self._words, entry, entry.model)

    def _takes(self, entry: Entry) -> None:
        kind = KINDS[entry.what]
        for name in ("seconds", "factor", "restarts"):
            if name in entry.nodes and name not in kind.takes:
                self._words.wrong(entry.nodes[name], f"no {name} (it means nothing to {entry.what})", "one")
        for name in kind.needs:
            if name not in entry.nodes:
                self._words.wrong(entry.nodes["what"], f"{name} beside {entry.what}", "none")
        if "after_seconds" in entry.nodes and not kind.by_time:
            self._words.wrong(entry.nodes["after_seconds"], f"a moment ({entry.what} needs a question)", "a time")

    def _when(self, entry: Entry) -> None:
        if "when" in entry.nodes and entry.when not in MOMENTS:
            self._words.wrong(entry.nodes["when"], f"one of {', '.join(MOMENTS)}", entry.when, MOMENTS)
            entry.when = ""
        elif entry.when and entry.what in KINDS and entry.when not in KINDS[entry.what].moments:
            moments = KINDS[entry.what].moments
            expected = f"a moment at which {entry.what} can happen: {', '.join(moments)}"
            self._words.wrong(entry.nodes["when"], expected, entry.when, moments)
        said = [name for name in WHEN if name in entry.nodes]
        if len(said) > 1:
            self._words.wrong(entry.nodes[said[1]], f"one of {', '.join(WHEN)}", f"{said[1]} beside {said[0]}")
        moment = entry.when or (KINDS[entry.what].usual if entry.what in KINDS else "")
        if "after_bytes" in said and moment and not moves_bytes(moment):
            self._words.wrong(entry.nodes["after_bytes"], "when: send or image", f"bytes at {moment}, where none move")

    def _for_model(self, follower: Entry, model: str) -> None:
        if model and follower.what in KINDS:
            _suits(self._words, follower, model)

    def _text(self, node: Node) -> str:
        if not isinstance(node, ScalarNode) or not str(node.value).strip():
            self._words.wrong(node, "a word", self._words.told(node))
            return ""
        return str(node.value)

    def _number(self, node: Node, expected: str, least: float, most: float) -> float:
        try:
            number = float(str(node.value)) if isinstance(node, ScalarNode) and not node.style else None
        except ValueError:
            number = None
        if number is None or not least <= number <= most:
            self._words.wrong(node, expected, self._words.told(node))
            return least
        return number

    def _whole_number(self, node: Node, least: int, most: int) -> int:
        number = self._number(node, f"a whole number from {least} to {most}", least, most)
        if number != int(number):
            self._words.wrong(node, f"a whole number from {least} to {most}", self._words.told(node))
        return int(number)

    def _times(self, node: Node) -> int:
        if isinstance(node, ScalarNode) and node.value == "always":
            return ALWAYS
        try:
            number = int(str(node.value)) if isinstance(node, ScalarNode) and not node.style else 0
        except ValueError:
            number = 0
        if not 1 <= number <= 1000:
            self._words.wrong(node, "a whole number from 1 to 1000, or always", self._words.told(node), ("always",))
            return 1
        return number
