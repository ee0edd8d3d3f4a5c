"""The checks before a write that ask about the bench: its room, its cable, its PC, and the time left."""

from __future__ import annotations

from dataclasses import dataclass

from benchday.domain.checks import Answer, Check, Finding, worst
from benchday.domain.playbook import Playbook
from benchday.planning.checks import SPARE_BYTES
from benchday.planning.durations import RestOfWay
from benchday.planning.wording import MINUTE_US, in_bytes, in_minutes, minutes_up

PC_BATTERY_PERCENT = 30
"""Under this the bench PC's battery is not enough, whatever it says of its minutes."""
PC_CLEARS = {
    Answer.ASK: "somebody has looked at the bench PC",
    Answer.STOP: "the bench PC is on mains, kept from sleeping, and its clock is set",
}


def room(free_bytes: int | None, recordings_bytes: int, playbook: Playbook) -> Finding:
    """Answer whether the disk holds the recordings still to be preserved, and spare room beside them."""
    spare = playbook.limit(Check.ROOM, "spare_bytes", SPARE_BYTES)
    figures: dict[str, int | str] = {"recordings_bytes": recordings_bytes, "spare_bytes": spare}
    if free_bytes is None:
        text = "how much room the archive's disk has is not known: look, and confirm that it is enough"
        return Finding(Check.ROOM, Answer.ASK, text, figures, "the room on the archive's disk is known")

    figures["free_bytes"] = free_bytes
    wanted = f"{in_bytes(recordings_bytes)} of recordings and {in_bytes(spare)} to spare"
    if free_bytes < recordings_bytes + spare:
        text = f"the archive's disk has {in_bytes(free_bytes)} free, too little for {wanted}: make room on it"
        return Finding(Check.ROOM, Answer.STOP, text, figures, f"the disk has room for {wanted}")

    return Finding(Check.ROOM, Answer.CLEAR, f"{in_bytes(free_bytes)} free, enough for {wanted}", figures)


def cable(playbook: Playbook, connector: str | None, *, adapter: bool) -> Finding:
    """Answer whether the unit is joined as its playbook says.

    Args:
        playbook: of the unit.
        connector: type of the cable's connector at the station; None if there is no cable.
        adapter: the station has a Wi-Fi adapter for it.
    """
    wanted = "wi-fi" if playbook.wifi else playbook.connector or "none"
    figures: dict[str, int | str] = {"wanted": wanted, "connector": connector or "none"}
    if playbook.wifi and not adapter:
        text = "this unit is served over its own Wi-Fi, and the station has no adapter: bring one"
        return Finding(Check.CABLE, Answer.STOP, text, figures, "the station has a Wi-Fi adapter")
    if playbook.wifi or playbook.connector is None:
        how = "over its own Wi-Fi" if playbook.wifi else "by hand"
        return Finding(Check.CABLE, Answer.CLEAR, f"served {how}, no cable is needed", figures)
    if connector != playbook.connector:
        have = f"a cable with connector {connector}" if connector else "no cable"
        text = (
            f"this unit takes a cable with connector {playbook.connector}, the station has {have}: fetch the right one"
        )
        clears = f"the station has a cable with connector {playbook.connector}"
        return Finding(Check.CABLE, Answer.STOP, text, figures, clears)

    return Finding(Check.CABLE, Answer.CLEAR, f"the cable has the right connector, {connector}", figures)


@dataclass(frozen=True, slots=True)
class BenchPc:
    """What is known of the PC that runs the bench; None is not known."""

    on_mains: bool | None
    battery_percent: int | None = None
    battery_minutes: int | None = None
    """How long its battery lasts at the present draw."""
    sleep_inhibited: bool | None = None
    clock_set: bool | None = None


