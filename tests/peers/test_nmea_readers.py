"""Two readers that other people wrote, pynmeagps and gpsd's gpsdecode, understand what a unit streams."""

import io
import json
import shutil
import subprocess
from pathlib import Path

import pytest
from pynmeagps import NMEAReader

from benchday_simulators.position import MARK_LATITUDE, MARK_LONGITUDE, sentences
from benchday_simulators.prepare import prepare
from benchday_simulators.unit import Air
from tests.simulators.stranger import SERIAL, Console, unit

pytestmark = pytest.mark.peer
EPOCHS = 12


def stream(air: Air) -> bytes:
    """Give the sentences of some seconds."""
    return b"".join(line for second in range(EPOCHS) for line in sentences(air, 1_772_000_000.25 + second))


@pytest.mark.parametrize("fix", ["none", "single", "float", "fixed"])
def test_pynmeagps_reads_every_sentence(fix: str) -> None:
    data = stream(Air(fix, "", 0 if fix == "none" else 14))
    read = list(NMEAReader(io.BytesIO(data), quitonerror=2))
    assert [parsed.msgID for _, parsed in read] == ["GGA", "GSA", "RMC", "ZDA"] * EPOCHS
    assert all(len(line) + 2 <= 82 for line in data.split(b"\r\n"))


def test_the_place_is_the_known_mark() -> None:
    _, gga = next(iter(NMEAReader(io.BytesIO(stream(Air("fixed", "1", 14))), quitonerror=2)))
    assert (gga.quality, gga.numSV) == (4, 14)
    assert gga.lat == pytest.approx(MARK_LATITUDE, abs=1e-6)
    assert gga.lon == pytest.approx(MARK_LONGITUDE, abs=1e-6)


def test_gpsdecode_reports_every_second() -> None:
    program = shutil.which("gpsdecode")
    assert program, "gpsdecode is missing: install gpsd's clients (Debian: apt-get install gpsd-clients)"
    done = subprocess.run([program, "-j"], input=stream(Air("fixed", "1", 14)), capture_output=True, check=True)
    # It always exits with 0: what it reports is counted.
    reports = [json.loads(line) for line in done.stdout.splitlines()]
    places = [report for report in reports if report["class"] == "TPV" and report.get("mode") == 3]
    assert len(places) >= EPOCHS - 1
    assert places[-1]["lat"] == pytest.approx(MARK_LATITUDE, abs=1e-6)


def test_what_a_unit_streams_is_read_too(tmp_path: Path) -> None:
    prepare(tmp_path / "u", "Millrace", SERIAL, 3, charge_percent=80)
    with unit("Millrace", tmp_path / "u") as process, Console(process.link) as console:
        data = b"".join(console.port.readline() for _ in range(4))
    assert [parsed.msgID for _, parsed in NMEAReader(io.BytesIO(data), quitonerror=2)] == ["GGA", "GSA", "RMC", "ZDA"]
