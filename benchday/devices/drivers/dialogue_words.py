"""What the fields of a declared dialogue mean: text in, readings out, no I/O."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal, InvalidOperation

from benchday.devices.drivers.dialogue_talk import number_of
from benchday.domain import dialogue_fields as known
from benchday.domain.dialogue import Identify, Reading
from benchday.domain.errors import Garbled
from benchday.domain.readings import Identity, Mode, PowerReading, Recording, SelfTest, Sky

_FURTHEST = Decimal(10) ** 9
"""Larger figures are damaged ones."""

Fields = Mapping[str, str]


def in_our_words(reading: Reading, fields: Fields) -> dict[str, str]:
    """Put our words for the unit's, where the playbook says what they mean.

    Raises:
        Garbled: the unit said a word that means nothing.
    """
    told = {name: reading.words.get(name, {}).get(text, text) for name, text in fields.items()}
    for name, text in told.items():
        choices = known.CHOICES.get(name)
        if choices is not None and text not in choices:
            raise Garbled(
                f"the unit's word {fields[name]!r} for {name} stands for none of {', '.join(sorted(choices))}"
            )

    return told


def identity_of(asked: Identify, fields: Fields) -> Identity:
    """Put together who the unit is."""
    told = in_our_words(asked, fields)
    return Identity(
        serial=told["serial"].strip(),
        model=told.get("model") or asked.model or "",
        hardware=told.get("hardware", asked.hardware or "").strip(),
        mode=Mode(told.get("mode") or asked.mode or "boot"),
        release=told.get("release", "").strip() or None,
        options=tuple(sorted(o.strip() for o in told.get("options", "").split(asked.separator) if o.strip())),
        term=told.get("term", "").strip() or None,
    )


def power_of(asked: Reading, fields: Fields) -> PowerReading:
    """Read the battery's figures, each in the unit that its field is named after."""
    told = in_our_words(asked, fields)
    kept = {
        known.POWER_UNITS[name].kept: _figure(name, text) for name, text in told.items() if name in known.POWER_UNITS
    }
    charge = kept.get("charge_percent", -1)
    if not 0 <= charge <= 100:
        raise Garbled(f"a charge of {charge} % cannot be")
    if kept.get("full_mwh", 1) <= 0:
        raise Garbled(f"a full pack of {kept['full_mwh']} mWh cannot be")

    return PowerReading(
        charge_percent=charge,
        max_error_percent=kept.get("max_error_percent"),
        full_mwh=kept.get("full_mwh"),
        temperature_dk=kept.get("temperature_dk"),
        external=told["external"] == "yes",
        voltage_mv=kept.get("voltage_mv"),
        current_ma=kept.get("current_ma"),
    )


def _figure(name: str, text: str) -> int:
    unit = known.POWER_UNITS[name]
    # Rounded towards less charge; whole figures stay as they are.
    return int((decimal_of(text, name) * unit.scale + unit.offset).to_integral_value("ROUND_FLOOR"))


def decimal_of(text: str, name: str) -> Decimal:
    """Read a decimal number that a unit told."""
    try:
        figure = Decimal(text.strip())
    except InvalidOperation:
        raise Garbled(f"expected a number for {name}, got {text[:40]!r}") from None
    if not figure.is_finite() or abs(figure) > _FURTHEST:
        raise Garbled(f"expected a number for {name}, got {text[:40]!r}")

    return figure


def recording_of(fields: Fields) -> Recording:
    """Read one line of the list of recordings."""
    digest = fields.get("sha256")
    return Recording(
        fields["name"].strip(), number_of(fields["bytes"], "bytes"), digest_of(digest) if digest is not None else None
    )


def digest_of(text: str) -> str:
    """Read a SHA-256 in hexadecimal."""
    digest = text.lower()
    if len(digest) != 64 or set(digest) - set("0123456789abcdef"):
        raise Garbled(f"expected a SHA-256 of 64 hexadecimal digits, got {text[:80]!r}")

    return digest


def self_test_of(asked: Reading, fields: Fields) -> SelfTest:
    """Read the outcome of the self-test."""
    told = in_our_words(asked, fields)
    return SelfTest(passed=told["result"] == "pass", words=told.get("words", "").strip())


def sky_of(asked: Reading, fields: Fields) -> Sky:
    """Read what the receiver hears and sees."""
    told = in_our_words(asked, fields)
    return Sky(
        fix=told["fix"],
        base=told.get("base", "").strip() or None,
        satellites=number_of(told["satellites"], "satellites") if "satellites" in told else 0,
        latitude_e7=_degrees_e7(told, "latitude", "NS"),
        longitude_e7=_degrees_e7(told, "longitude", "EW"),
        height_mm=_height_mm(told),
    )


def _height_mm(told: Fields) -> int | None:
    """Return the height above the ellipsoid; None where only one of its two parts is told."""
    parts = ["height_m"] if told.get("height_m", "").strip() else ["sea_level_m", "geoid_m"]
    if not all(told.get(name, "").strip() for name in parts):
        return None
    height = sum((decimal_of(told[name], name) for name in parts), Decimal(0))
    return int((height * 1000).to_integral_value())


def _degrees_e7(told: Fields, name: str, sides: str) -> int | None:
    plain, minutes = told.get(f"{name}_degrees"), told.get(f"{name}_dm")
    most = 90 if name == "latitude" else 180
    if plain is not None:
        degrees = decimal_of(plain, name)
    elif minutes:
        side = told.get(f"{name}_side", "")
        if side not in tuple(sides):
            raise Garbled(f"expected the side {' or '.join(sides)} for {name}, got {side[:10]!r}")
        figure = decimal_of(minutes, name)
        degrees = figure // 100 + (figure % 100) / 60
        degrees = -degrees if side == sides[1] else degrees
    else:
        return None
    if abs(degrees) > most:
        raise Garbled(f"a {name} of {degrees} degrees cannot be")

    return int((degrees * 10_000_000).to_integral_value())