def bench_pc(pc: BenchPc, rest: RestOfWay | None, playbook: Playbook) -> Finding:
    """Answer whether the bench PC will last: on mains or charged beyond the rest of the way, kept awake, clock set."""
    answers = (
        _supply(pc, rest, playbook.limit(Check.BENCH_PC, "battery_percent", PC_BATTERY_PERCENT)),
        _yes(pc.sleep_inhibited, "it is kept from sleeping", "it may fall asleep: forbid it to sleep during a write"),
        _yes(pc.clock_set, "its clock is set", "its clock is not set: set it, the record's times rest on it"),
    )
    answer = worst(Finding(Check.BENCH_PC, a, text) for a, text in answers)
    said = "; ".join(text for a, text in answers if a is answer)
    figures: dict[str, int | str] = {
        "on_mains": _word(pc.on_mains),
        "sleep_inhibited": _word(pc.sleep_inhibited),
        "clock_set": _word(pc.clock_set),
    }
    if pc.battery_percent is not None:
        figures["battery_percent"] = pc.battery_percent
    if pc.battery_minutes is not None:
        figures["battery_minutes"] = pc.battery_minutes
    if rest is not None:
        figures["rest_us"] = rest.p99_us
    clears = "" if answer is Answer.CLEAR else PC_CLEARS[answer]
    return Finding(Check.BENCH_PC, answer, f"the bench PC: {said}", figures, clears)


def _supply(pc: BenchPc, rest: RestOfWay | None, least_percent: int) -> tuple[Answer, str]:
    if pc.on_mains:
        return Answer.CLEAR, "it is on mains"
    if pc.battery_percent is not None and pc.battery_percent < least_percent:
        text = f"its battery has {pc.battery_percent} %, less than {least_percent} %: connect it to mains"
        return Answer.STOP if pc.on_mains is False else Answer.ASK, text
    if pc.on_mains is None or pc.battery_minutes is None:
        return Answer.ASK, "whether it is on mains or how long its battery lasts is not known: look, and confirm it"

    needed = minutes_up(rest.p99_us) if rest is not None else 0
    if pc.battery_minutes < needed:
        return Answer.STOP, f"its battery lasts {pc.battery_minutes} min and {needed} are needed: connect it to mains"
    return Answer.CLEAR, f"its battery lasts {pc.battery_minutes} min, longer than the {needed} needed"


def _yes(known: bool | None, good: str, bad: str) -> tuple[Answer, str]:
    if known is None:
        return Answer.ASK, f"whether {good} is not known: look, and confirm it"
    return (Answer.CLEAR, good) if known else (Answer.STOP, bad)


def _word(known: bool | None) -> str:
    return {True: "yes", False: "no", None: "not known"}[known]


def closing(now_us: int, closes_us: int, rest: RestOfWay | None, *, wanted_back: bool = False) -> Finding:
    """Answer whether everything to the last verify ends before closing, or before the unit is wanted back.

    Args:
        now_us: day time, microseconds.
        closes_us: closing time, microseconds.
        rest: of the way from here to the last verify; None if nothing is to be written.
        wanted_back: that time is when the crew wants the unit back.
    """
    end = "it is wanted back" if wanted_back else "closing"
    if rest is None:
        return Finding(Check.CLOSING, Answer.CLEAR, "nothing is to be written before closing")

    left_us = closes_us - now_us
    figures: dict[str, int | str] = {"rest_us": rest.p99_us, "left_us": left_us, "time_basis": rest.basis}
    if rest.p99_us > left_us:
        past = "the time at which it is wanted back is past" if wanted_back else "closing time is past"
        left = f"{_left(left_us)} until {end}" if left_us > 0 else past
        text = f"{left}, and everything to verify takes {rest.text}: do not begin the write today"
        return Finding(Check.CLOSING, Answer.STOP, text, figures, "a day has time enough for it")

    text = f"everything to verify takes {rest.text}, {_left(left_us)} until {end}"
    return Finding(Check.CLOSING, Answer.CLEAR, text, figures)


def _left(us: int) -> str:
    """Word the time left, rounded down: nobody may count on a minute that is not whole."""
    return f"{in_minutes(us - us % MINUTE_US)} are left"
