"""Sentences for what was read off a unit, what was found, and what was preserved."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from benchday.domain.entries import Entry
from benchday.domain.telling.figures import celsius, figures, short, size
from benchday.domain.telling.told import Sentence, Telling, sentence


def _identified(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    release = f"release {f['release']}" if f["release"] else "no release"
    mode = "running" if f["mode"] == "run" else "in its boot loader"
    details = [
        f"installed options: {', '.join(f['options']) or 'none'}",
        f"support term it knows of: {f['term'] or 'none'}",
    ]
    text = f"says it is {f['serial']}, {f['model']} hardware {f['hardware'] or 'not told'}, {mode}, {release}"
    return sentence(f"{text} (read {_by(f)})", *details)


def _power(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    told = [f"charge {f['charge_percent']} %"]
    if f["max_error_percent"] is not None:
        told.append(f"error at most {f['max_error_percent']} %")
    if f["full_mwh"] is not None:
        told.append(f"full charge {f['full_mwh']:,} mWh")
    if f["temperature_dk"] is not None:
        told.append(celsius(f["temperature_dk"]))
    told.append("on external power" if f["external"] else "on its battery")
    return sentence(f"power: {', '.join(told)} (read {_by(f)})")


def _by(f: Mapping[str, Any]) -> str:
    return "by a person" if f["by"] == "hand" else "over the line"


def _target(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    way = f", by way of {' then '.join(f['route'])}" if len(f["route"]) > 1 else ""
    stays = "" if f["route"] else " (nothing to write)"
    back = " BACK to it" if f.get("back") else ""
    return sentence(f"target today: {f['release'] or 'none'}{back}{way}{stays}: {f['reason']} ({f['reason_code']})")


def _checked(t: Telling, e: Entry) -> Sentence:
    findings = e.facts["findings"]
    stops = sum(f["answer"] == "stop" for f in findings)
    asks = sum(f["answer"] == "ask" for f in findings)
    details = []
    for f in findings:
        details.append(f"{f['answer'].upper():5} {f['check']}: {f['text']}")
        if f["figures"]:
            details.append(f"      ({figures(f['figures'], t.zone)})")
        if f.get("clears"):
            details.append(f"      until {f['clears']}")
    mark = "STOP" if stops else "ASK" if asks else ""
    return sentence(f"{len(findings)} findings: {stops} stop, {asks} ask, the rest clear", *details, mark=mark)


def _settings(t: Telling, e: Entry) -> Sentence:
    f = e.facts
    text = f"{len(f['settings'])} settings saved {f['when']} the write, SHA-256 {short(f['sha256'])}"
    if f["when"] == "before" or not t.settings_before:
        t.settings_before = dict(f["settings"])
        return sentence(text, *(f"{name} = {value}" for name, value in f["settings"].items()))
    return sentence(text, *_differences(t.settings_before, f["settings"]))


def _differences(before: Mapping[str, str], after: Mapping[str, str]) -> list[str]:
    changed = [
        f"{name}: {before.get(name, 'not there')} before, {after.get(name, 'gone')} after"
        for name in sorted({*before, *after})
        if before.get(name) != after.get(name)
    ]
    return changed or ["each as before"]


def _listed(_: Telling, e: Entry) -> Sentence:
    found, unlisted = e.facts["recordings"], e.facts.get("unlisted", 0)
    mark = "STOP" if unlisted else ""
    more = [f"{unlisted} more counted that could not be copied; names and sizes not known"] if unlisted else []
    if not found:
        return sentence("no recordings on the unit", *more, mark=mark)
    details = [f"{r['name']}, {size(r['bytes'])}, SHA-256 {short(r['sha256'])}" for r in found]
    text = f"{len(found)} recordings on the unit, {size(sum(r['bytes'] for r in found))}"
    return sentence(text, *details, *more, mark=mark)


def _preserved(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    text = f"preserved {f['name']}: whole copy in the archive, re-read and compared"
    return sentence(text, f"{size(f['bytes'])}, SHA-256 {short(f['sha256'])}")


def _failed(_: Telling, e: Entry) -> Sentence:
    f = e.facts
    return sentence(f"{f['name']} ({size(f['bytes'])}) could not be copied whole: {f['why']}", mark="STOP")


def _let_go(t: Telling, e: Entry) -> Sentence:
    f = e.facts
    details = [f"{r['name']}, {size(r['bytes'])}: LOST FOR GOOD" for r in f["recordings"]]
    if unlisted := f.get("unlisted", 0):
        details.append(f"{unlisted} of which only the number is known: LOST FOR GOOD")
    return sentence(f"let go by {t.personal(f['owner_ref'])} ({f['how'] or 'how is not told'})", *details, mark="LOST")


SENTENCES: dict[str, Callable[[Telling, Entry], Sentence]] = {
    "unit_identified": _identified,
    "power_read": _power,
    "target_set": _target,
    "checked": _checked,
    "settings_saved": _settings,
    "recordings_listed": _listed,
    "recording_preserved": _preserved,
    "recording_failed": _failed,
    "recordings_let_go": _let_go,
}
