"""The documents of the commands about images."""

from __future__ import annotations

from collections.abc import Mapping

from pydantic import BaseModel

from benchday.cli.document_parts import Document, MistakePart, NoticePart, Part


class ImagePart(Part):
    """One image of the list."""

    file: str
    release: str
    issued: str
    """Day on which the release was issued (ISO 8601)."""
    sha256: str
    bytes: int
    trial: bool
    models: list[str]
    hardware: list[str]
    """Hardware revisions that it suits; empty: all."""
    enter_from: str | None
    through: list[str]
    back_to: str | None
    source: str
    approved_by: str


class ListPart(Part):
    """The list as a whole."""

    file: str
    sha256: str
    sequence: int | None
    expires: str | None
    """Last day on which it may be used (ISO 8601)."""
    signed_by: list[str]
    """Names of bench.yaml's image_keys whose signature is good."""
    signatures_needed: int
    """0: bench.yaml names no keys, and the list counts as unsigned."""


class ImagesListDocument(Document):
    """images list [DIR] --json"""

    folder: str
    image_list: ListPart
    images: list[ImagePart]


class ImagesCheckDocument(Document):
    """images check [DIR] --json"""

    folder: str
    on: str
    """Day with which the expiry was compared (ISO 8601)."""
    image_list: ListPart | None
    """null: it cannot be read, and the mistakes say why."""
    newest_seen: int
    """Number of the newest list that the day's record has seen; 0: none."""
    mistakes: list[MistakePart]
    notices: list[NoticePart]


IMAGES_DOCUMENTS: Mapping[str, type[BaseModel]] = {
    "images-list": ImagesListDocument,
    "images-check": ImagesCheckDocument,
}
