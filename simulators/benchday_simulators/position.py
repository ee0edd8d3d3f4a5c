"""Where the unit stands, as NMEA 0183 sentences: near a known mark that does not exist."""

import math
import random
import time

from .sentences import frame
from .unit import Air

MARK_LATITUDE = 12.5761300
MARK_LONGITUDE = -23.7613150
MARK_HEIGHT_M = 89.0
"""above the ellipsoid"""
GEOID_M = 31.2
"""the geoid above the ellipsoid there"""
HEIGHT_WORSE = 1.5
"""how much more heights scatter than places"""
QUALITY = {"none": 0, "single": 1, "fixed": 4, "float": 5}
SCATTER_M = {"none": 0.0, "single": 1.2, "float": 0.3, "fixed": 0.008}
METRES_PER_DEGREE = 111_320.0


def sentences(air: Air, at: float | None = None) -> list[bytes]:
    """Give GGA, GSA, RMC and ZDA for one moment (seconds since 1970, now when left out)."""
    moment = time.time() if at is None else at
    gmt, hundredths = time.gmtime(moment), int(moment * 100) % 100
    clock = time.strftime("%H%M%S", gmt) + f".{hundredths:02d}"
    place = _place(air, random.Random(int(moment)))
    valid = "V" if air.fix == "none" else "A"
    tracked = [f"{number:02d}" for number in range(3, 3 + min(air.satellites, 12))]
    used = ",".join(tracked + [""] * (12 - len(tracked)))
    gsa = f"GPGSA,A,3,{used},1.4,0.8,1.1" if air.satellites else f"GPGSA,A,1,{used},,,"
    return [
        frame(_gga(air, clock, place, random.Random(f"{int(moment)} height"))),
        frame(gsa),
        frame(f"GPRMC,{clock},{valid},{place},0.0,0.0,{time.strftime('%d%m%y', gmt)},,"),
        frame(f"GPZDA,{clock},{time.strftime('%d,%m,%Y', gmt)},00,00"),
    ]


def _gga(air: Air, clock: str, place: str, draw: random.Random) -> str:
    if air.fix == "none":
        return f"GPGGA,{clock},{place},0,00,,,M,,M,,"
    age = "1.0,0001" if air.fix in {"float", "fixed"} else ","
    above_sea = MARK_HEIGHT_M - GEOID_M + draw.gauss(0, HEIGHT_WORSE * SCATTER_M[air.fix])
    return f"GPGGA,{clock},{place},{QUALITY[air.fix]},{air.satellites:02d},0.8,{above_sea:.2f},M,{GEOID_M},M,{age}"


def _place(air: Air, draw: random.Random) -> str:
    if air.fix == "none":
        return ",,,"
    degrees = SCATTER_M[air.fix] / METRES_PER_DEGREE
    latitude = MARK_LATITUDE + draw.gauss(0, degrees)
    longitude = MARK_LONGITUDE + draw.gauss(0, degrees)
    north, east = "NS"[latitude < 0], "EW"[longitude < 0]
    return f"{_minutes(latitude, 2)},{north},{_minutes(longitude, 3)},{east}"


def _minutes(angle: float, digits: int) -> str:
    whole = math.floor(abs(angle))
    minutes = (abs(angle) - whole) * 60
    return f"{whole:0{digits}d}{minutes:08.5f}"
