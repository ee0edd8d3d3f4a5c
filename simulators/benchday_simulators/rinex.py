"""Write observation files as RINEX 3.05 has them (field tables as in RINEX 3.04, epoch record included)."""

import random
from datetime import UTC, datetime, timedelta

SYSTEMS = {"G": ("C1C", "L1C", "D1C", "S1C"), "R": ("C1C", "L1C", "D1C", "S1C"), "E": ("C1X", "L1X", "D1X", "S1X")}
INTERVAL_S = 30
FIRST_DAY = datetime(2026, 3, 2, tzinfo=UTC)


def observation_file(serial: str, model: str, release: str, seed: str, about_bytes: int) -> bytes:
    """Draw an observation file of about the size asked for (never less than a header and one epoch)."""
    draw = random.Random(seed)
    satellites = sorted(f"{system}{draw.randrange(1, 25):02d}" for system in SYSTEMS for _ in range(4))
    satellites = sorted(set(satellites))
    start = FIRST_DAY + timedelta(minutes=draw.randrange(0, 200 * 24 * 60))
    text = [_header(serial, model, release, start)]
    size = len(text[0])
    epoch = start
    while True:
        text.append(_epoch(epoch, satellites, draw))
        size += len(text[-1])
        epoch += timedelta(seconds=INTERVAL_S)
        if size >= about_bytes:
            return "".join(text).encode("ascii")


def _line(data: str, label: str) -> str:
    return f"{data:<60.60}{label:<20.20}\n"


def _header(serial: str, model: str, release: str, start: datetime) -> str:
    made = start.strftime("%Y%m%d %H%M%S UTC")
    moment = f"{start.year:6d}{start.month:6d}{start.day:6d}{start.hour:6d}{start.minute:6d}{0.0:13.7f}     GPS"
    return "".join(
        [
            _line(f"{3.05:9.2f}{'':11}O{'':19}M (MIXED)", "RINEX VERSION / TYPE"),
            _line(f"{'simulated unit':<20}{'invented':<20}{made:<20}", "PGM / RUN BY / DATE"),
            _line("MARK", "MARKER NAME"),
            _line(f"{'nobody':<20}{'nowhere':<40}", "OBSERVER / AGENCY"),
            _line(f"{serial:<20.20}{model:<20.20}{release:<20.20}", "REC # / TYPE / VERS"),
            _line(f"{'1':<20}{'INVENTED':<20}", "ANT # / TYPE"),
            _line(f"{5698441.1:14.4f}{-2508716.5:14.4f}{1381000.3:14.4f}", "APPROX POSITION XYZ"),
            _line(f"{0.0:14.4f}{0.0:14.4f}{0.0:14.4f}", "ANTENNA: DELTA H/E/N"),
            *(
                _line(f"{system}  {len(types):3d}" + "".join(f" {kind}" for kind in types), "SYS / # / OBS TYPES")
                for system, types in SYSTEMS.items()
            ),
            _line(f"{float(INTERVAL_S):10.3f}", "INTERVAL"),
            _line(moment, "TIME OF FIRST OBS"),
            _line("", "END OF HEADER"),
        ]
    )


def _epoch(at: datetime, satellites: list[str], draw: random.Random) -> str:
    stamp = f"> {at.year:4d} {at.month:02d} {at.day:02d} {at.hour:02d} {at.minute:02d}{float(at.second):11.7f}  0"
    lines = [f"{stamp}{len(satellites):3d}"]
    for satellite in satellites:
        metres = draw.uniform(20.0e6, 26.0e6)
        values = (metres, metres * 5.255, draw.uniform(-4000.0, 4000.0), draw.uniform(30.0, 52.0))
        lines.append(satellite + "".join(f"{value:14.3f} {7 if n < 2 else ' '}" for n, value in enumerate(values)))
    return "\n".join(lines) + "\n"
