"""A driver from another distribution, found by its entry point."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from benchday.devices.drivers import Place, make_driver

MODULE = """
class Heron:
    def __init__(self, place):
        self.place = place


async def make(place):
    return Heron(place)
"""


@pytest.mark.asyncio
async def test_a_plug_in_is_made_by_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An installed distribution with the entry point is enough."""
    (tmp_path / "heron_driver.py").write_text(MODULE)
    information = tmp_path / "heron_driver-1.0.dist-info"
    information.mkdir()
    (information / "METADATA").write_text("Metadata-Version: 2.1\nName: heron-driver\nVersion: 1.0\n")
    (information / "entry_points.txt").write_text("[benchday.drivers]\nheron = heron_driver:make\n")
    monkeypatch.syspath_prepend(tmp_path)
    try:
        made = await make_driver("heron", Place("somewhere"))
    finally:
        sys.modules.pop("heron_driver", None)
    assert type(made).__name__ == "Heron"
