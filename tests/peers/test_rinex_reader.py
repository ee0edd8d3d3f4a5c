"""georinex, which other people wrote, reads the recordings of a unit as RINEX 3.05 observation files."""

from pathlib import Path

import georinex
import pytest

from benchday_simulators.prepare import prepare
from tests.simulators.stranger import SERIAL

pytestmark = pytest.mark.peer


@pytest.mark.filterwarnings("ignore::FutureWarning", "ignore::DeprecationWarning")
def test_a_recording_is_read_with_its_epochs_satellites_and_values(tmp_path: Path) -> None:
    prepare(tmp_path, "Millrace", SERIAL, 3, recordings=[12_000])
    path = tmp_path / "recordings" / "SITE001.rnx"
    lines = path.read_text().splitlines()
    epochs = [line for line in lines if line.startswith(">")]
    header = georinex.rinexheader(path)
    assert header["version"] == 3.05
    assert header["interval"] == 30
    data = georinex.load(path)
    assert len(data.time) == len(epochs)
    satellites = {line[:3] for line in lines[lines.index(epochs[0]) + 1 : lines.index(epochs[1])]}
    assert set(data.sv.values) == satellites
    first = lines[lines.index(epochs[0]) + 1]
    code = "C1X" if first.startswith("E") else "C1C"
    assert float(data[code].sel(sv=first[:3])[0]) == pytest.approx(float(first[3:17]))
