"""Sentences for entries about permits and acts, and about what came of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from benchday.domain.entries import Entry
from benchday.domain.telling.figures import short, size
from benchday.domain.telling.told import Sentence, Telling, sentence


def _given(t: Telling, e: Entry) -> Sentence:
    p = e.facts["permit"]
    playbook = t.playbooks.get(p["playbook_digest"])
    named = f"playbook {playbook + ', ' if playbook else ''}SHA-256 {short(p['playbook_digest'])}"
    details = [*map(_act, p["acts"]), *map(_loss, p["losses"]), named, "what was shown:"]
    details += [f"  {line}" for line in e.facts["shown"].splitlines()]
    who = f"{p['operator']} confirmed" if p["confirmed_by"] == "person" else f"confirmed by {p['confirmed_by']}"
    what = f"unit {p['unit']}, {p['model']} hardware {p['hardware'] or 'not told'}"
    return sentence(f"permit {short(e.facts['id'])}: {who} for {what}", *details)


def _act(act: Mapping[str, Any]) -> str:
    release = f" (release {act['release']})" if act["release"] else ""
    return f"may {act['verb']} once: {size(act['bytes'])}, SHA-256 {short(act['digest'])}{release}"


def _loss(loss: Mapping[str, Any]) -> str:
    kept = (
        f"whole copy kept, SHA-256 {short(loss['sha256'])}" if loss["sha256"] else "LOST FOR GOOD, let go by its owner"
    )
    return f"erases {loss['name']} ({size(loss['bytes'])}): {kept}"


def _permit_voided(_: Telling, e: Entry) -> Sentence:
    return sentence(f"permit {short(e.facts['id'])} withdrawn: {e.facts['reason']}")


def _spent(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    proof = ("the unit proved itself a simulator right before",) if f["simulated_proof"] else ()
    release = f", release {f['release']}" if f["release"] else ""
    text = f"act {f['act'] + 1} of permit {short(f['permit'])} spent: {f['verb']}{release}"
    return sentence(text, f"{size(f['bytes'])}, SHA-256 {short(f['digest'])}", *proof)


def _refused(_: Telling, e: Entry) -> Sentence:
    return sentence(f"permit {short(e.facts['permit'])} refused: {e.facts['reason']}", mark="STOP")


_OUTCOMES = {
    "whole": "ended whole: the unit took every byte",
    "refused": "was refused by the unit; as far as it says, nothing was erased",
    "cut": "was CUT SHORT; the unit may be half written",
    "unknown": "ended with its outcome UNKNOWN; the unit has to be read back",
}


def _ended(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    told = _OUTCOMES.get(f["outcome"], f["outcome"])
    mark = "STOP" if f["outcome"] in ("cut", "unknown") else ""
    sent = f"{size(f['bytes'])}, SHA-256 {short(f['sha256'])}"
    return sentence(f"act {f['act'] + 1} of permit {short(f['permit'])} {told}", sent, mark=mark)


def _settled(_: Telling, e: Entry) -> Sentence:
    found = {
        "written": "the image is in",
        "untouched": "the old release runs: nothing was written",
        "broken": "it has no valid release",
        "other": "another release runs than before and than was sent",
    }
    f = e.facts
    release = f" (release {f['release']})" if f["release"] else ""
    return sentence(f"read back after the interruption: {found.get(f['found'], f['found'])}{release}")


def _verified(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    same = "settings as before" if f["settings_same"] else "settings differ"
    return sentence(
        f"verified: release {f['release']}, {same}", *f["differences"], f"self-test {f['self_test']}; sky: {f['sky']}"
    )


def _verify_failed(_: Telling, e: Entry) -> Sentence:
    return sentence("verify FAILED", *e.facts["problems"], mark="STOP")


def _line_stopped(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    return sentence(f"no further {f['model']} is put on {f['release']}: {f['reason']}", mark="STOP")


def _line_lifted(_: Telling, e: Entry) -> Sentence:
    return sentence(f"{e.facts['model']} may be put on {e.facts['release']} again: {e.facts['reason']}")


SENTENCES: dict[str, Callable[[Telling, Entry], Sentence]] = {
    "permit_given": _given,
    "permit_voided": _permit_voided,
    "act_spent": _spent,
    "act_refused": _refused,
    "act_ended": _ended,
    "interrupt_settled": _settled,
    "unit_verified": _verified,
    "verify_failed": _verify_failed,
    "line_stopped": _line_stopped,
    "line_lifted": _line_lifted,
}
