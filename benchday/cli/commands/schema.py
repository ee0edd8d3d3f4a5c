"""schema: the JSON Schema of every file, entry and document."""

from __future__ import annotations

from typing import Any

from benchday.cli.documents import DOCUMENTS
from benchday.cli.exits import Exit
from benchday.cli.output import json_text
from benchday.domain.errors import InputError
from benchday.domain.kinds import schema as entry_schemas
from benchday.inputs.outcome import nearest
from benchday.inputs.schemas import DIALECT, FILES
from benchday.inputs.schemas import schema as file_schema


def schema(name: str) -> int:
    """Print the schema of that name, or without a name, all names."""
    if name:
        print(json_text(schema_of(name)))
        return Exit.DONE
    print("Files that you write:")
    _list(FILES)
    print("Documents that commands print with --json:")
    _list(DOCUMENTS)
    print("Facts of entries, by kind:")
    _list(entry_schemas())
    return Exit.DONE


def schema_of(name: str) -> dict[str, Any]:
    """Return the JSON Schema of a file, a document or a kind of entry.

    Raises:
        InputError: there is none of that name.
    """
    if name in FILES:
        return file_schema(name)
    head = {"$schema": DIALECT, "$id": f"urn:benchday:{name}"}
    if name in DOCUMENTS:
        return head | DOCUMENTS[name].model_json_schema(by_alias=True)
    entries = entry_schemas()
    if name in entries:
        return head | dict(entries[name])
    near = nearest(name, [*FILES, *DOCUMENTS, *entries])
    hint = f" (did you mean {near}?)" if near else ""
    raise InputError(f"no schema {name}{hint}; `benchday schema` lists the names")


def _list(names: Any) -> None:
    for name in names:
        print(f"  {name}")
