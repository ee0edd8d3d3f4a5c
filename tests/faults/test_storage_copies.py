"""Copying and restoring while storage fails at each call in turn."""

import re
from pathlib import Path

from tests.faults.storage import under_shim


def test_a_copy_and_a_restore_are_whole_or_not_at_all(tmp_path: Path) -> None:
    """At whichever call the disk fails; and the same again goes on."""
    ran = under_shim([], tmp_path, "tests.faults.storage_copies")
    assert ran.returncode == 0, ran.stdout + ran.stderr
    calls = {(what, sort): int(n) for what, sort, n in re.findall(r"(\w+): (\w+) at each of (\d+)", ran.stdout)}
    assert len(calls) == 12
    assert all(n > 0 for n in calls.values()), calls
