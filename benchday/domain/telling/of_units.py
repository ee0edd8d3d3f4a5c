"""Sentences for entries about a unit's way: coming, places, steps, going."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from benchday.domain.entries import Entry
from benchday.domain.telling.figures import duration, local
from benchday.domain.telling.told import Sentence, Telling, sentence


def _expected(t: Telling, e: Entry) -> Sentence:
    f = e.facts
    details = [_belonging(f)]
    for name, label in (("arrives_us", "arrives"), ("promised_us", "promised for")):
        if f[name] is not None:
            details.append(f"{label} {local(f[name], t.zone)}")
    for name, label in (("contact_ref", "contact"), ("note_ref", "note")):
        if f[name]:
            details.append(f"{label}: {t.personal(f[name])}")
    return sentence(f"on the roster: {f['model']} of {f['customer']}", *details)


def _belonging(f: Mapping[str, Any]) -> str:
    return f"crew {f['crew'] or 'none'}, role {f['role']}, support term until {f['support_until'] or 'not known'}"


def _changed(t: Telling, e: Entry) -> Sentence:
    f = e.facts
    details = [_belonging(f)]
    for name, label in (("arrives_us", "arrives"), ("promised_us", "promised for")):
        if f[name] is not None:
            details.append(f"{label} {local(f[name], t.zone)}")
    return sentence(f"the roster was edited: of {f['customer']}", *details)


def _arrived(t: Telling, e: Entry) -> Sentence:
    return sentence("checked in", *_came(t, e.facts["checked_in"]))


def _walked_in(t: Telling, e: Entry) -> Sentence:
    f = e.facts
    text = f"walked in, on no roster: {f['model']} of {f['customer'] or 'nobody named'}"
    return sentence(text, _belonging(f), *_came(t, f["checked_in"]))


def _came(t: Telling, came: Mapping[str, Any]) -> list[str]:
    def yes(name: str) -> str:
        return "yes" if came[name] else "NO"

    details = [
        f"brought by {t.personal(came['brought_by_ref'])}; condition: {t.personal(came['condition_ref'])}",
        f"missing accessories: {', '.join(came['missing']) or 'none'}",
        f"the owner agrees to a new release: {yes('consent_release')}, to erasing: {yes('consent_erase')}",
        f"the owner agrees to copies: {yes('consent_copy')}, kept {came['keep_days']} days",
    ]
    if came["charge_percent"] is not None:
        details.append(f"charge shown: {came['charge_percent']} %")
    return details


def _absent(_: Telling, e: Entry) -> Sentence:
    return sentence(f"absent: {e.facts['reason']}")


def _charge_wanted(_: Telling, e: Entry) -> Sentence:
    return sentence(f"to be charged to {e.facts['percent']} %: {e.facts['why']}")


def _charge_begun(t: Telling, e: Entry) -> Sentence:
    return sentence(f"on charger {e.facts['charger']}, expected until {local(e.facts['ends_us'], t.zone)}")


def _charge_ended(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    at = f" at {f['percent']} %" if f["percent"] is not None else ""
    return sentence(f"off charger {f['charger']}{at}")


def _remedied(_: Telling, e: Entry) -> Sentence:
    pack = f": shop pack {e.facts['pack']}" if e.facts["pack"] else ""
    return sentence(f"too little charge remedied by {e.facts['remedy']}{pack}")


def _granted(t: Telling, e: Entry) -> Sentence:
    pool, place = e.facts["pool"], e.facts["place"]
    if pool not in ("station", "charger"):
        t.place = place
    return sentence(f"gets {pool_in_words(pool)} {place}")


def _freed(t: Telling, e: Entry) -> Sentence:
    if e.facts["place"] == t.place:
        t.place = None
    return sentence(f"gives back {pool_in_words(e.facts['pool'])} {e.facts['place']}")


def pool_in_words(pool: str) -> str:
    """Return what a pool is made of: a station, a round cable."""
    kind, _, connector = pool.partition(":")
    return f"{connector} {kind}" if connector else kind


def _step_begun(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    again = f", try {f['tries']}" if f["tries"] > 1 else ""
    return sentence(f"{f['step']} begins{again}; usually {duration(f['expected_us'])}")


def _milestone(_: Telling, e: Entry) -> Sentence:
    return sentence(f"{e.facts['step']}: {e.facts['percent']} %")


def _step_ended(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    return sentence(f"{f['step']} ended: {f['outcome']}, after {duration(f['took_us'])}")


def _sent_off(_: Telling, e: Entry) -> Sentence:
    what = "not served any more today" if e.facts["for_today"] else "leaves its station and waits again"
    return sentence(f"{what}: {e.facts['why']}")


def _held(_: Telling, e: Entry) -> Sentence:
    return sentence(f"HELD ({e.facts['code']}): {e.facts['reason']}", f"lifts it: {e.facts['lifts']}", mark="HELD")


def _lifted(_: Telling, e: Entry) -> Sentence:
    return sentence(f"hold lifted: {e.facts['reason']}")


def _ready(t: Telling, e: Entry) -> Sentence:
    note = (f"noted: {t.personal(e.facts['words'])}",) if e.facts["words"] else ()
    return sentence("last look taken: ready", *note)


def _handed_back(t: Telling, e: Entry) -> Sentence:
    f = e.facts
    details = [f"with: {', '.join(f['accessories']) or 'no accessories'}"]
    if f["missing"]:
        details.append(f"MISSING: {', '.join(f['missing'])}")
    return sentence(f"handed back to {t.personal(f['to_ref'])}", *details)


def _recalled(_: Telling, e: Entry) -> Sentence:
    return sentence(f"no longer ready, waits to be served again: {e.facts['why']}")


def _put_first(_: Telling, e: Entry) -> Sentence:
    cost = e.facts["cost_us"]
    costs = (f"the day ends {duration(cost)} later for it in 80 of 100 drawn days",) if cost else ()
    return sentence(f"goes before all others: {e.facts['reason']}", *costs, mark="DECIDED")


def _wanted_back(t: Telling, e: Entry) -> Sentence:
    reason = (f"because: {t.personal(e.facts['reason_ref'])}",) if e.facts["reason_ref"] else ()
    return sentence(f"wanted back by {local(e.facts['by_us'], t.zone)}", *reason)


def _term_renewed(t: Telling, e: Entry) -> Sentence:
    f = e.facts
    before = f"before: {f['before'] or 'not known'}"
    return sentence(
        f"support term renewed until {f['until']}", before, f"shown by: {t.personal(f['evidence_ref'])}", mark="DECIDED"
    )


def _registered(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    known = {
        "customer": f["customer"],
        "crew": f["crew"],
        "role": f["role"],
        "release": f["release"],
        "support term until": f["support_until"],
        "last serviced": f["serviced"],
        "made": f["made"],
    }
    details = [f"{name} {value}" for name, value in known.items() if value]
    return sentence(f"read into the register from {f['source']}, line {f['line']}: a {f['model']}", *details)


_CHOICES = {
    "wait": "waits for it",
    "keep": "keeps to a release that works with it",
    "back": "goes back to a release that works with it",
    "split": "goes on without it, and is left split",
    "together": "is whole again, nothing is left to choose",
}


def _set_decided(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    release = (f"release: {f['release']}",) if f["release"] else ()
    reason = (f"reason: {f['reason']}",) if f["reason"] else ()
    why = (f"because: {f['why']}",) if f["why"] else ()
    text = f"the set of crew {f['crew']} ({', '.join(f['units'])}) {_CHOICES.get(f['choice'], f['choice'])}"
    return sentence(text, *why, *release, *reason, mark="DECIDED" if e.operator else "")


def _set_proved(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    works = "works together" if f["works"] else "does NOT work together"
    return sentence(
        f"the set of crew {f['crew']} ({', '.join(f['units'])}) {works}",
        f"fix {f['fix']}, base heard: {f['base_heard'] or 'none'}",
        mark="" if f["works"] else "STOP",
    )


SENTENCES: dict[str, Callable[[Telling, Entry], Sentence]] = {
    "unit_expected": _expected,
    "unit_changed": _changed,
    "unit_arrived": _arrived,
    "unit_walked_in": _walked_in,
    "unit_absent": _absent,
    "charge_wanted": _charge_wanted,
    "charge_begun": _charge_begun,
    "charge_ended": _charge_ended,
    "remedied": _remedied,
    "place_granted": _granted,
    "place_freed": _freed,
    "step_begun": _step_begun,
    "step_milestone": _milestone,
    "step_ended": _step_ended,
    "unit_sent_off": _sent_off,
    "unit_held": _held,
    "unit_lifted": _lifted,
    "unit_ready": _ready,
    "unit_handed_back": _handed_back,
    "unit_recalled": _recalled,
    "unit_put_first": _put_first,
    "wanted_back": _wanted_back,
    "term_renewed": _term_renewed,
    "unit_registered": _registered,
    "set_decided": _set_decided,
    "set_proved": _set_proved,
}
