"""Entries about the day as a whole, and the operators' queue."""

from __future__ import annotations

from typing import Any

from benchday.domain.facts import Facts


class ProgramStarted(Facts, kind="program_started"):
    """A program took the record to run a day. Voids every permit given before."""

    program: str
    sha256: str
    """Digest over the program's own files; empty where it could not be drawn up."""
    python: str
    sqlite: str
    pid: int
    host: str


class ProgramStopped(Facts, kind="program_stopped"):
    """The program ended in order."""

    why: str


class RecordRestored(Facts, kind="record_restored"):
    """A copy took the place of a damaged or lost record; what this bench recorded later is not in its chain."""

    copied_wall_us: int
    """When the copy was made."""
    through: int
    """The last entry of this bench in the copy."""
    lost: int
    """Entries of this bench that are known to be lost; more may have been."""
    units: list[str]
    """Serials that lost entries speak of, as far as they can still be read."""


class DayBegun(Facts, kind="day_begun"):
    """A day begins; everything after it belongs to that day."""

    day: str
    date: str
    opens_us: int
    closes_us: int
    time_zone: str
    simulated: bool
    seed: int
    speed_milli: int
    """Speed times 1000."""


class ClockAnchored(Facts, kind="clock_anchored"):
    """Day time goes on from here."""

    at_us: int
    wall_us: int
    speed_milli: int


class ClockStepped(Facts, kind="clock_stepped"):
    """The computer's own clock was set, or the computer slept; day time and durations go on evenly all the same."""

    by_us: int
    """How far it went beyond the time that passed, microseconds; negative: back."""
    within_us: int
    """Within how long before this entry that happened, microseconds that passed."""


class InputRead(Facts, kind="input_read"):
    """A file of the day as it was read: its digest and what it says (without personal data)."""

    name: str
    sha256: str
    says: Any


class TermsRead(Facts, kind="terms_read"):
    """A supplier's list of support terms, as far as it speaks of units of the day."""

    supplier: str
    as_of: str
    """Day of the list (ISO 8601)."""
    from_copy: bool
    """It could not be fetched; the last copy was used."""
    sha256: str
    terms: dict[str, str]
    """Serial -> last day of the support term (ISO 8601)."""


class ImagesAccepted(Facts, kind="images_accepted"):
    """The image list in use, its number and whose signatures on it are good."""

    sha256: str
    sequence: int | None
    expires: str | None
    signed_by: list[str]
    needed: int
    """How many signatures the bench asks for; 0: it knows no keys, and the list counts as unsigned."""


class InputChanged(Facts, kind="input_changed"):
    """Files of the day were edited while it ran, and the differences were accepted or not."""

    differences: list[str]
    accepted: bool


class HoursChanged(Facts, kind="hours_changed"):
    """Accepted edits moved the day's hours."""

    opens_us: int
    closes_us: int


class OrderSet(Facts, kind="order_set"):
    """In which order units go first where they ask for the same; found by searching on the forecast's own engine."""

    order: list[str]
    """Serials, first to go first; who is not in it comes after all that are."""
    why: str
    late_us: int
    """Weighted lateness against promises in the mean of the drawn days, microseconds."""
    end_us: int
    """Day time by which the day ends in 80 of 100 drawn days."""
    first_come_end_us: int
    """The same, had they gone in the order in which they come."""
    draws: int
    """Days drawn for the comparison."""
    seed: int


class DayForeseen(Facts, kind="day_foreseen"):
    """How the rest of the day looked, at its beginning and at most once an hour; told later with how it ended."""

    p50_us: int
    """Day time by which everything is done in half of the drawn days."""
    p80_us: int
    p95_us: int
    by_closing_permille: int
    """Share of drawn days in which everything is done by closing."""
    units: int
    """Units still to be served."""


class UnitPutFirst(Facts, kind="unit_put_first"):
    """An operator lets a unit go before all others, although the order says otherwise."""

    reason: str
    cost_us: int | None
    """How much later the day ends for it in 80 of 100 drawn days, microseconds; null where nobody reckoned it."""


class PromiseAtRisk(Facts, kind="promise_at_risk"):
    """A promise to a crew will probably not hold; told once."""

    crew: str
    units: list[str]
    promised_us: int
    expected_us: int | None
    """Day time by which the crew is ready in 80 of 100 drawn days; null if in fewer it is ready at all."""
    holds_permille: int
    """Share of drawn days in which the promise holds."""
    would_save: str
    """What would save it; empty if nothing that was tried does."""


class PcSlept(Facts, kind="pc_slept"):
    """The bench PC slept, or the program was stopped, while the day ran; noticed once it went on."""

    how: str
    """slept (the computer), or stood still (the program)"""
    lasted_us: int
    writing: list[str]
    """Units that were in a step without a safe stop."""


class OperatorActing(Facts, kind="operator_acting"):
    """An operator acts from here on, under their own name."""

    name: str
    by: str


class CautionAcknowledged(Facts, kind="caution_acknowledged"):
    """An operator has read a caution."""

    caution: str
    text: str


class DayClosed(Facts, kind="day_closed"):
    """The day ended."""

    overnight: list[dict[str, str]]
    """Units that stay: serial, where."""
    packs_off_chargers: bool
    cables_counted: list[dict[str, Any]]
    """Cables: number, present."""
    words: str


class ItemAsked(Facts, kind="item_asked"):
    """A person is asked for something."""

    item: dict[str, Any]


class ItemTaken(Facts, kind="item_taken"):
    """A named person takes an item so that two do not do it twice."""

    id: str


class ItemAnswered(Facts, kind="item_answered"):
    """The first answer."""

    id: str
    value: dict[str, Any]
    by: str


class ItemVoided(Facts, kind="item_voided"):
    """An item is withdrawn."""

    id: str
    reason: str
