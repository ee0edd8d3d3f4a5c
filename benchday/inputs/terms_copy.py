"""The last copy of a supplier's list in the day's folder: the list as it was fetched, and what is known of it."""

from __future__ import annotations

import json
import os
import tempfile
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from benchday.domain.errors import InputError
from benchday.inputs.source import digest

COPY, ABOUT = "support-terms-copy.csv", "support-terms-copy.json"


@dataclass(frozen=True, slots=True)
class About:
    """What is known of the copy."""

    fetched: str
    """Day on which the supplier last said that this is the list (ISO 8601)."""
    url: str
    sha256: str
    etag: str | None = None
    """Entity tag as the server wrote it (RFC 9110 section 8.8.3)."""
    last_modified: str | None = None
    """As the server wrote it (RFC 9110 section 8.8.2)."""
    failed: str | None = None
    """Why it could not be fetched the last time; None if it could."""


@dataclass(frozen=True, slots=True)
class Copy:
    """The last copy, whole."""

    data: bytes
    about: About


def last_copy(folder: Path, url: str) -> tuple[Copy | None, str]:
    """Return the last copy of the list at this address, or why there is none that can be used."""
    try:
        about = About(**json.loads((folder / ABOUT).read_bytes()))
        data = (folder / COPY).read_bytes()
    except FileNotFoundError:
        return None, "it was never fetched"
    except OSError as error:
        return None, f"its last copy cannot be read ({error.strerror or error})"
    except (ValueError, TypeError, RecursionError):
        return None, f"{ABOUT} cannot be read"
    if about.url != url:
        return None, f"the last copy is of another address, {about.url}"
    if about.sha256 != digest(data):
        return None, f"{COPY} is not the list that was fetched: its digest is another"
    return Copy(data, about), ""


def save(folder: Path, copy: Copy) -> None:
    """Put a new copy in place of the last one; whatever happens meanwhile, no half of it is ever used.

    Raises:
        InputError: the folder cannot be written.
    """
    # If only the first of both gets there, the digest in the other gives it away.
    _put(folder / COPY, copy.data)
    _put(folder / ABOUT, _text(copy.about))


def save_about(folder: Path, about: About) -> None:
    """Write anew what is known of the copy.

    Raises:
        InputError: the folder cannot be written.
    """
    _put(folder / ABOUT, _text(about))


def save_failure(folder: Path, copy: Copy, why: str) -> None:
    """Note that the list could not be fetched; a folder that cannot be written does not matter here."""
    try:
        save_about(folder, replace(copy.about, failed=why))
    except InputError:
        return


def _text(about: About) -> bytes:
    return (json.dumps(asdict(about), ensure_ascii=False, indent=2) + "\n").encode()


def _put(path: Path, data: bytes) -> None:
    try:
        fd, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
        try:
            with os.fdopen(fd, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise InputError(
            f"{path} cannot be written: {error.strerror or error}; make the day's folder writable"
        ) from error
