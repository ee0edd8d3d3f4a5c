"""The certificates of units' own pages, by fingerprint, in the record's keys/: seen first, and the same ever after."""

from __future__ import annotations

import json
from pathlib import Path

from benchday.domain.errors import RecordDamaged, RecordError
from benchday.record.modes import make_folder, write_whole

FILE = "certificates.json"
"""Serial -> SHA-256 of the certificate, 64 hex digits; no secret."""


class KnownCertificates:
    """A small file, read and written whole."""

    def __init__(self, keys: Path) -> None:
        self._path = keys / FILE

    def known(self, unit: str) -> str | None:
        """Return the fingerprint that a unit was seen with first; None for one that was never seen.

        Raises:
            RecordDamaged: the file cannot be read.
        """
        return self._read().get(unit)

    def keep(self, unit: str, fingerprint: str) -> None:
        """Keep the fingerprint of a unit; one that is kept already stays.

        Raises:
            RecordError: it cannot be written; what was kept before stays.
        """
        self._write({unit: fingerprint} | self._read())

    def _write(self, told: dict[str, str]) -> None:
        try:
            make_folder(self._path.parent, parents=True)
            write_whole(self._path, json.dumps(told, indent=1, sort_keys=True) + "\n")
        except OSError as error:
            raise RecordError(f"cannot write {self._path}: {error.strerror}; check the disk, then try again") from error

    def replace(self, unit: str, fingerprint: str) -> None:
        """Keep another fingerprint of a unit; only once a person has confirmed it.

        Raises:
            RecordError: it cannot be read or written; what was kept before stays.
        """
        self._write(self._read() | {unit: fingerprint})

    def _read(self) -> dict[str, str]:
        try:
            told = json.loads(self._path.read_text(encoding="utf-8"))
        except FileNotFoundError:
            return {}
        except (OSError, ValueError, RecursionError) as error:
            raise RecordDamaged(f"{self._path} cannot be read ({error}); put it back from a copy") from error
        if not isinstance(told, dict) or not all(isinstance(value, str) for value in told.values()):
            raise RecordDamaged(f"{self._path} should hold a fingerprint for each serial; put it back from a copy")
        return told
