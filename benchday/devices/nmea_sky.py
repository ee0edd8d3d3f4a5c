"""What a stream of sentences says of the sky, of any talker: GGA, GSA, RMC and GST put together. No I/O.

Fields as public descriptions of NMEA 0183 give them (gpsd's page on NMEA): GGA 6 fix, 7 satellites, 8 HDOP, 9 height
of the antenna above mean sea level, 11 of the geoid above the ellipsoid; GSA 2 mode (1: no fix), 3 to 14 satellites,
16 HDOP, 17 VDOP; RMC 2 status (V: void); GST 6, 7 and 8 standard deviation of latitude, longitude and height in metres.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal

from benchday.devices.nmea import Sentence, sky_of_gga
from benchday.domain.errors import Garbled
from benchday.domain.readings import Identity, Mode, Sky
from benchday.domain.watch import Watch

_NUMBER = re.compile(r"[0-9]{1,6}(\.[0-9]{1,6})?")
_TALKER = re.compile(r"[A-Z]{2}(GGA|GSA|RMC|GST|TXT)")
_MOST_TEXTS = 64


@dataclass(slots=True)
class Stream:
    """What has come so far; the latest of each kind counts."""

    latest: dict[str, Sentence] = field(default_factory=dict)
    texts: dict[str, None] = field(default_factory=dict)
    talker: str = ""
    """The two letters of whoever sent the last GGA: GP, GN ..."""

    def take(self, sentence: Sentence) -> None:
        """Take a sentence; others than these are passed over."""
        match = _TALKER.fullmatch(sentence.address)
        if match is None:
            return
        kind = match[1]
        if kind == "TXT":
            if len(self.texts) < _MOST_TEXTS and len(sentence.fields) == 5:
                self.texts[sentence.fields[4]] = None
            return
        if kind == "GGA":
            self.talker = sentence.address[:2]
        self.latest[kind] = sentence

    @property
    def complete(self) -> bool:
        """Tell whether all that a position is judged by has come."""
        return {"GGA", "GSA", "RMC"} <= self.latest.keys()

    def sky(self) -> Sky | None:
        """Return what the receiver sees; None while no GGA has come.

        Raises:
            Garbled: a field is not what it should be.
        """
        gga, gsa, rmc, gst = (self.latest.get(kind) for kind in ("GGA", "GSA", "RMC", "GST"))
        if gga is None:
            return None
        seen = sky_of_gga(gga)
        void = (rmc is not None and _at(rmc, 2) == "V") or (gsa is not None and _at(gsa, 2) == "1")
        if void:
            # One that says elsewhere that it has no fix has none.
            seen = replace(seen, fix="none")
        if gsa is not None and seen.hdop_centi is None:
            seen = replace(seen, hdop_centi=scaled(_at(gsa, 16), 100))
        deviations = [scaled(_at(gst, place), 1000) for place in (6, 7)] if gst is not None else []
        known = [d for d in deviations if d is not None]
        return replace(
            seen,
            deviation_mm=round(sum(d * d for d in known) ** 0.5) if len(known) == 2 else None,
            vdop_centi=_vdop_centi(gsa),
            height_deviation_mm=scaled(_at(gst, 8), 1000) if gst is not None else None,
        )

    def identity(self, watch: Watch, model: str) -> Identity | None:
        """Return who the unit is, as far as its text sentences say; None while serial or release is missing."""
        told: Mapping[str, str | None] = {
            name: self._after(prefix) for name, prefix in watch.model_dump().items() if prefix is not None
        }
        serial, release = told.get("serial"), told.get("release")
        if not serial or not release:
            return None
        model = (told.get("model") or "") if watch.model is not None else model
        return Identity(serial, model, told.get("hardware") or "", Mode.RUN, release)

    def _after(self, prefix: str) -> str | None:
        for text in self.texts:
            if prefix in text:
                return re.split(r"[ ;]", text.split(prefix, 1)[1].strip(), maxsplit=1)[0][:60] or None
        return None


def scaled(text: str, by: int) -> int | None:
    """Return a decimal number as whole parts, rounded; None if there is none.

    Raises:
        Garbled: it is no number.
    """
    if not text:
        return None
    if not _NUMBER.fullmatch(text):
        raise Garbled(f"a sentence holds {text[:20]!r} where a number should be")
    return int((Decimal(text) * by).to_integral_value())


def _vdop_centi(gsa: Sentence | None) -> int | None:
    """Return the dilution in hundredths; what is beyond 99.99 says that it is not known."""
    found = scaled(_at(gsa, 17), 100) if gsa is not None else None
    return found if found is not None and found < 9999 else None


def _at(sentence: Sentence, place: int) -> str:
    return sentence.fields[place] if place < len(sentence.fields) else ""
