"""JSON Schemas of the files that a person edits, made from the models that check them."""

from __future__ import annotations

import ast
import inspect
import json
import textwrap
from collections.abc import Iterator, Mapping
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from typing import Any

from benchday.domain.bench import BenchFile, DayFile
from benchday.domain.cautions import CautionFile
from benchday.domain.errors import InputError
from benchday.domain.playbook import Playbook
from benchday.domain.releases import ImageList
from benchday.domain.scenario import Scenario
from benchday.domain.words import FileModel
from benchday.inputs.image_signing import SignatureFile
from benchday.inputs.outcome import nearest

DIALECT = "https://json-schema.org/draft/2020-12/schema"

FILES: Mapping[str, type[FileModel]] = {
    "day": DayFile,
    "bench": BenchFile,
    "images": ImageList,
    "signatures": SignatureFile,
    "playbook": Playbook,
    "cautions": CautionFile,
    "scenario": Scenario,
}
"""Name of a kind of file -> the model that checks it."""


def schema(name: str) -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a kind of file.

    Raises:
        InputError: there is no such kind.
    """
    model = FILES.get(name)
    if model is None:
        near = nearest(name, FILES)
        hint = f" (did you mean {near}?)" if near else ""
        raise InputError(f"no schema {name}{hint}; there are {', '.join(FILES)}")

    made = model.model_json_schema(by_alias=True)
    for part in (made, *made.get("$defs", {}).values()):
        _describe(part)
    return {"$schema": DIALECT, "$id": f"urn:benchday:{name}"} | made


def _describe(part: dict[str, Any]) -> None:
    """Add each field's docstring, read from the source here, so that no other command pays for reading it."""
    model = next((m for m in _models(FileModel) if m.__name__ == part.get("title")), None)
    if model is None:
        return
    (tree,) = ast.parse(textwrap.dedent(inspect.getsource(model))).body
    body = tree.body if isinstance(tree, ast.ClassDef) else []
    for field, said in pairwise(body):
        if isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name) and isinstance(said, ast.Expr):
            name = model.model_fields[field.target.id].alias or field.target.id
            if isinstance(said.value, ast.Constant) and isinstance(said.value.value, str):
                part["properties"][name].setdefault("description", inspect.cleandoc(said.value.value))


def _models(base: type[FileModel]) -> Iterator[type[FileModel]]:
    for model in base.__subclasses__():
        yield model
        yield from _models(model)


def shipped(name: str) -> dict[str, Any]:
    """Return the schema as it is shipped in a file; a test holds it equal to the models'."""
    text = (files("benchday.inputs") / "schemas" / f"{name}.json").read_text(encoding="utf-8")
    told: dict[str, Any] = json.loads(text)
    return told


def write_shipped(folder: Path) -> None:
    """Write every schema as a file, as it is shipped."""
    for name in FILES:
        (folder / f"{name}.json").write_text(text_of(name), encoding="utf-8", newline="\n")


def text_of(name: str) -> str:
    """Return a schema as its file holds it."""
    return json.dumps(schema(name), indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    write_shipped(Path(__file__).parent / "schemas")
