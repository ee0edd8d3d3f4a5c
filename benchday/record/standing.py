"""What the entries of one bench say about permits: a fold kept in memory, so that spending need not walk the table.

Permits count only from the moment this fold was begun, by the program that runs now: a restart voids them, whether or
not the program has said so in a ``program_started`` entry. Stopped lines outlive restarts.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from benchday.domain.entries import Draft, Entry
from benchday.domain.permits import Permit, PermitStanding

PROGRAM_STARTED = "program_started"
PERMIT_GIVEN = "permit_given"
PERMIT_VOIDED = "permit_voided"
ACT_SPENT = "act_spent"
ACT_ENDED = "act_ended"
ACT_REFUSED = "act_refused"
LINE_STOPPED = "line_stopped"
LINE_LIFTED = "line_lifted"
UNIT_HELD = "unit_held"

SURVIVE_A_RESTART = (LINE_STOPPED, LINE_LIFTED)
"""The kinds that still count when a program opens a journal that another one wrote."""

_FACTS = {
    PERMIT_GIVEN: ("id", "permit"),
    PERMIT_VOIDED: ("id", "reason"),
    ACT_SPENT: ("permit", "act", "verb", "digest", "release"),
    ACT_ENDED: ("permit", "act"),
    LINE_STOPPED: ("model", "release", "reason"),
    LINE_LIFTED: ("model", "release"),
    UNIT_HELD: ("reason",),
}
"""kind -> the facts without which it cannot be taken."""


_JOURNALS_OWN = (ACT_SPENT, ACT_REFUSED)


def refuse_spending(drafts: Iterable[Draft]) -> None:
    """Check that nobody writes down by hand what only spending a permit may say.

    Raises:
        ValueError: a draft says that an act was spent or refused.
    """
    for draft in drafts:
        if draft.kind in _JOURNALS_OWN:
            raise ValueError(f"{draft.kind} is written by spending a permit, never appended")


def lacking(draft: Draft) -> str | None:
    """Say which facts an entry to be lacks, so that it is refused before it is committed; None if it lacks none."""
    missing = [name for name in _FACTS.get(draft.kind, ()) if name not in draft.facts]
    if missing:
        return f"an entry of kind {draft.kind} needs the facts {', '.join(missing)}"
    if draft.kind == PERMIT_GIVEN and "unit" not in draft.facts["permit"]:
        return "a permit names its unit"

    return None


@dataclass(slots=True)
class _Given:
    facts: dict[str, Any]
    unit: str
    voided: str | None = None
    spent: int = 0


@dataclass(slots=True)
class Standings:
    """The standing of every permit that the running program gave."""

    _permits: dict[str, _Given] = field(default_factory=dict)
    _open: dict[str, dict[tuple[str, int], str]] = field(default_factory=dict)
    _stopped: dict[tuple[str, str], str] = field(default_factory=dict)

    def add(self, entries: Iterable[Entry]) -> None:
        """Take entries in chain order; kinds that do not concern permits are passed over."""
        for entry in entries:
            turn = _TURNS.get(entry.kind)
            if turn is not None:
                turn(self, entry)

    def of(self, permit: Permit) -> PermitStanding:
        """Return what is known of this permit now."""
        given = self._permits.get(permit.id)
        if given is None or given.facts != permit.as_facts():
            return PermitStanding(given=False, voided=None, spent=0, line_stopped=None)

        return PermitStanding(
            given=True,
            voided=given.voided,
            spent=given.spent,
            line_stopped=self._why_stopped(permit, given.spent),
            open_act=next(iter(self._open.get(permit.unit, {}).values()), None),
        )

    def _why_stopped(self, permit: Permit, spent: int) -> str | None:
        if spent >= len(permit.acts):
            return None

        return self._stopped.get((permit.model, permit.acts[spent].release or ""))

    def _program_started(self, _: Entry) -> None:
        self._permits.clear()
        self._open.clear()

    def _permit_given(self, entry: Entry) -> None:
        facts = entry.facts["permit"]
        # Given twice, it stays what it was: neither fresh nor unvoided.
        self._permits.setdefault(entry.facts["id"], _Given(facts=facts, unit=facts["unit"]))

    def _permit_voided(self, entry: Entry) -> None:
        given = self._permits.get(entry.facts["id"])
        if given is not None and given.voided is None:
            given.voided = entry.facts["reason"]

    def _act_spent(self, entry: Entry) -> None:
        facts = entry.facts
        given = self._permits.get(facts["permit"])
        if given is not None:
            given.spent += 1
            what = f"{facts['verb']} {facts['release'] or facts['digest'][:12]} (entry {entry.seq})"
            self._open.setdefault(given.unit, {})[facts["permit"], facts["act"]] = what

    def _act_ended(self, entry: Entry) -> None:
        for acts in self._open.values():
            acts.pop((entry.facts["permit"], entry.facts["act"]), None)

    def _line_stopped(self, entry: Entry) -> None:
        self._stopped[entry.facts["model"], entry.facts["release"] or ""] = entry.facts["reason"]

    def _line_lifted(self, entry: Entry) -> None:
        self._stopped.pop((entry.facts["model"], entry.facts["release"] or ""), None)

    def _unit_held(self, entry: Entry) -> None:
        for given in self._permits.values():
            if given.unit == entry.unit and given.voided is None:
                given.voided = f"the unit was held: {entry.facts['reason']}"


_TURNS = {
    PROGRAM_STARTED: Standings._program_started,
    PERMIT_GIVEN: Standings._permit_given,
    PERMIT_VOIDED: Standings._permit_voided,
    ACT_SPENT: Standings._act_spent,
    ACT_ENDED: Standings._act_ended,
    LINE_STOPPED: Standings._line_stopped,
    LINE_LIFTED: Standings._line_lifted,
    UNIT_HELD: Standings._unit_held,
}
"""kind -> what it changes."""
