"""What the answers of the serial dialogue mean: fields in, readings out, no I/O."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Never

from benchday.domain.errors import Garbled
from benchday.domain.readings import Identity, Mode, PowerReading, Recording, SelfTest, Sky


def identity_of(
    who: Sequence[str], release: Sequence[str] = (), options: Sequence[str] = (), term: Sequence[str] = ()
) -> Identity:
    """Put a unit's answers on itself together; in the boot loader only the first is there."""
    if len(who) != 4 or who[3] not in tuple(Mode):
        _unreadable("ID", who)
    serial, model, hardware, mode = who
    return Identity(
        serial=serial,
        model=model,
        hardware=hardware,
        mode=Mode(mode),
        release=_first(release) or None,
        options=tuple(sorted(name for name in _first(options).split(";") if name)),
        term=_first(term) or None,
    )


def power_of(fields: Sequence[str]) -> PowerReading:
    """Read the battery's figures; capacity comes in tens of milliwatt-hours."""
    try:
        charge, error, full, mv, ma, temperature, external = (int(field) for field in fields)
    except ValueError:
        _unreadable("POWER", fields)
    if not 0 <= charge <= 100 or external not in (0, 1):
        _unreadable("POWER", fields)

    return PowerReading(
        charge_percent=charge,
        max_error_percent=error,
        full_mwh=full * 10,
        temperature_dk=temperature,
        external=external == 1,
        voltage_mv=mv,
        current_ma=ma,
    )


def recording_of(fields: Sequence[str]) -> Recording:
    """Read one line of the list of recordings."""
    if len(fields) != 2 or not fields[0] or not fields[1].isdigit():
        _unreadable("RECORDING", fields)

    return Recording(fields[0], int(fields[1]))


def digest_of(fields: Sequence[str]) -> str:
    """Read a SHA-256 in hexadecimal."""
    digest = _first(fields).lower()
    if len(digest) != 64 or set(digest) - set("0123456789abcdef"):
        _unreadable("SUM", fields)

    return digest


def setting_of(fields: Sequence[str]) -> tuple[str, str]:
    """Read one line of the list of settings."""
    if len(fields) != 2 or not fields[0]:
        _unreadable("SETTING", fields)

    return fields[0], fields[1]


def self_test_of(fields: Sequence[str]) -> SelfTest:
    """Read the outcome of the self-test."""
    if _first(fields) not in ("pass", "fail"):
        _unreadable("TEST", fields)

    return SelfTest(passed=fields[0] == "pass", words=",".join(fields[1:]))


def air_of(fields: Sequence[str]) -> Sky:
    """Read what the receiver hears and sees; the place comes from elsewhere."""
    if len(fields) != 3 or fields[0] not in ("none", "single", "float", "fixed") or not fields[2].isdigit():
        _unreadable("AIR", fields)

    return Sky(fix=fields[0], base=fields[1] or None, satellites=int(fields[2]))


def percent_of(fields: Sequence[str]) -> int:
    """Read how far the flash has come."""
    text = _first(fields)
    if not text.isdigit() or int(text) > 100:
        _unreadable("FLASH", fields)

    return int(text)


def count_of(fields: Sequence[str], name: str) -> int:
    """Read a number of bytes."""
    text = _first(fields)
    if not text.isdigit():
        _unreadable(name, fields)

    return int(text)


def _first(fields: Sequence[str]) -> str:
    return fields[0] if fields else ""


def _unreadable(name: str, fields: Sequence[str]) -> Never:
    raise Garbled(f"the unit's answer {name} cannot be read: {','.join(fields)[:80] or 'it is empty'}")
