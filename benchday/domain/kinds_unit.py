"""Entries about one unit's way through the day."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict

from benchday.domain.facts import Facts


class UnitExpected(Facts, kind="unit_expected"):
    """A unit stands on the roster."""

    model: str
    customer: str
    crew: str
    role: str
    arrives_us: int | None
    promised_us: int | None
    support_until: str | None
    contact_ref: str | None
    note_ref: str | None
    position: int


class UnitWalkedIn(Facts, kind="unit_walked_in"):
    """A unit came that no roster expected."""

    model: str
    customer: str
    crew: str
    role: str
    support_until: str | None
    position: int
    checked_in: CheckedIn


class CheckedIn(BaseModel):
    """What was written down when a unit was brought in."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    brought_by_ref: str | None
    condition_ref: str | None
    missing: list[str]
    """Accessories of the playbook's list that did not come along."""
    consent_release: bool
    consent_erase: bool
    consent_copy: bool
    keep_days: int
    charge_percent: int | None


class UnitChanged(Facts, kind="unit_changed"):
    """Accepted edits changed what the roster says of a unit."""

    customer: str
    crew: str
    role: str
    arrives_us: int | None
    promised_us: int | None
    support_until: str | None


class UnitArrived(Facts, kind="unit_arrived"):
    """An expected unit was checked in."""

    checked_in: CheckedIn


class UnitAbsent(Facts, kind="unit_absent"):
    """An expected unit does not come."""

    reason: str


class ChargeWanted(Facts, kind="charge_wanted"):
    """A unit must be charged before it is served."""

    percent: int
    why: str


class ChargeBegun(Facts, kind="charge_begun"):
    """A unit goes on a charger."""

    charger: str
    ends_us: int


class ChargeEnded(Facts, kind="charge_ended"):
    """A unit comes off its charger."""

    charger: str
    percent: int | None


class Remedied(Facts, kind="remedied"):
    """Too little charge was remedied at the station."""

    remedy: str
    pack: str | None


class PlaceGranted(Facts, kind="place_granted"):
    """The unit got a place of a pool: a station, a cable, an adapter, a charger."""

    pool: str
    place: str


class PlaceFreed(Facts, kind="place_freed"):
    """The unit gave a place back."""

    pool: str
    place: str


class StepBegun(Facts, kind="step_begun"):
    """A step of the service begins; this is the unit's move into it."""

    step: str
    tries: int
    expected_us: int
    """How long it usually takes, microseconds."""


class StepMilestone(Facts, kind="step_milestone"):
    """How far a long step has come; at most one a minute."""

    step: str
    percent: int


class StepEnded(Facts, kind="step_ended"):
    """A step ended."""

    step: str
    outcome: str
    """done, cut, or the name of what came instead."""
    took_us: int
    """Day time."""
    took_mono_us: int
    """Real time."""


class UnitSentOff(Facts, kind="unit_sent_off"):
    """A unit leaves its station without being served and waits again."""

    why: str
    for_today: bool
    """Its service is not begun any more today."""


class UnitIdentified(Facts, kind="unit_identified"):
    """What the unit says it is."""

    serial: str
    model: str
    hardware: str
    mode: str
    release: str | None
    options: list[str]
    term: str | None
    by: str
    """driver or hand."""


class PowerRead(Facts, kind="power_read"):
    """What the unit says of its battery."""

    charge_percent: int
    max_error_percent: int | None
    full_mwh: int | None
    temperature_dk: int | None
    external: bool
    by: str


class TargetSet(Facts, kind="target_set"):
    """Which release the unit should get today, and why."""

    release: str | None
    route: list[str]
    reason_code: str
    reason: str
    back: bool = False
    """The route leads back to an older release, which a pin or a decision of a named person allows."""


class TermRenewed(Facts, kind="term_renewed"):
    """The support term of a unit was renewed, with what shows it."""

    before: str | None
    """Last day as it was known before (ISO 8601)."""
    until: str
    """Last day of the renewed term (ISO 8601)."""
    evidence_ref: str
    """What shows it: an order's number, a letter."""


