"""What the people of the demo say: each item's answer, from the scenario and from what the unit's display shows."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping
from typing import Any

from benchday.bench.aside.choosing import CHOICE
from benchday.demo.instruments import Bench, read_state
from benchday.domain.fold import DayState, ItemState
from benchday.domain.items import Item
from benchday.domain.recovery import AS_IT_IS, CONFIRMED, LEAVE_HELD, LOOK_AGAIN, NOT_RECOVERED, TRY_AGAIN
from benchday.domain.scenario import Coming, Scenario, ScenarioUnit
from benchday.domain.sets import SetChoice
from benchday.domain.units import wanted_characters

Answer = dict[str, Any]

MOST_LOOKS = 6
"""How often the people of the demo have an interrupted unit identified anew before they leave it held."""


class Answers:
    """Knows the scenario and can see the instruments."""

    def __init__(self, bench: Bench, scenario: Scenario) -> None:
        self._bench = bench
        self._units = {u.serial: u for u in scenario.units}
        self._lifts = {x.unit: x for x in scenario.lifts}
        self._choices = {c.crew: c for c in scenario.choices}
        self._renewals = {r.unit: r for r in scenario.renewals}

    def to(self, state: DayState, asked: ItemState) -> Answer:
        """Return the answer to an item."""
        item = asked.item
        # What wants no value is simply done.
        topic = item.topic.split(" ")[0] if item.wanted else ""
        by_topic: Mapping[str, Callable[[DayState, Item], Answer]] = {
            "check": self._check_in,
            "walk-in": self._walk_in,
            "confirm": self._confirm,
            "findings": lambda *_: {"answer": "go on", "reason": "agreed with the crew"},
            "bench": lambda *_: {"answer": "go on", "reason": "the bench PC was looked at"},
            "recording": self._recording,
            "recordings": lambda *_: {"answer": "hold"},
            "interrupted": self._interrupted,
            "refused": self._refused,
            "certificate": lambda *_: {"answer": CONFIRMED, "reason": "the crew's office gave it a new one"},
            "settings": lambda *_: {"answer": LEAVE_HELD, "reason": "the crew wants to set it itself"},
            "as": lambda *_: {"answer": AS_IT_IS, "reason": "its maker's service is asked"},
            "line": self._line,
            "set": self._set,
            "changed": lambda *_: {"answer": "accept", "reason": "agreed with the crew"},
            "choice": self._choice,
            "renewal": self._renewal,
            "failed": lambda *_: {"answer": "hand back", "reason": "the crew was told"},
            "charged": lambda _, i: {"charge_percent": self._display(i)["battery_percent"]},
            "hand": self._hand_back,
            "inputs": lambda *_: {"answer": "accept"} if item.wanted else {},
        }
        if item.topic.startswith("hand:"):
            return self._by_hand(item)
        answer = by_topic.get(topic)
        return answer(state, item) if answer is not None else {}

    def minutes_before(self, item: Item) -> int:
        """Return how long people think before they answer, beyond the work itself."""
        if item.topic.startswith("line "):
            return max((x.after_minutes for x in self._lifts.values()), default=30)
        return 0

    def _unit(self, serial: str | None) -> ScenarioUnit | None:
        return self._units.get(serial or "")

    def _display(self, item: Item) -> Mapping[str, Any]:
        shown: Mapping[str, Any] = read_state(self._bench, item.unit or "")["display"]
        return shown

    def _check_in(self, _: DayState, item: Item) -> Answer:
        unit = self._unit(item.unit)
        if unit is None or unit.coming is Coming.ABSENT:
            return {"here": "absent"}
        return {"here": "arrived", **_brought(unit)}

    def _walk_in(self, _: DayState, item: Item) -> Answer:
        unit = self._unit(str(item.figures.get("serial")))
        if unit is None:
            return {"accept": "mistake"}
        return {
            "accept": "accept",
            "model": unit.model,
            "customer": unit.customer,
            "crew": unit.crew,
            "role": unit.role.value,
            "support_until": unit.support_until,
            **_brought(unit),
        }

    def _confirm(self, state: DayState, item: Item) -> Answer:
        # Read off the unit's label, as a person would, not off the screen.
        label = str(self._display(item)["label_serial"])
        present = frozenset(s.serial for s in state.units.values() if s.present)
        return {"answer": "write", "label": wanted_characters(label, present)}

    def _recording(self, _: DayState, item: Item) -> Answer:
        unit = self._unit(item.unit)
        if unit is None or unit.lets_go is None:
            return {"answer": "hold"}
        return {"answer": "let go", "owner": unit.lets_go.said_by, "how": unit.lets_go.how}

    def _interrupted(self, state: DayState, item: Item) -> Answer:
        story = state.units.get(item.unit or "")
        if story is not None and story.held_code == NOT_RECOVERED:
            return {"answer": AS_IT_IS, "reason": "nothing that can be done here helps"}
        asked = sum((i.item.unit, i.item.topic) == (item.unit, item.topic) for i in state.items.values())
        if asked > MOST_LOOKS:
            return {"answer": LEAVE_HELD, "reason": "it does not answer; somebody else has to look"}
        return {"answer": LOOK_AGAIN, "reason": "the unit is still connected"}

    def _refused(self, state: DayState, item: Item) -> Answer:
        asked = sum((i.item.unit, i.item.topic) == (item.unit, item.topic) for i in state.items.values())
        if asked > 1:
            return {"answer": LEAVE_HELD, "reason": "it refuses it each time"}
        return {"answer": TRY_AGAIN, "reason": "it was waited until it was done"}

    def _line(self, state: DayState, item: Item) -> Answer:
        stopped = [r for k, r in state.lines_stopped.items() if item.topic == f"line {k[0]} {k[1]}"]
        lift = next((x for x in self._lifts.values() if any(x.unit in reason for reason in stopped)), None)
        return {"answer": "lift", "reason": lift.reason if lift else "looked into; the image is whole"}

    def _set(self, _: DayState, item: Item) -> Answer:
        shown = self._display(item)
        return {"fix": shown.get("fix", "none"), "base": shown.get("base") or None}

    def _choice(self, _: DayState, item: Item) -> Answer:
        chosen = self._choices.get(item.topic.removeprefix(CHOICE))
        if chosen is not None and chosen.choice.value in item.wanted[0].choices:
            return {"answer": chosen.choice.value, "reason": chosen.reason}
        return {"answer": SetChoice.SPLIT.value, "reason": "agreed with the crew"}

    def _renewal(self, _: DayState, item: Item) -> Answer:
        renewal = self._renewals[item.unit or ""]
        return {"until": renewal.until, "evidence": renewal.evidence}

    def _hand_back(self, _: DayState, item: Item) -> Answer:
        unit = self._unit(item.unit)
        return {"to": unit.brought_in.brought_by if unit and unit.brought_in else "the crew"}

    def _card(self, item: Item) -> str:
        return tempfile.mkdtemp(prefix="card-", dir=self._bench.of(item.unit or ""))

    def _by_hand(self, item: Item) -> Answer:
        whole, shown = read_state(self._bench, item.unit or ""), self._display(item)
        names = {w.name for w in item.wanted}
        values = {
            # A dark display, as a person would tell it.
            "serial": shown.get("serial") or "-",
            "model": shown.get("label_model"),
            "hardware": whole.get("hardware"),
            "mode": shown.get("mode") or "boot",
            "release": shown.get("release") or None,
            "options": ";".join(whole.get("options", ())) or None,
            "term": whole.get("term") or None,
            "charge_percent": shown.get("battery_percent"),
            "external": shown.get("external_power"),
            "full_mwh": int(whole["battery"]["full_mwh"]),
            "temperature_c": round(whole["battery"]["temperature_dk"] / 10 - 273.15),
            "count": len(shown.get("recordings", ())),
            "folder": tempfile.mkdtemp(prefix="card-", dir=self._bench.of(item.unit or ""))
            if "folder" in names
            else "",
            "settings": "; ".join(f"{n}={v}" for n, v in whole.get("settings", {}).items()) or "-",
            "result": "pass",
            "begun": True,
            "outcome": "whole",
            "up": True,
            "unmounted": True,
            "ejected": False,
            "done": True,
            "mac": shown.get("proof") or None,
            "fix": shown.get("fix", "none"),
            "satellites": shown.get("satellites", 0),
        }
        return {name: values[name] for name in names if values.get(name) is not None}


def _brought(unit: ScenarioUnit) -> Answer:
    came = unit.brought_in
    if came is None:
        return {}
    return {
        "brought_by": came.brought_by,
        "condition": came.condition,
        "missing": ", ".join(came.missing),
        "consent_release": came.release,
        "consent_erase": came.erase,
        "consent_copy": came.copying,
        "keep_days": came.keep_days,
        "charge_percent": unit.starts.charge_percent,
    }
