"""Writes benchday/docs/entries.md from the kinds themselves: python -m tests.house.entries_page"""

from __future__ import annotations

import ast
import inspect
import re
import textwrap
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

from benchday.domain import kinds_acts, kinds_day, kinds_troubles, kinds_unit
from benchday.domain.facts import KINDS, Facts
from benchday.domain.steps import MOVE_OF_KIND

PAGE = Path(__file__).parents[2] / "benchday" / "docs" / "entries.md"
GROUPS: tuple[tuple[str, ModuleType], ...] = (
    ("The day and the operators' queue", kinds_day),
    ("A unit's way", kinds_unit),
    ("Permits and acts", kinds_acts),
    ("Troubles", kinds_troubles),
)
HEAD = """\
# Entries

Every entry has `bench`, `seq` (counted from 1 in each bench), `at_us` (day time), `wall_us` (the bench PC's clock),
`mono_us` (its monotonic clock), `kind`, `v` (version of the kind, 1), `unit`, `station`, `operator` and `facts`. Times
are integer microseconds, since 1970 UTC but for `mono_us`. No entry holds a floating-point number or personal data:
what ends in `_ref` is a reference to a text that stands beside the chain and can be erased. This page is written from
the code by `python -m tests.house.entries_page`; `benchday schema KIND` prints the JSON Schema of a kind's facts.
"""


def page() -> str:
    """Return the whole page."""
    parts = [HEAD]
    for title, module in GROUPS:
        parts.append(f"## {title}\n")
        parts += [_section(kind) for kind in KINDS.values() if kind.__module__ == module.__name__]
    return "\n".join(parts)


def _section(kind: type[Facts]) -> str:
    says = " ".join((inspect.getdoc(kind) or "").split())
    known = MOVE_OF_KIND.get(kind.kind)
    move = f" Its unit's move: {known.value}." if known is not None else ""
    if kind.kind == "step_begun":
        move = " Its unit's move: into the step."
    rows = "\n".join(f"| `{name}` | {_type(text)} | {words} |" for name, text, words in _facts(kind))
    table = f"\n| fact | type | |\n| --- | --- | --- |\n{rows}\n" if rows else ""
    return f"### {kind.kind}\n\n{says}{move}\n{table}"


def _facts(kind: type[Facts]) -> Iterator[tuple[str, str, str]]:
    """Yield name, type and words of each fact, as they stand in the source."""
    (tree,) = ast.parse(textwrap.dedent(inspect.getsource(kind))).body
    assert isinstance(tree, ast.ClassDef)
    for place, node in enumerate(tree.body):
        if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            after = tree.body[place + 1] if place + 1 < len(tree.body) else None
            yield node.target.id, ast.unparse(node.annotation), _words(after)


def _words(node: ast.stmt | None) -> str:
    match node:
        case ast.Expr(value=ast.Constant(value=str(words))):
            return " ".join(words.split())
        case _:
            return ""


def _type(text: str) -> str:
    """Word a type of ours in JSON's terms."""
    words = (
        (r"\bdict\[[^\]]*\]", "object"),
        (r"\blist\[([^\]]*)\]", r"list of \1"),
        (r"\bstr\b", "text"),
        (r"\bint\b", "integer"),
        (r"\bbool\b", "true or false"),
        (r"\bNone\b", "null"),
        (r"\bAny\b", "any"),
        (r"\bCheckedIn\b", "object (checked in)"),
        (r" \| ", " or "),
    )
    for pattern, word in words:
        text = re.sub(pattern, word, text)
    return text


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8", newline="\n")