class WantedBack(Facts, kind="wanted_back"):
    """The crew wants a unit back before the day's end."""

    by_us: int
    """Day time at which it must be handed back."""
    reason_ref: str | None


class UnitRegistered(Facts, kind="unit_registered"):
    """What a list that was read in says of a unit, outside any day."""

    source: str
    """Name of the list."""
    line: int
    model: str
    customer: str
    crew: str
    role: str
    release: str | None
    support_until: str | None
    serviced: str | None
    """Day of its last service (ISO 8601)."""
    made: str | None
    """Day on which it was made (ISO 8601)."""


class Checked(Facts, kind="checked"):
    """All findings of a check together."""

    findings: list[dict[str, Any]]


class SettingsSaved(Facts, kind="settings_saved"):
    """The unit's settings as they were."""

    when: str
    """before or after the write."""
    settings: dict[str, str]
    sha256: str


class RecordingsListed(Facts, kind="recordings_listed"):
    """The recordings on the unit."""

    recordings: list[dict[str, Any]]
    """name, bytes, sha256 (or null)."""
    unlisted: int = 0
    """How many more were counted on it by hand that nobody could list or copy, and nobody has let go."""


class RecordingPreserved(Facts, kind="recording_preserved"):
    """A whole copy is in the archive, re-read and compared."""

    name: str
    bytes: int
    sha256: str


class RecordingFailed(Facts, kind="recording_failed"):
    """A recording could not be copied whole."""

    name: str
    bytes: int
    why: str


class RecordingsLetGo(Facts, kind="recordings_let_go"):
    """The owner lets recordings go: lost for good."""

    recordings: list[dict[str, Any]]
    unlisted: int = 0
    """How many beside these of which only the number is known."""
    owner_ref: str | None
    how: str


class UnitVerified(Facts, kind="unit_verified"):
    """The unit is what it should be."""

    release: str
    settings_same: bool
    differences: list[str]
    self_test: str
    sky: str


class VerifyFailed(Facts, kind="verify_failed"):
    """The unit is not what it should be."""

    problems: list[str]


class UnitHeld(Facts, kind="unit_held"):
    """A unit is set aside, with the reason and what would lift it."""

    code: str
    reason: str
    lifts: str


class UnitLifted(Facts, kind="unit_lifted"):
    """A hold is lifted; the unit waits again."""

    reason: str


class InterruptSettled(Facts, kind="interrupt_settled"):
    """What reading back an interrupted unit showed: written, untouched, broken, other (another release runs)."""

    found: str
    release: str | None


class LineStopped(Facts, kind="line_stopped"):
    """No permit for this model and release until a person lifts it."""

    model: str
    release: str
    reason: str


class LineLifted(Facts, kind="line_lifted"):
    """Permits for this model and release are given again."""

    model: str
    release: str
    reason: str


class UnitReady(Facts, kind="unit_ready"):
    """The last look was taken."""

    words: str


class UnitRecalled(Facts, kind="unit_recalled"):
    """A unit that was ready waits for a station again, because its target has changed."""

    why: str


class UnitHandedBack(Facts, kind="unit_handed_back"):
    """A named person took the unit and its accessories away."""

    to_ref: str | None
    accessories: list[str]
    missing: list[str]


class SetDecided(Facts, kind="set_decided"):
    """A person chose what a crew's set does without one of its units, or with units that cannot work together."""

    crew: str
    units: list[str]
    """Members of the set."""
    choice: str
    """wait, keep, back or split; together, without an operator, once there is nothing left to choose."""
    situation: str
    """Digest of what was decided about; once that has changed, it is decided anew."""
    release: str | None
    """Release that the set keeps or goes back to; null for the others."""
    why: str
    """What made it necessary: a unit held, late, absent, wanted back early, or that cannot come along."""
    reason: str
    """Why it was chosen, in the operator's words."""


class SetProved(Facts, kind="set_proved"):
    """The set of a crew works together, or not."""

    crew: str
    units: list[str]
    fix: str
    base_heard: str
    works: bool
