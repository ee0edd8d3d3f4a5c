"""No permit, no write: the syntax tree shows who makes spent acts and who spends permits."""

import ast
from collections.abc import Iterator
from pathlib import Path

import benchday

PACKAGE = Path(benchday.__file__).parent

MINT = {"record/spending.py"}
SPEND = {"bench/permit_desk.py", "testing/journals.py"}
"""The desk; and the suite of promises, which runs against journals and never against a unit."""
KEY = {"domain/permits.py"}


def trees() -> Iterator[tuple[str, ast.Module]]:
    """Yield every module of the package with its path."""
    for path in sorted(PACKAGE.rglob("*.py")):
        yield path.relative_to(PACKAGE).as_posix(), ast.parse(path.read_text(encoding="utf-8"))


def names_in(tree: ast.AST) -> set[str]:
    """Return every name, attribute, import and string of a module, so that no spelling slips through."""
    found: set[str] = set()
    for node in ast.walk(tree):
        match node:
            case ast.Name(id=name) | ast.Attribute(attr=name):
                found.add(name)
            case ast.alias(name=name, asname=other):
                found.update(filter(None, (name.rpartition(".")[2], other)))
            case ast.Constant(value=str(text)):
                found.add(text)
            case ast.FunctionDef(name=name) | ast.AsyncFunctionDef(name=name):
                found.add(name)

    return found


def spends(tree: ast.AST) -> bool:
    """Tell whether a module takes ``spend`` off anything but the permit desk, whose own method has that name too."""
    return any(
        isinstance(node, ast.Attribute) and node.attr == "spend" and _last_name(node.value) != "desk"
        for node in ast.walk(tree)
    )


def _last_name(node: ast.expr) -> str:
    match node:
        case ast.Name(id=name) | ast.Attribute(attr=name):
            return name.lstrip("_")
        case _:
            return ""


def test_only_journals_mint() -> None:
    """A spent act is made in one place, after the commit."""
    who = {path for path, tree in trees() if "mint_spent_act" in names_in(tree)}
    assert who == MINT | KEY


def test_only_the_permit_desk_spends() -> None:
    """A journal's ``spend`` is touched by the permit desk alone."""
    who = {path for path, tree in trees() if spends(tree)}
    assert who <= SPEND
    assert "testing/journals.py" in who


def test_only_permits_know_the_key() -> None:
    """What proves to a spent act that a journal makes it appears in one module."""
    who = {path for path, tree in trees() if "_MINT" in names_in(tree)}
    assert who == KEY
    assert {path for path, tree in trees() if "__new__" in names_in(tree) and "SpentAct" in names_in(tree)} == set()


def test_spellings_are_seen() -> None:
    """The test itself can fail: each way to reach for it is noticed."""
    for text in (
        "from benchday.domain.permits import mint_spent_act as m",
        "import benchday.domain.permits as p; p.mint_spent_act",
        "getattr(p, 'mint_spent_act')",
    ):
        assert "mint_spent_act" in names_in(ast.parse(text)), text
    for text in ("await self._journal.spend(permit, reading)", "s = journal.spend", "make().spend(p, r)"):
        assert spends(ast.parse(text)), text
    assert not spends(ast.parse("await self._desk.spend(permit, reading)"))
