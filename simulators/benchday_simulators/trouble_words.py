"""Plain YAML with the place of each value, and how mistakes in a file of trouble are told."""

import difflib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

LARGEST_BYTES = 1024 * 1024
SHOWN = 40
PLAIN_TAGS = "tag:yaml.org,2002:"


@dataclass(frozen=True)
class Mistake:
    """One mistake, and where."""

    file: str
    line: int
    """from 1"""
    column: int
    """from 1"""
    expected: str
    found: str
    nearest: str = ""
    """the right word that is nearest, where one is near"""

    def __str__(self) -> str:
        """Tell it in one line."""
        hint = f" (did you mean {self.nearest}?)" if self.nearest else ""
        return f"{self.file}:{self.line}:{self.column}: expected {self.expected}, found {self.found}{hint}"


class BadTrouble(ValueError):
    """A file of trouble cannot be used; `mistakes` holds all of them, the words too."""

    def __init__(self, mistakes: Iterable[Mistake]) -> None:
        self.mistakes = tuple(sorted(mistakes, key=lambda one: (one.line, one.column)))
        super().__init__("\n".join(map(str, self.mistakes)))


def nearest(word: str, words: Iterable[str]) -> str:
    """Give the known word that is nearest, empty when none is near."""
    known = {one.casefold(): one for one in words}
    close = difflib.get_close_matches(word.casefold()[:200], known, n=1, cutoff=0.6)
    return known[close[0]] if close else ""


class Words:
    """One file, as far as it is read, and what is wrong with it."""

    def __init__(self, path: Path) -> None:
        self.file = str(path)
        self.mistakes: list[Mistake] = []
        self.root = self._root(path)

    def _root(self, path: Path) -> Node | None:
        try:
            data = path.read_bytes()
            if len(data) > LARGEST_BYTES:
                return self._hopeless("at most 1 MiB", f"{len(data)} bytes")
            root: Node | None = YAML(typ="safe", pure=True).compose(data.decode("utf-8-sig"))
        except OSError as error:
            return self._hopeless("a file that can be read", error.strerror or str(error))
        except UnicodeDecodeError as error:
            return self._hopeless("text in UTF-8", f"the byte {error.object[error.start]:02X} hex")
        except MarkedYAMLError as error:
            mark = error.problem_mark or error.context_mark
            place = (mark.line + 1, mark.column + 1) if mark is not None else (1, 1)
            return self._hopeless("YAML 1.2", " ".join(str(error.problem).split()), *place)
        except (YAMLError, ValueError, RecursionError, AttributeError, IndexError, TypeError, AssertionError) as error:
            # Some of Python's own errors come through, for impossible escapes or thousands of brackets.
            return self._hopeless("YAML 1.2", shown(" ".join(str(error).split())) or type(error).__name__)
        return root

    def _hopeless(self, expected: str, found: str, line: int = 1, column: int = 1) -> Node | None:
        self.mistakes.append(Mistake(self.file, line, column, expected, found))
        return None

    def wrong(self, node: Node, expected: str, found: str, words: Iterable[str] = ()) -> None:
        """Note a mistake at a node; `words` are the right ones, of which the nearest is offered."""
        mark = node.start_mark
        near = nearest(found, words)
        self.mistakes.append(Mistake(self.file, mark.line + 1, mark.column + 1, expected, shown(found), near))

    def entries(self, node: Node) -> list[MappingNode]:
        """Give the groups of a list; what else stands there is a mistake."""
        if not self._plain(node) or not isinstance(node, SequenceNode):
            self.wrong(node, "a list of entries (- unit: ...)", self.told(node))
            return []
        for one in node.value:
            if not isinstance(one, MappingNode):
                self.wrong(one, "an entry with keys", self.told(one))
        return [one for one in node.value if isinstance(one, MappingNode) and self._plain(one)]

    def pairs(self, node: MappingNode, known: Iterable[str]) -> Iterator[tuple[str, Node, Node]]:
        """Yield key, the key's node and the value's of a group, once each."""
        known, seen = list(known), set()
        for key, value in node.value:
            name = str(key.value) if isinstance(key, ScalarNode) else self.told(key)
            if name not in known:
                self.wrong(key, f"one of the keys {', '.join(known)}", name, known)
            elif name in seen:
                self.wrong(key, "each key once", f"{name} again")
            elif self._plain(value):
                seen.add(name)
                yield name, key, value

    def told(self, node: Node) -> str:
        """Say what a node is, as it is told in a mistake."""
        if isinstance(node, ScalarNode):
            return shown(str(node.value)) or "nothing"
        return "a list" if isinstance(node, SequenceNode) else "a group"

    def _plain(self, node: Node) -> bool:
        """Say whether a node has neither anchor nor tag of its own."""
        if node.anchor:
            self.wrong(node, "the value alone", f"the anchor {node.anchor}")
        elif not str(node.tag).startswith(PLAIN_TAGS):
            self.wrong(node, "the value alone", f"the tag {node.tag}")
        else:
            return True
        return False


def shown(text: str) -> str:
    """Give text on one line, printable and not too long."""
    plain = "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text[: SHOWN + 1])
    return plain if len(text) <= SHOWN else plain[:SHOWN] + "..."
