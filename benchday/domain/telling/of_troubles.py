"""Sentences for entries about what befell a unit, and about the end of the attempts to recover it."""

from __future__ import annotations

from collections.abc import Callable

from benchday.domain.entries import Entry
from benchday.domain.telling.told import Sentence, Telling, sentence


def _met(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    return sentence(f"{f['happening']} ({f['stage']}): {f['said']}", f"it is {f['follows']}", mark="TROUBLE")


def _ended(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    told = (f"  {line}" for line in f["account"])
    text = f"the attempts end, the unit goes back as it is: {f['reason']}"
    return sentence(text, "the customer is told:", *told, mark="DECIDED")


def _taken(t: Telling, e: Entry) -> Sentence:
    f = e.facts
    details = [f"with: {', '.join(f['accessories']) or 'no accessories'}"]
    if f["missing"]:
        details.append(f"MISSING: {', '.join(f['missing'])}")
    return sentence(f"taken as it is, NOT SERVED, by {t.personal(f['to_ref'])}", *details)


SENTENCES: dict[str, Callable[[Telling, Entry], Sentence]] = {
    "trouble_met": _met,
    "attempts_ended": _ended,
    "taken_as_it_is": _taken,
}
