"""JSON Schemas of the files that a person edits, made from the models that check them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

from benchday.domain.bench import BenchFile, DayFile
from benchday.domain.cautions import CautionFile
from benchday.domain.errors import InputError
from benchday.domain.playbook import Playbook
from benchday.domain.releases import ImageList
from benchday.domain.scenario import Scenario
from benchday.domain.words import FileModel
from benchday.inputs.outcome import nearest

DIALECT = "https://json-schema.org/draft/2020-12/schema"

FILES: Mapping[str, type[FileModel]] = {
    "day": DayFile,
    "bench": BenchFile,
    "images": ImageList,
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

    return {"$schema": DIALECT, "$id": f"urn:benchday:{name}"} | model.model_json_schema(by_alias=True)


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
