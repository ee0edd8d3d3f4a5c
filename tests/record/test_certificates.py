"""Certificates of units' pages beside the record: kept once, never replaced, told when damaged."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchday.domain.errors import RecordDamaged
from benchday.record.certificates import FILE, KnownCertificates


def test_the_first_is_kept(tmp_path: Path) -> None:
    """Read by another program, and not replaced by a later one."""
    keys = tmp_path / "keys"
    assert KnownCertificates(keys).known("7") is None
    KnownCertificates(keys).keep("7", "a" * 64)
    KnownCertificates(keys).keep("8", "b" * 64)
    KnownCertificates(keys).keep("7", "c" * 64)
    assert [KnownCertificates(keys).known(unit) for unit in ("7", "8", "9")] == ["a" * 64, "b" * 64, None]
    assert [path.name for path in keys.iterdir()] == [FILE]


@pytest.mark.parametrize("text", ["", "[]", '{"7": 1}', "\x00"])
def test_a_damaged_file_is_told(tmp_path: Path, text: str) -> None:
    """Never taken for one that knows nobody: a changed certificate would pass."""
    (tmp_path / FILE).write_text(text)
    with pytest.raises(RecordDamaged, match="put it back from a copy"):
        KnownCertificates(tmp_path).known("7")
