"""Writes the tables of benchday/docs/troubles.md from the simulators' own: python -m tests.house.troubles_page"""

from __future__ import annotations

from pathlib import Path

from benchday_simulators.models import MODELS
from benchday_simulators.trouble_kinds import KINDS, MOMENTS, Kind, moments_of, troubles_of

PAGE = Path(__file__).parents[2] / "benchday" / "docs" / "troubles.md"
BEGIN, END = "<!-- written by python -m tests.house.troubles_page -->\n", "<!-- to here -->\n"


def tables() -> str:
    """Return the tables."""
    rows = ["| `when` | the moment in which | of |", "| --- | --- | --- |"]
    for moment, words in MOMENTS.items():
        rows.append(f"| `{moment}` | {words} | {_named([m for m in MODELS if moment in moments_of(m)])} |")
    rows += [
        "",
        "| `what` | what happens | usual `when` | other moments | befalls |",
        "| --- | --- | --- | --- | --- |",
    ]
    rows += [_row(kind) for kind in KINDS.values()]
    return "\n".join(rows) + "\n"


def page() -> str:
    """Return the whole page, with fresh tables."""
    text = PAGE.read_text(encoding="utf-8")
    before, _, rest = text.partition(BEGIN)
    return f"{before}{BEGIN}\n{tables()}\n{END}{rest.partition(END)[2]}"


def _row(kind: Kind) -> str:
    needs = f" (needs {' and '.join(f'`{name}`' for name in kind.needs)})" if kind.needs else ""
    others = [moment for moment in kind.moments if moment != kind.usual]
    told = "all" if len(others) == len(MOMENTS) - 1 else ", ".join(others)
    models = [model for model in MODELS if kind in troubles_of(model)]
    return f"| `{kind.what}` | {kind.words}{needs} | {kind.usual} | {told} | {_named(models)} |"


def _named(models: list[str]) -> str:
    missing = [model for model in MODELS if model not in models]
    if not missing:
        return "all"
    return f"all but {', '.join(missing)}" if len(missing) < 3 else ", ".join(models)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
