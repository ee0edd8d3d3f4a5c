"""What the by-hand driver asks, and what the answers mean: pure, no I/O."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import cast

from benchday.domain.items import LONGEST_TEXT, Wanted, WantedKind
from benchday.domain.permits import SpentAct
from benchday.domain.readings import Identity, Mode, PowerReading, SelfTest, Settings, Sky

Answer = Mapping[str, str | int | bool | None]

WHOLE, FAILED, UNCLEAR = "whole", "failed", "unclear"
_NONE = "-"
"""Typed where a unit has nothing of the kind: an empty answer may be one that was forgotten."""
_SETTING = r"[^=;\s][^=;]*=[^;]*"
_CONTROL = re.compile(r"[\x00-\x1f\x7f]")
_NUMBER = r"[^\x00-\x1f\x7f]{1,40}"
_HEIGHT = r"[+-]?\d{1,5}(\.\d{1,4})?"
_DEGREES = r"[+-]?\d{1,3}(\.\d{1,9})?"


@dataclass(frozen=True, slots=True)
class Question:
    """One thing asked of an operator who has the unit in hand."""

    capability: str
    """Which capability it stands in for, by its name in the seams."""
    text: str
    wanted: tuple[Wanted, ...]
    figures: Mapping[str, int | str] = field(default_factory=dict)


def read_answer(question: Question, typed: Mapping[str, object]) -> Answer:
    """Turn what was typed into values of the wanted kinds, as far as that goes."""
    read: dict[str, str | int | bool | None] = {}
    for wanted in question.wanted:
        value = typed.get(wanted.name)
        read[wanted.name] = wanted.read(value) if isinstance(value, str) else cast("int | bool | None", value)

    return read


def check_evidence(question: Question, answer: Mapping[str, object]) -> tuple[str, ...]:
    """Say everything that is wrong with an answer; empty if it will do."""
    problems = [wanted.problem(answer.get(wanted.name)) for wanted in question.wanted]
    known = {wanted.name for wanted in question.wanted}
    strangers = [f"{name} was not asked for" for name in answer if name not in known]
    strangers += [
        f"{wanted.label}: a character that cannot be shown is in it"
        for wanted in question.wanted
        if isinstance(value := answer.get(wanted.name), str) and _CONTROL.search(value, 0, LONGEST_TEXT)
    ]
    if (
        question.capability == IDENTIFY.capability
        and answer.get("mode") == Mode.RUN.value
        and not answer.get("release")
    ):
        strangers.append("Release: a unit that runs has one")
    if question.capability == POWER.capability and answer.get("charge_percent") is None and not answer.get("pack"):
        strangers.append("Charge: read it off the unit, or name the charged pack that is in it")

    return (*(problem for problem in problems if problem is not None), *strangers)


DARK = "If it shows nothing at all, type a single - for the serial, the rest off its label, and choose boot."
"""What a person is told of a unit whose display is dark."""
IDENTIFY = Question(
    "identify",
    f"Read these off the unit's own display, not off its label. {DARK}",
    (
        Wanted("serial", "Serial", pattern=r"[0-9A-Za-z-]{1,40}"),
        Wanted("model", "Model", pattern=r"[^,*$]{1,60}"),
        Wanted("hardware", "Hardware revision", required=False),
        Wanted("mode", "Does it run, or wait for a release?", WantedKind.CHOICE, choices=tuple(Mode)),
        Wanted("release", "Release", pattern=r"[0-9A-Za-z.+-]{1,40}", required=False),
        Wanted("options", "Installed options, separated by ;", required=False),
        Wanted("term", "Last day of support", WantedKind.DATE, required=False),
    ),
)
POWER = Question(
    "power",
    "Read the battery's figures off the unit.",
    (
        Wanted("charge_percent", "Charge", WantedKind.INTEGER, unit="%", lowest=0, highest=100, required=False),
        Wanted("pack", "Number of a charged pack of the shop, if you fitted one", required=False, pattern=_NUMBER),
        Wanted("external", "On external power?", WantedKind.FLAG),
        Wanted("full_mwh", "Capacity when full", WantedKind.INTEGER, unit="mWh", lowest=1, required=False),
        Wanted(
            "temperature_c", "Battery temperature", WantedKind.INTEGER, unit="C", lowest=-60, highest=90, required=False
        ),
    ),
)
RECORDINGS = Question(
    "recordings",
    "Count the recordings that the unit lists.",
    (Wanted("count", "Recordings", WantedKind.INTEGER, lowest=0, highest=100_000),),
)
FOLDER = Question(
    "fetch",
    "Copy all recordings from the unit into an empty folder of the bench PC.",
    (Wanted("folder", "Path of that folder"),),
)
SETTINGS = Question(
    "settings",
    "Read the settings off the unit, each as name=value, separated by ; and a single - if it has none.",
    (Wanted("settings", "Settings", pattern=rf"{_NONE}|{_SETTING}(;\s*{_SETTING})*;?\s*"),),
)
SELF_TEST = Question(
    "self-test",
    "Run the unit's own test.",
    (
        Wanted("result", "Result", WantedKind.CHOICE, choices=("pass", "fail")),
        Wanted("words", "What it says", required=False),
    ),
)
POSITION = Question(
    "position",
    "Read off what the receiver sees.",
    (
        Wanted("fix", "Fix", WantedKind.CHOICE, choices=("none", "single", "float", "fixed")),
        Wanted("satellites", "Satellites used", WantedKind.INTEGER, lowest=0, highest=200),
        Wanted("base", "Serial of the base it hears", required=False),
        Wanted("latitude", "Latitude in degrees, south negative", pattern=_DEGREES, required=False),
        Wanted("longitude", "Longitude in degrees, west negative", pattern=_DEGREES, required=False),
        Wanted("height", "Height above the ellipsoid in metres, if it shows that", pattern=_HEIGHT, required=False),
    ),
)


def look_again(wrong: str) -> Question:
    """Ask to put the copies right."""
    return Question(
        "recordings",
        f"The copy is not whole: {wrong}. Copy the missing ones, or take away what is not a recording.",
        (Wanted("done", "Done?", WantedKind.FLAG),),
    )


def put_settings(settings: Settings) -> Question:
    """Ask to set values on the unit."""
    wanted = "; ".join(f"{name}={value}" for name, value in settings.values.items())
    return Question("put settings", f"Set these on the unit: {wanted}", (Wanted("done", "All set?", WantedKind.FLAG),))


def begin_write(spent: SpentAct) -> Question:
    """Ask to begin the write that was permitted."""
    return Question(
        "write",
        f"Begin now: put release {spent.act.release or 'as permitted'} on unit {spent.unit}. From here on do not "
        "switch it off, and do not take its card or cable out.",
        (Wanted("begun", "Has the write begun?", WantedKind.FLAG),),
        _figures(spent),
    )


def write_ended(spent: SpentAct) -> Question:
    """Ask how the write ended."""
    return Question(
        "write",
        f"Wait until unit {spent.unit} says that the write has ended.",
        (Wanted("outcome", "How did it end?", WantedKind.CHOICE, choices=(WHOLE, FAILED, UNCLEAR)),),
        _figures(spent),
    )


def restart(unit: str) -> Question:
    """Ask to restart the unit."""
    return Question(
        "restart", f"Restart unit {unit} and wait until it is up.", (Wanted("up", "Is it up again?", WantedKind.FLAG),)
    )


def _figures(spent: SpentAct) -> Mapping[str, int | str]:
    return {"image_sha256": spent.act.digest, "image_bytes": spent.act.bytes, "release": spent.act.release or ""}


def shows_nothing(answer: Answer) -> bool:
    """Tell whether the unit shows nothing at all, which is what silence is by hand."""
    return answer.get("serial") == _NONE


def identity_of(answer: Answer) -> Identity:
    """Read the identity."""
    options = (name.strip() for name in _text(answer, "options").split(";"))
    mode = Mode(_text(answer, "mode"))
    return Identity(
        serial=_text(answer, "serial"),
        model=_text(answer, "model"),
        hardware=_text(answer, "hardware"),
        mode=mode,
        release=_text(answer, "release") or None if mode is Mode.RUN else None,
        options=tuple(sorted(name for name in options if name)),
        term=_text(answer, "term") or None,
    )


def power_of(answer: Answer, packs: Mapping[str, int]) -> PowerReading:
    """Read the battery's figures; a temperature in whole degrees Celsius becomes tenths of a kelvin.

    Raises:
        KeyError: no charge was read, and nobody knows a charged pack of that number.
    """
    celsius, pack = answer["temperature_c"], _text(answer, "pack")
    charges = [packs[pack]] if pack else []
    charges += [_whole(answer, "charge_percent")] if answer["charge_percent"] is not None else []
    return PowerReading(
        # The lesser of the two counts: a pack may have been used since it was charged.
        charge_percent=min(charges),
        max_error_percent=None,
        full_mwh=None if answer["full_mwh"] is None else _whole(answer, "full_mwh"),
        temperature_dk=None if celsius is None else 2732 + 10 * _whole(answer, "temperature_c"),
        external=answer["external"] is True,
        pack=pack or None,
    )


def count_of(answer: Answer) -> int:
    """Read the number of recordings."""
    return _whole(answer, "count")


def settings_of(answer: Answer) -> Settings:
    """Read the settings."""
    told = _text(answer, "settings").strip()
    pairs = (piece.split("=", 1) for piece in told.split(";") if piece.strip() and told != _NONE)
    return Settings({name.strip(): value.strip() for name, value in pairs})


def self_test_of(answer: Answer) -> SelfTest:
    """Read the outcome of the self-test."""
    return SelfTest(passed=answer["result"] == "pass", words=_text(answer, "words"))


def sky_of(answer: Answer) -> Sky:
    """Read what the receiver sees."""
    return Sky(
        fix=_text(answer, "fix"),
        base=_text(answer, "base") or None,
        satellites=_whole(answer, "satellites"),
        latitude_e7=_e7(_text(answer, "latitude")),
        longitude_e7=_e7(_text(answer, "longitude")),
        height_mm=int(Decimal(height) * 1000) if (height := _text(answer, "height")) else None,
    )


def _e7(text: str) -> int | None:
    return int((Decimal(text) * 10_000_000).to_integral_value()) if re.fullmatch(_DEGREES, text) else None


def _text(answer: Answer, name: str) -> str:
    value = answer[name]
    return "" if value is None else str(value)


def _whole(answer: Answer, name: str) -> int:
    value = answer[name]
    assert isinstance(value, int)  # noqa: S101  # check_evidence has seen to it
    return value
