"""What all documents have in common."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Document(BaseModel):
    """A part of a document. Digests are 64 hex digits; names that end in _us are microseconds since 1970 UTC."""

    model_config = ConfigDict(frozen=True, extra="forbid", use_attribute_docstrings=True)

    benchday: str
    """command/version; the first key of the document."""


class Part(BaseModel):
    """A value inside a document."""

    model_config = ConfigDict(frozen=True, extra="forbid", use_attribute_docstrings=True)


class MistakePart(Part):
    """One mistake in a file."""

    file: str
    line: int
    column: int
    expected: str
    found: str
    nearest: str | None


class NoticePart(Part):
    """Something worth knowing that is no mistake."""

    file: str
    line: int
    text: str
