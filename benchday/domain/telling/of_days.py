"""Sentences for entries about the day and about items."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from benchday.domain.entries import Entry
from benchday.domain.telling.figures import duration, figures, local, short
from benchday.domain.telling.told import Sentence, Telling, sentence


def _started(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    files = f"its files: SHA-256 {short(f['sha256'])}"
    return sentence(f"{f['program']} started on {f['host']}", files, f"Python {f['python']}, SQLite {f['sqlite']}")


def _stopped(_: Telling, e: Entry) -> Sentence:
    return sentence(f"benchday stopped: {e.facts['why']}")


def _begun(t: Telling, e: Entry) -> Sentence:
    f = e.facts
    hours = f"open {local(f['opens_us'], t.zone)} to {local(f['closes_us'], t.zone)}"
    simulated = ("SIMULATED: instruments that do not exist",) if f["simulated"] else ()
    speed = (f"day time runs at {f['speed_milli'] / 1000:g} times real time",) if f["speed_milli"] != 1000 else ()
    return sentence(f"the day {f['day']} ({f['date']}) begins, {hours}", *simulated, *speed)


def _anchored(t: Telling, e: Entry) -> Sentence:
    f = e.facts
    return sentence(
        f"day time goes on from {local(f['at_us'], t.zone)}, at {f['speed_milli'] / 1000:g} times real time"
    )


def _stepped(_: Telling, e: Entry) -> Sentence:
    by = e.facts["by_us"]
    where = "forward" if by > 0 else "back"
    text = f"the computer's own clock went {where} by {duration(abs(by))}: it was set, or the computer slept"
    return sentence(text, "day time and durations went on evenly", mark="CLOCK")


def _restored(t: Telling, e: Entry) -> Sentence:
    f = e.facts
    copied = f"RESTORED from a copy of {local(f['copied_wall_us'], t.zone)}, which went to entry {f['through']}"
    lost = f"{f['lost']} entries after it are known to be lost" if f["lost"] else "no later entry is known of"
    units = (f"they speak of {', '.join(f['units'])}",) if f["units"] else ()
    return sentence(f"the record was {copied}; {lost}", *units, "permits given before are void", mark="RESTORED")


def _input(_: Telling, e: Entry) -> Sentence:
    return sentence(f"read {e.facts['name']}, SHA-256 {short(e.facts['sha256'])}")


def _terms(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    copy = ", the last copy" if f["from_copy"] else ""
    text = f"read the support terms of {f['supplier']}, as of {f['as_of']}{copy}: {len(f['terms'])} units of the day"
    return sentence(text, f"SHA-256 {short(f['sha256'])}")


def _images(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    number = f"image list {f['sequence']}" if f["sequence"] is not None else "image list without a number"
    signed = f"signed by {', '.join(f['signed_by'])}" if f["signed_by"] else "NOT SIGNED"
    expires = (f"expires on {f['expires']}",) if f["expires"] else ()
    return sentence(f"{number}, {signed}", f"SHA-256 {short(f['sha256'])}", *expires)


def _changed(_: Telling, e: Entry) -> Sentence:
    word = "accepted" if e.facts["accepted"] else "not accepted"
    return sentence(f"edited files were {word}", *e.facts["differences"])


def _hours(t: Telling, e: Entry) -> Sentence:
    return sentence(f"open from now on {local(e.facts['opens_us'], t.zone)} to {local(e.facts['closes_us'], t.zone)}")


def _order(t: Telling, e: Entry) -> Sentence:
    f = e.facts
    ends = f"the day ends by {local(f['end_us'], t.zone)} in 80 of 100 drawn days"
    first = f"in the order in which they come: {local(f['first_come_end_us'], t.zone)}"
    text = f"the order of {len(f['order'])} units was searched ({f['why']}): {', '.join(f['order'])}"
    return sentence(text, ends, first, f"{f['draws']} days drawn, seed {f['seed']}")


def _foreseen(t: Telling, e: Entry) -> Sentence:
    f = e.facts
    ends = [local(f[name], t.zone) for name in ("p50_us", "p80_us", "p95_us")]
    return sentence(
        f"foreseen: done by {ends[0]} as likely as not, by {ends[1]} in 80 and by {ends[2]} in 95 of 100 drawn days",
        f"{f['units']} units to be served; done by closing in {f['by_closing_permille'] / 10:g} of 100",
    )


def _at_risk(t: Telling, e: Entry) -> Sentence:
    f = e.facts
    saves = f"would save it: {f['would_save']}" if f["would_save"] else "nothing that was tried saves it"
    expected = (
        f"ready by {local(f['expected_us'], t.zone)} in 80 of 100 drawn days"
        if f["expected_us"] is not None
        else "not ready before closing in more than 20 of 100 drawn days"
    )
    text = (
        f"the promise to crew {f['crew']} ({local(f['promised_us'], t.zone)}) is at risk: it holds in "
        f"{f['holds_permille'] / 10:g} of 100 drawn days"
    )
    return sentence(text, expected, saves, mark="RISK")


def _slept(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    who = "the bench PC slept" if f["how"] == "slept" else "the program stood still"
    writing = (f"being written then: {', '.join(f['writing'])}",) if f["writing"] else ()
    return sentence(f"{who} for {duration(f['lasted_us'])}", *writing, mark="RISK" if writing else "")


def _acting(_: Telling, e: Entry) -> Sentence:
    return sentence(f"{e.facts['name']} acts from here on (through {_face(e.facts['by'])})")


def _caution(t: Telling, e: Entry) -> Sentence:
    text = str(e.facts["text"])
    shown = any(text in asked.facts["item"]["text"] for asked in t.items.values())
    return sentence(f"caution acknowledged: {e.facts['caution']}", *(() if shown else (text,)))


def _closed(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    details = [f"unit {u['serial']} stays overnight: {u['where']}" for u in f["overnight"]]
    details.append(f"packs off chargers: {'yes' if f['packs_off_chargers'] else 'NO'}")
    details += [f"cable {c['number']}: {'here' if c['present'] else 'MISSING'}" for c in f["cables_counted"]]
    return sentence("the day is closed", *details, *((f["words"],) if f["words"] else ()))


def _asked(t: Telling, e: Entry) -> Sentence:
    item = e.facts["item"]
    t.items[item["id"]] = e
    first, *rest = str(item["text"]).splitlines() or [""]
    wanted = [w["label"] + (f" ({w['unit']})" if w["unit"] else "") for w in item["wanted"]]
    details = [*rest, *([f"asked for: {'; '.join(wanted)}"] if wanted else [])]
    if item["figures"]:
        details.append(figures(item["figures"], t.zone))
    return sentence(f"item {item['id']} ({item['kind']}): {first}", *details, mark="SAFETY" if item["safety"] else "")


def _taken(_: Telling, e: Entry) -> Sentence:
    return sentence(f"item {e.facts['id']} is taken")


def _answered(t: Telling, e: Entry) -> Sentence:
    f, asked = e.facts, t.items.get(e.facts["id"])
    wanted = asked.facts["item"]["wanted"] if asked else []
    said = answer_in_words(wanted, f["value"], t.personal)
    took = f", after {duration(e.at_us - asked.at_us)}" if asked else ""
    return sentence(f"item {f['id']} answered through {_face(f['by'])}{took}: {'; '.join(said) or 'done'}")


def _voided(_: Telling, e: Entry) -> Sentence:
    return sentence(f"item {e.facts['id']} withdrawn: {e.facts['reason']}")


def answer_in_words(
    wanted: list[Mapping[str, Any]], value: Mapping[str, Any], personal: Callable[[object], str]
) -> list[str]:
    """Return each value of an answer with its label and unit; what stands beside the chain is looked up."""
    by_name = {w["name"]: w for w in wanted}
    told = []
    for name in dict.fromkeys([*by_name, *value]):
        given, want = value.get(name), by_name.get(name, {})
        if given in (None, ""):
            continue
        if isinstance(given, bool):
            text = "yes" if given else "no"
        elif want.get("personal"):
            text = personal(given)
        else:
            text = f"{given} {want.get('unit') or ''}".strip()
        told.append(f"{want.get('label', name)}: {text}")
    return told


def _face(by: str) -> str:
    return {
        "person": "the terminal, by a person",
        "pipe": "the pipe, by a program",
        "simulated": "the simulated operators",
    }.get(by, by)


SENTENCES: dict[str, Callable[[Telling, Entry], Sentence]] = {
    "program_started": _started,
    "program_stopped": _stopped,
    "clock_stepped": _stepped,
    "record_restored": _restored,
    "day_begun": _begun,
    "clock_anchored": _anchored,
    "input_read": _input,
    "terms_read": _terms,
    "images_accepted": _images,
    "input_changed": _changed,
    "hours_changed": _hours,
    "order_set": _order,
    "day_foreseen": _foreseen,
    "promise_at_risk": _at_risk,
    "pc_slept": _slept,
    "operator_acting": _acting,
    "caution_acknowledged": _caution,
    "day_closed": _closed,
    "item_asked": _asked,
    "item_taken": _taken,
    "item_answered": _answered,
    "item_voided": _voided,
}
