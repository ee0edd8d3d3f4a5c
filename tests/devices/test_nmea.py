"""Sentences: published values, split input, and what must not pass."""

from __future__ import annotations

import io

import pynmeagps
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchday.devices.nmea import LONGEST_READ, Sentence, checksum, encode, scan, sky_of_gga
from benchday.domain.errors import Garbled, InputError

PUBLISHED = (
    # University of Hohenheim, teaching page on NMEA
    ("GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,", "47"),
    # printed so in many public parsers and tests
    ("GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W", "6A"),
    # NOAA PSL, PISTON 2019 cruise, raw gps file
    ("GPZDA,195959.00,16,09,2019,00,00", "6A"),
    ("GPGST,195959.00,0.30,0.35,0.20,292.62,0.23,0.33,0.71", "62"),
    ("GPHDT,228.02,T", "0F"),
    ("GPGSV,3,1,12,01,43,189,44,07,36,319,47,08,53,342,48,09,21,253,44", "7D"),
)
GGA = b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n"


@pytest.mark.parametrize(("body", "expected"), PUBLISHED)
def test_published_checksums(body: str, expected: str) -> None:
    """The checksums that others print."""
    assert f"{checksum(body.encode()):02X}" == expected
    assert scan(f"${body}*{expected}\r\n".encode()).sentences == (Sentence(tuple(body.split(","))),)


@pytest.mark.parametrize("piece", [1, 5, 1000])
def test_split_input(piece: int) -> None:
    """Whole, in pieces and byte by byte, with noise before, between and after."""
    wire = b"38.5\r\n\x00\xff" + GGA + b"noise\n" + GGA + b"$GPGG"
    buffer, found = bytearray(), 0
    for at in range(0, len(wire), piece):
        buffer += wire[at : at + piece]
        scanned = scan(buffer)
        del buffer[: scanned.used]
        found += len(scanned.sentences)
        assert not scanned.damaged
    assert (found, bytes(buffer)) == (2, b"$GPGG")


@pytest.mark.parametrize(
    "line",
    [
        GGA.replace(b"*47", b"*48"),
        GGA.replace(b"*47", b""),
        GGA.replace(b"4807", b"4808"),
        b"$*00\r\n",
        b"$\xff*FF\r\n",
    ],
)
def test_damaged_lines_are_told(line: bytes) -> None:
    """A wrong or missing checksum is damage, never a sentence."""
    scanned = scan(line)
    assert (scanned.sentences, len(scanned.damaged), scanned.used) == ((), 1, len(line))


def test_buffer_is_bounded() -> None:
    """A line without end is thrown away."""
    assert scan(b"$" + b"x" * LONGEST_READ).used == LONGEST_READ + 1
    assert scan(b"$" + b"x" * 100).used == 0


def test_long_sentences_are_read_and_not_sent() -> None:
    """83 to 86 characters occur in real logs; at most 82 are sent."""
    assert len(encode("PQFN", "x" * 71)) == 82
    with pytest.raises(InputError, match="too long for a sentence: 83 characters, at most 82"):
        encode("PQFN", "x" * 72)
    body = b"PQFN," + b"x" * 200
    assert len(scan(b"$%b*%02X\r\n" % (body, checksum(body))).sentences) == 1


@pytest.mark.parametrize("text", ["a,b", "a*b", "$", "\r", "ä"])
def test_fields_that_would_break_the_frame(text: str) -> None:
    """They are refused by name."""
    with pytest.raises(InputError, match="cannot be sent in a sentence"):
        encode("PQFN", "PUT", text)


@given(
    st.lists(
        st.text(st.characters(min_codepoint=32, max_codepoint=126, exclude_characters="$*,"), max_size=9),
        min_size=1,
        max_size=6,
    )
)
def test_round_trip(fields: list[str]) -> None:
    """What is encoded is scanned again."""
    assert scan(encode("PQFN", *fields)).sentences == (Sentence(("PQFN", *fields)),)


def test_gga() -> None:
    """48 degrees 07.038 minutes north, 11 degrees 31.000 minutes east, 8 satellites."""
    sky = sky_of_gga(scan(GGA).sentences[0])
    assert (sky.fix, sky.satellites, sky.base) == ("single", 8, None)
    assert (sky.latitude_e7, sky.longitude_e7) == (481_173_000, 115_166_667)


def test_gga_agrees_with_a_stranger() -> None:
    """pynmeagps reads the same place."""
    told = pynmeagps.NMEAReader(io.BytesIO(GGA)).read()[1]
    sky = sky_of_gga(scan(GGA).sentences[0])
    assert sky.latitude_e7 == round(told.lat * 10_000_000)
    assert sky.longitude_e7 == round(told.lon * 10_000_000)
    assert sky.height_mm == round((told.alt + told.sep) * 1000) == 592_300


@pytest.mark.parametrize(
    ("height", "millimetres"),
    [
        ("545.4,M,46.9,M", 592_300),
        ("-2.0005,M,-31.2,M", -33_200),
        ("545.4,M,,M", None),
        (",M,46.9,M", None),
        ("545.4,M", None),
        ("545.4,F,46.9,M", "!"),
        ("545.4,M,1e3,M", "!"),
        ("999999999999,M,46.9,M", "!"),
    ],
)
def test_heights_of_gga(height: str, millimetres: int | str | None) -> None:
    """Above mean sea level and the geoid's above the ellipsoid together, in metres; both or none."""
    sentence = Sentence(tuple(f"GPGGA,1,4807.038,N,01131.000,E,1,08,0.9,{height}".split(",")))
    if millimetres == "!":
        with pytest.raises(Garbled):
            sky_of_gga(sentence)
        return
    assert sky_of_gga(sentence).height_mm == millimetres


@pytest.mark.parametrize(
    ("fields", "fix", "latitude", "longitude"),
    [
        ("GNGGA,1,1234.5,S,02345.25,W,4,12,1,,,,,", "fixed", -125_750_000, -237_541_667),
        ("GNGGA,1,1234.5,S,02345.25,W,5,12,1,,,,,", "float", -125_750_000, -237_541_667),
        ("GPGGA,1,,,,,0,00,,,,,,", "none", None, None),
    ],
)
def test_gga_of_other_fixes(fields: str, fix: str, latitude: int | None, longitude: int | None) -> None:
    """South and west are negative; without a fix there is no place."""
    sky = sky_of_gga(Sentence(tuple(fields.split(","))))
    assert (sky.fix, sky.latitude_e7, sky.longitude_e7) == (fix, latitude, longitude)


@pytest.mark.parametrize(
    "fields",
    ["GPRMC,1", "GPGGA,1,4860.0,N,011,E,1,08,0,0", "GPGGA,1,x,N,01131,E,1,08,0,0", "GPGGA,1,4807,X,01131,E,1,8,0,0"],
)
def test_unreadable_gga(fields: str) -> None:
    """It is told, with the sentence."""
    with pytest.raises(Garbled, match=fields[:10]):
        sky_of_gga(Sentence(tuple(fields.split(","))))


def test_a_line_too_long_for_a_sentence_is_damage_also_if_its_sum_holds() -> None:
    """Its digits would otherwise reach whoever makes numbers of them."""
    body = b"PQFN,SATS," + b"7" * 5000
    line = b"$" + body + f"*{checksum(body):02X}\r\n".encode()
    scanned = scan(line)
    assert (scanned.sentences, scanned.used) == ((), len(line))
    assert [len(piece) for piece in scanned.damaged] == [LONGEST_READ]
