"""How each kind of entry changes the story of its unit."""

from __future__ import annotations

from collections.abc import Callable
from sys import intern

from benchday.domain.entries import Entry
from benchday.domain.happenings import Happening, Stage
from benchday.domain.permits import Verb
from benchday.domain.readings import Mode
from benchday.domain.steps import State
from benchday.domain.story import OpenAct, UnitStory


def _arrived(story: UnitStory, entry: Entry) -> None:
    story.checked_in = entry.facts["checked_in"]
    story.arrived_us = entry.at_us
    story.ended_us = None


def _changed(story: UnitStory, entry: Entry) -> None:
    f = entry.facts
    story.customer, story.crew, story.role = f["customer"], f["crew"], f["role"]
    story.arrives_us, story.promised_us = f["arrives_us"], f["promised_us"]
    story.support_until = f["support_until"]


def _absent(story: UnitStory, entry: Entry) -> None:
    story.held_reason = entry.facts["reason"]
    story.ended_us = entry.at_us


def _charge_wanted(story: UnitStory, entry: Entry) -> None:
    story.charge_wanted_percent = entry.facts["percent"]


def _charge_begun(story: UnitStory, entry: Entry) -> None:
    story.charge_ends_us = entry.facts["ends_us"]


def _remedied(story: UnitStory, entry: Entry) -> None:
    pack = entry.facts["pack"]
    story.pack = pack or story.pack
    story.remedies.append(f"shop pack {pack} fitted" if pack else "external power connected")


def _charge_ended(story: UnitStory, entry: Entry) -> None:
    percent = entry.facts["percent"]
    story.remedies.append(f"charged to {percent} %" if percent is not None else "charged")
    story.charge_wanted_percent = None
    story.charge_ends_us = None


def _granted(story: UnitStory, entry: Entry) -> None:
    pool, place = entry.facts["pool"], entry.facts["place"]
    story.places[pool] = place
    if pool == "station":
        story.station = place
        story.tries = {}
        if story.begun_us is None:
            story.begun_us = entry.at_us
    elif pool != "charger":
        story.served_with = place


def _freed(story: UnitStory, entry: Entry) -> None:
    story.places.pop(entry.facts["pool"], None)
    if entry.facts["pool"] == "station":
        story.station = None


def _step_begun(story: UnitStory, entry: Entry) -> None:
    step = entry.facts["step"]
    story.step_since_us = entry.at_us
    story.step_expected_us = entry.facts["expected_us"]
    story.tries[step] = story.tries.get(step, 0) + 1
    if step == "identify":
        # What a person confirmed or saw before no longer counts; the unit is looked at anew.
        story.identity, story.power, story.findings = None, None, ()
        story.held_code = story.held_reason = story.held_lifts = None
        story.trouble = None
        story.ended_us = None


def _identified(story: UnitStory, entry: Entry) -> None:
    story.identity = entry.facts
    story.reported_serial = entry.facts["serial"]
    story.has = entry.facts["release"]
    story.renewal_unread, story.looks, story.doubtful = False, 0, False
    story.last_mode, story.heard_us = entry.facts["mode"], entry.at_us
    if story.options_before is None and entry.facts["mode"] == "run":
        story.options_before = tuple(entry.facts["options"])
        story.term_before = entry.facts["term"]
    if story.had is None and story.open_act is None and story.sent is None:
        story.had = entry.facts["release"]


def _power(story: UnitStory, entry: Entry) -> None:
    story.power = entry.facts


def _target(story: UnitStory, entry: Entry) -> None:
    f = entry.facts
    story.target, story.route = f["release"], tuple(f["route"])
    if not story.writes:
        # After a write of the route the reason would only say that the unit is there.
        story.whole_route = story.route
        story.reason_code, story.target_reason = f["reason_code"], f["reason"]
    elif story.recalled:
        story.whole_route = (*story.writes, *story.route)
        story.reason_code, story.target_reason = f["reason_code"], f["reason"]


def _checked(story: UnitStory, entry: Entry) -> None:
    # The same few names in every finding of hundreds of units: kept once.
    story.findings = tuple({intern(name): fact for name, fact in found.items()} for found in entry.facts["findings"])


def _settings(story: UnitStory, entry: Entry) -> None:
    if entry.facts["when"] == "before" and story.settings_before is None:
        story.settings_before = entry.facts["settings"]
        story.settings_saved_us = entry.at_us


def _listed(story: UnitStory, entry: Entry) -> None:
    story.recordings = tuple(entry.facts["recordings"])
    story.ever_listed |= {r["name"]: r for r in story.recordings}
    story.unlisted, story.counted = entry.facts.get("unlisted", 0), 0


def _preserved(story: UnitStory, entry: Entry) -> None:
    story.preserved[entry.facts["name"]] = entry.facts
    story.failed_copies.pop(entry.facts["name"], None)


def _copy_failed(story: UnitStory, entry: Entry) -> None:
    story.failed_copies[entry.facts["name"]] = entry.facts["why"]


def _let_go(story: UnitStory, entry: Entry) -> None:
    story.unlisted -= entry.facts.get("unlisted", 0)
    for recording in entry.facts["recordings"]:
        story.let_go[recording["name"]] = recording
        story.failed_copies.pop(recording["name"], None)


def _permit(story: UnitStory, _: Entry) -> None:
    story.permits += 1


