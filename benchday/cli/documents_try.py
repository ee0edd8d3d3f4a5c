"""The document of try."""

from __future__ import annotations

from collections.abc import Mapping

from pydantic import BaseModel

from benchday.cli.document_parts import Document, Part


class FieldPart(Part):
    """Something that came out."""

    name: str
    value: str
    unit: str
    """Empty where it has none."""


class NotedPart(Part):
    """A stretch of bytes on the line."""

    at_us: int
    """Real microseconds since the trial began."""
    who: str
    """said, heard or note."""
    text: str
    """Control characters and everything beyond ASCII in angles, like <CR>."""


class TriedPart(Part):
    """What became of one capability."""

    capability: str
    outcome: str
    """works, fails, left out or by hand."""
    words: str
    """Why it fails or was left out; what was expected and what came."""
    took_us: int
    fields: list[FieldPart]
    said_bytes: int
    heard_bytes: int
    line: list[NotedPart]
    """The first stretches and the last ones."""


class TryDocument(Document):
    """try PLAYBOOK PORT --json"""

    playbook: str
    driver: str
    port: str
    works: bool
    """Every capability that was tried works."""
    capabilities: list[TriedPart]


TRY_DOCUMENTS: Mapping[str, type[BaseModel]] = {"try": TryDocument}
