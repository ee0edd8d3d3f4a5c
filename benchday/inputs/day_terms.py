"""The supplier's list of support terms that a day names, as far as it speaks of units on the roster."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path

from benchday.domain.bench import DayFile
from benchday.domain.errors import Mistake
from benchday.domain.plan import TermsList
from benchday.inputs.outcome import Notice
from benchday.inputs.source import digest, plain_bytes
from benchday.inputs.terms_copy import COPY, last_copy
from benchday.inputs.terms_csv import Terms, kept_for, read_terms
from benchday.inputs.yaml_text import YamlText

KEY = "support_terms"


@dataclass(frozen=True, slots=True)
class DayTerms:
    """What was found of the list."""

    found: TermsList | None = None
    """None: the day names no list, or nothing of it can be had."""
    sha256: str = ""
    mistakes: tuple[Mistake, ...] = ()
    notices: tuple[Notice, ...] = ()


def day_terms(folder: Path, day: DayFile | None, text: YamlText, serials: Collection[str]) -> DayTerms:
    """Read the list that the day names; nothing is fetched here.

    Args:
        folder: of the day.
        day: as read; None where it could not be.
        text: of day.yaml, for pointing at the key.
        serials: of the units on the roster.
    """
    named = day.support_terms if day is not None else None
    if named is None:
        return DayTerms()
    if named.file is not None:
        return _from_file(folder, named.file, named.supplier, text, serials)
    return _from_copy(folder, named.url or "", named.supplier, serials)


def _from_file(folder: Path, name: str, supplier: str, text: YamlText, serials: Collection[str]) -> DayTerms:
    path = folder / name
    try:
        data = plain_bytes(path)
        as_of = datetime.fromtimestamp(path.stat().st_mtime, UTC).date().isoformat()
    except OSError as error:
        found = f"{name}: {'no such file' if isinstance(error, FileNotFoundError) else error.strerror or error}"
        expected = "a file with support terms that can be read, relative to the day's folder"
        return DayTerms(mistakes=(text.mistake((KEY, "file"), expected, found),))

    read = _read(data, name)
    kept, shortened = kept_for(read, serials)
    terms = TermsList(supplier, as_of, kept)
    return DayTerms(terms, digest(data), tuple(read.mistakes), (*read.notices, *shortened))


def _from_copy(folder: Path, url: str, supplier: str, serials: Collection[str]) -> DayTerms:
    copy, why_none = last_copy(folder, url)
    if copy is None:
        said = f"the list of {supplier} is not used, since {why_none}: fetch it with `benchday terms`"
        return DayTerms(notices=(Notice(COPY, 0, said),))

    read, about = _read(copy.data, COPY), copy.about
    if read.mistakes:
        # It was free of mistakes when it was saved, so an older program took what this one refuses.
        said = f"the list of {supplier} is not used: {read.mistakes[0]}; fetch it anew with `benchday terms`"
        return DayTerms(notices=(Notice(COPY, 0, said),))
    kept, shortened = kept_for(read, serials)
    failed = [Notice(COPY, 0, copy_in_use(about.fetched, about.failed))] if about.failed is not None else []
    terms = TermsList(supplier, about.fetched, kept, from_copy=about.failed is not None)
    return DayTerms(terms, about.sha256, (), (*read.notices, *shortened, *failed))


@lru_cache(maxsize=1)
def _read(data: bytes, name: str) -> Terms:
    # A running day looks at its files every two seconds, and a supplier's list may be long.
    return read_terms(data, name)


def copy_in_use(fetched: str, why: str) -> str:
    """Return the sentence that says that the last copy is used, and why."""
    return f"last fetched {fetched}; could not be fetched now: {why}"
