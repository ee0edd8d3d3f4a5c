"""A unit's story: what its entries say of it, kept as one value that the fold brings up to date."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from benchday.domain.steps import ON_STATION, State

_BECAME: Mapping[str, str] = {
    "begun": "the write was cut short",
    "cut": "the write was cut short",
    "unknown": "the image was sent, and whether all of it went in is not known",
    "whole": "the image went in whole, as far as is known",
    "failed": "the image went in, and the verify failed",
}
"""How a write ended, by its attempt -> in words that a reason goes on from."""


@dataclass(slots=True)
class OpenAct:
    """An act that was spent and has not ended."""

    permit: str
    act: int
    verb: str
    digest: str
    release: str | None


@dataclass(slots=True)
class UnitStory:
    """What the entries of the day say of one unit."""

    serial: str
    """As checked in: read off the label, or from the roster."""
    model: str
    customer: str
    crew: str
    role: str
    position: int
    """Its place in the list of units, for the policy's order."""
    arrives_us: int | None = None
    promised_us: int | None = None
    support_until: str | None = None
    term_renewed: str | None = None
    """Last day of the support term as a renewal of today says, with evidence."""
    renewal_unread: bool = False
    """The unit has not been identified since its support term was renewed."""
    wanted_back_us: int | None = None
    """Day time at which its crew wants it back, if that is before the day's end."""
    recalled: bool = False
    """It was ready, and waits to be served again."""
    walked_in: bool = False
    state: State = State.UNKNOWN
    since_us: int = 0
    """Day time of the last move."""
    since_seq: int = 0
    """Number of the entry of the last move: who came where first, also at the same microsecond."""
    waiting_since_us: int = 0
    """Day time at which it last asked for a station."""
    arrived_us: int | None = None
    begun_us: int | None = None
    """Day time of the first station grant."""
    ready_us: int | None = None
    ended_us: int | None = None
    """Day time at which nothing more is to be done: ready, held or absent."""
    checked_in: Mapping[str, Any] = field(default_factory=dict)
    station: str | None = None
    places: dict[str, str] = field(default_factory=dict)
    """Pool -> place it holds now."""
    served_with: str | None = None
    """Cable or adapter that last served it."""
    step_since_us: int = 0
    step_expected_us: int = 0
    charge_wanted_percent: int | None = None
    charge_ends_us: int | None = None
    identity: Mapping[str, Any] | None = None
    last_mode: str = ""
    """How it ran when it last said who it is: run or boot."""
    heard_us: int | None = None
    """Day time at which it last said who it is."""
    had: str | None = None
    """Release when it was first identified today."""
    has: str | None = None
    """Release when it was last identified."""
    reported_serial: str | None = None
    power: Mapping[str, Any] | None = None
    target: str | None = None
    route: tuple[str, ...] = ()
    """What is still to be written, in order."""
    whole_route: tuple[str, ...] = ()
    """The route as it was before the first write of today."""
    reason_code: str = ""
    target_reason: str = ""
    findings: tuple[Mapping[str, Any], ...] = ()
    remedies: list[str] = field(default_factory=list)
    """What was done about too little charge, in words."""
    pack: str | None = None
    """Number of the shop pack that was fitted last."""
    settings_before: Mapping[str, str] | None = None
    settings_saved_us: int | None = None
    """Day time at which they were saved."""
    term_before: str | None = None
    """Last day of the support term as the unit first told it today."""
    options_before: tuple[str, ...] | None = None
    """Installed options as the unit first told them today; a boot loader cannot tell them."""
    recordings: tuple[Mapping[str, Any], ...] = ()
    """On it when they were last listed."""
    ever_listed: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    """Name -> {name, bytes, sha256} of each that was on it today, as it was last listed."""
    counted: int = 0
    """The most recordings that a person has counted on it since they were last listed."""
    unlisted: int = 0
    """How many were counted on it that nobody has listed, copied or let go."""
    preserved: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    """Name -> {name, bytes, sha256} of whole copies in the archive."""
    failed_copies: dict[str, str] = field(default_factory=dict)
    let_go: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    permits: int = 0
    writes: list[str] = field(default_factory=list)
    """Releases written and verified today, in order."""
    attempts: list[dict[str, Any]] = field(default_factory=list)
    """Each write that began today: release, at_us, and how it ended as far as known."""
    open_act: OpenAct | None = None
    sent: OpenAct | None = None
    """A write that ended whole and is not verified yet."""
    verified: bool = False
    not_today: str | None = None
    """Why its service is not begun any more today."""
    sky: Mapping[str, Any] | None = None
    held_code: str | None = None
    held_reason: str | None = None
    held_lifts: str | None = None
    trouble: Mapping[str, Any] | None = None
    """The trouble that holds it, or of which it is looked at anew: facts of its entry."""
    was_cut: bool = False
    """An act began and its end is not known; settled by reading the unit back."""
    cut: OpenAct | None = None
    """The write that was cut short and is not settled."""
    broken: bool = False
    """It was read back and has no release that starts, or another than before and than was sent."""
    boots_failed: int = 0
    """How many whole images of today have left it in its boot loader."""
    looks: int = 0
    """How often it was looked at anew in vain, half written, since it last said who it is."""
    doubtful: bool = False
    """Its record was restored and may know less than it: it may be half written until it has said who it is."""
    in_vain: int = 0
    """How often since its latest act it was looked at without being verified."""
    given_up: Mapping[str, Any] | None = None
    """Why the attempts to recover it ended, with what the customer is told."""
    taken: bool = False
    """It was taken away as it is."""
    tries: dict[str, int] = field(default_factory=dict)
    """How often each step was begun since the unit came to its station."""

    @property
    def on_station(self) -> bool:
        """Tell whether it occupies a station by its state."""
        return self.state in ON_STATION

    @property
    def before(self) -> str | None:
        """Return the release that it ran before the latest write, as far as known."""
        return self.writes[-1] if self.writes else self.had

    @property
    def unsettled(self) -> bool:
        """Tell whether a write on it began and nobody has read back yet what became of it."""
        return self.was_cut or (self.sent or self.open_act) is not None

    @property
    def half_written(self) -> bool:
        """Tell whether it may hold half a release: what became of a write is not known, or not good."""
        return self.unsettled or self.broken

    @property
    def became(self) -> str:
        """Word how far the latest write of today came, as far as it is known."""
        ended = self.attempts[-1]["ended"] if self.attempts else ""
        return _BECAME.get(ended, "it may be half written")

    @property
    def sent_off(self) -> bool:
        """Tell whether it is not to be served now: not today any more, or not before it is charged."""
        return self.not_today is not None or self.charge_wanted_percent is not None

    @property
    def present(self) -> bool:
        """Tell whether it is in the house."""
        return not self.taken and self.state not in (
            State.UNKNOWN, State.EXPECTED, State.ABSENT, State.HANDED_BACK,
        )  # fmt: skip

    @property
    def outcome(self) -> str:
        """Return how the day ended for it, in the words of the demo's report."""
        match self.state:
            case State.HANDED_BACK:
                return "handed-back"
            case State.READY:
                return "ready"
            case State.HELD:
                return "held"
            case State.ABSENT | State.EXPECTED:
                return "absent"
            case _:
                return "not-begun"
