"""Two readers that other people wrote, pynmeagps and gpsd's gpsdecode, understand what a unit streams."""

import io
import json
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
from pynmeagps import NMEAReader

from benchday.devices.nmea import scan
from benchday.devices.nmea_sky import Stream
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
    reports = decoded(stream(Air("fixed", "1", 14)))
    places = [report for report in reports if report["class"] == "TPV" and report.get("mode") == 3]
    assert len(places) >= EPOCHS - 1
    assert places[-1]["lat"] == pytest.approx(MARK_LATITUDE, abs=1e-6)


@pytest.mark.parametrize("fix", ["single", "float", "fixed"])
def test_gpsd_and_the_watcher_see_the_same(fix: str) -> None:
    data = stream(Air(fix, "1", 14))
    places = [(r["lat"], r["lon"]) for r in decoded(data) if r["class"] == "TPV" and r.get("mode") == 3]
    ours, seen = Stream(), []
    for sentence in scan(data).sentences:
        ours.take(sentence)
        if sentence.address.endswith("GGA") and (sky := ours.sky()) is not None:
            seen.append(((sky.latitude_e7 or 0) / 1e7, (sky.longitude_e7 or 0) / 1e7))
    assert len(places) >= EPOCHS - 1
    # It begins to report in the first or second of them, as it finds where a second ends.
    offset = min((0, 1), key=lambda n: abs(places[0][0] - seen[n][0]) + abs(places[0][1] - seen[n][1]))
    for theirs, our in zip(places, seen[offset:], strict=False):
        assert theirs == pytest.approx(our, abs=1e-7)


def decoded(data: bytes) -> list[dict[str, Any]]:
    """Give what gpsd makes of a stream. It always exits with 0: what it reports is counted."""
    program = shutil.which("gpsdecode")
    assert program, "gpsdecode is missing: install gpsd's clients (Debian: apt-get install gpsd-clients)"
    done = subprocess.run([program, "-j"], input=data, capture_output=True, check=True)
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_both_refuse_a_wrong_checksum_and_we_a_missing_one() -> None:
    """gpsd takes a sentence without a checksum; the watcher does not."""
    data = stream(Air("fixed", "1", 14))
    wrong = re.sub(rb"\*([0-9A-F]{2})", lambda m: b"*%02X" % (int(m[1], 16) ^ 1), data)
    assert scan(wrong).sentences == ()
    assert not [report for report in decoded(wrong) if report["class"] == "TPV"]
    missing = re.sub(rb"\*[0-9A-F]{2}", b"", data)
    assert scan(missing).sentences == ()
    assert [report for report in decoded(missing) if report["class"] == "TPV"]


def test_what_a_unit_streams_is_read_too(tmp_path: Path) -> None:
    prepare(tmp_path / "u", "Millrace", SERIAL, 3, charge_percent=80)
    with unit("Millrace", tmp_path / "u") as process, Console(process.link) as console:
        data = b"".join(console.port.readline() for _ in range(4))
    assert [parsed.msgID for _, parsed in NMEAReader(io.BytesIO(data), quitonerror=2)] == ["GGA", "GSA", "RMC", "ZDA"]