def _spent(story: UnitStory, entry: Entry) -> None:
    f = entry.facts
    story.in_vain = 0
    story.open_act = OpenAct(f["permit"], f["act"], f["verb"], f["digest"], f["release"])
    if f["verb"] == Verb.WRITE_IMAGE:
        story.attempts.append({"release": f["release"], "at_us": entry.at_us, "ended": "begun"})


def _ended_as(story: UnitStory, how: str) -> None:
    if story.attempts:
        story.attempts[-1]["ended"] = how


def _act_ended(story: UnitStory, entry: Entry) -> None:
    outcome, act = entry.facts["outcome"], story.open_act
    story.open_act = None
    if act is not None and act.verb != Verb.WRITE_IMAGE:
        return
    _ended_as(story, outcome)
    if outcome == "cut":
        story.cut = act
    if outcome in ("whole", "unknown"):
        story.sent = act
    if outcome in ("cut", "unknown"):
        story.was_cut = True


def _settled(story: UnitStory, entry: Entry) -> None:
    found = entry.facts["found"]
    story.sent = (story.sent or story.open_act or story.cut) if found == "written" else None
    story.broken = found in ("broken", "other")
    story.open_act = story.cut = None
    story.was_cut = False


def _unit_verified(story: UnitStory, entry: Entry) -> None:
    story.has = entry.facts["release"]
    story.verified = True
    if story.sent is not None:
        _ended_as(story, "verified")
        story.writes.append(entry.facts["release"])
        story.recalled = False
    # The recordings that were there are gone with the write.
    story.sent, story.was_cut, story.cut, story.broken = None, False, None, False
    story.boots_failed = story.in_vain = 0


def _verify_failed(story: UnitStory, _: Entry) -> None:
    if story.sent is not None:
        _ended_as(story, "failed")
        if story.last_mode == Mode.BOOT:
            story.boots_failed += 1
            story.broken = True
    story.sent = None


def _sent_off(story: UnitStory, entry: Entry) -> None:
    if entry.facts["for_today"]:
        story.not_today = entry.facts["why"]
        story.ended_us = entry.at_us


def _held(story: UnitStory, entry: Entry) -> None:
    f = entry.facts
    story.held_code, story.held_reason, story.held_lifts = f["code"], f["reason"], f["lifts"]
    story.ended_us = entry.at_us
    if (story.trouble or {}).get("stage") == Stage.LOOK_ANEW:
        story.looks += 1


def _trouble(story: UnitStory, entry: Entry) -> None:
    story.trouble = entry.facts
    story.doubtful |= entry.facts["happening"] == Happening.RESTORED
    if entry.facts["stage"] in _UNVERIFIED:
        story.in_vain += 1


_UNVERIFIED = (Stage.RESTART, Stage.LOOK_ANEW, Stage.VERIFY)


def _attempts_ended(story: UnitStory, entry: Entry) -> None:
    story.given_up = {**entry.facts, "operator": entry.operator, "at_us": entry.at_us}
    # What was to be done until somebody decided is decided.
    story.held_reason = f"not recovered, it goes back as it is: {entry.facts['reason']}"
    story.held_lifts = "its maker's service has put it right"


def _taken(story: UnitStory, _: Entry) -> None:
    story.taken = True


def _lifted(story: UnitStory, entry: Entry) -> None:
    story.trouble = story.given_up = None
    story.held_code = story.held_reason = story.held_lifts = None
    story.ended_us = None
    story.waiting_since_us = entry.at_us


def _ready(story: UnitStory, entry: Entry) -> None:
    story.ready_us = story.ended_us = entry.at_us


def _recalled(story: UnitStory, _: Entry) -> None:
    story.recalled, story.verified = True, False
    story.ready_us = story.ended_us = None


def _renewed(story: UnitStory, entry: Entry) -> None:
    story.term_renewed, story.renewal_unread = entry.facts["until"], True


def _wanted_back(story: UnitStory, entry: Entry) -> None:
    story.wanted_back_us = entry.facts["by_us"]


def _handed_back(story: UnitStory, _: Entry) -> None:
    story.state = State.HANDED_BACK


CHANGES: dict[str, Callable[[UnitStory, Entry], None]] = {
    "unit_arrived": _arrived,
    "unit_walked_in": _arrived,
    "unit_changed": _changed,
    "unit_absent": _absent,
    "charge_wanted": _charge_wanted,
    "charge_begun": _charge_begun,
    "charge_ended": _charge_ended,
    "remedied": _remedied,
    "place_granted": _granted,
    "place_freed": _freed,
    "step_begun": _step_begun,
    "unit_identified": _identified,
    "power_read": _power,
    "target_set": _target,
    "checked": _checked,
    "settings_saved": _settings,
    "recordings_listed": _listed,
    "recording_preserved": _preserved,
    "recording_failed": _copy_failed,
    "recordings_let_go": _let_go,
    "permit_given": _permit,
    "act_spent": _spent,
    "act_ended": _act_ended,
    "interrupt_settled": _settled,
    "unit_verified": _unit_verified,
    "verify_failed": _verify_failed,
    "unit_sent_off": _sent_off,
    "trouble_met": _trouble,
    "unit_held": _held,
    "attempts_ended": _attempts_ended,
    "taken_as_it_is": _taken,
    "unit_lifted": _lifted,
    "unit_ready": _ready,
    "unit_handed_back": _handed_back,
    "unit_recalled": _recalled,
    "term_renewed": _renewed,
    "wanted_back": _wanted_back,
}
"""Kind -> change."""
