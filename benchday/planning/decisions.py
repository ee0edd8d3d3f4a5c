"""What needs a person before or during the day, as far as targets say: questions, and what may be chosen."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from benchday.domain.checks import Answer, Check
from benchday.domain.releases import Image
from benchday.domain.sets import SetChoice
from benchday.planning.crews import CrewSet
from benchday.planning.rules import PLAIN, Rules
from benchday.planning.target import Target, UnitNow
from benchday.planning.targets import Store, of_crew
from benchday.planning.wording import listed


@dataclass(frozen=True, slots=True)
class SetOption:
    """One thing that a person can choose for a crew's set."""

    choice: SetChoice
    text: str
    """One sentence: what would happen."""
    targets: Mapping[str, str | None]
    """Serial -> release on which each unit of the set would end; None if nothing can be said."""


@dataclass(frozen=True, slots=True)
class SetQuestion:
    """What a person has to decide about a crew's set."""

    crew: str
    why: tuple[str, ...]
    """One sentence for each unit that does not come along, or cannot work with the others."""
    situation: str
    """Digest of what is decided about (64 hex digits): an equal situation need not be asked twice."""
    options: tuple[SetOption, ...]

    def option(self, choice: SetChoice) -> SetOption | None:
        """Return what this choice would do, None if it is not offered."""
        return next((o for o in self.options if o.choice is choice), None)


@dataclass(frozen=True, slots=True)
class Decision:
    """One thing that needs a person, with all units it speaks of."""

    check: Check
    answer: Answer
    """Ask or stop."""
    units: tuple[str, ...]
    """Serials, in the order of the units."""
    crew: str | None
    """The crew, where it is about its set; else None."""
    question: str
    """One sentence."""
    clears: str
    """What would make it clear; follows "held until"."""
    set_question: SetQuestion | None = None
    """What may be chosen, where it is about a set."""


def set_question(
    crew: str, units: Sequence[UnitNow], images: Sequence[Image], on: str | None = None, rules: Rules = PLAIN
) -> SetQuestion | None:
    """Return what a person has to decide about this crew's set, None if there is nothing to decide.

    Args:
        crew: whose set it is.
        units: of the day; those of other crews are passed over.
        images: the image store's list.
        on: day for which it is asked (ISO 8601).
        rules: as for targets; a choice made for this crew is passed over.
    """
    its_units = [unit for unit in units if unit.crew == crew]
    return _Asking(crew, its_units, Store(its_units, images, on, rules)).question()


def decisions(
    units: Sequence[UnitNow],
    found: Sequence[Target],
    images: Sequence[Image],
    on: str | None = None,
    rules: Rules = PLAIN,
) -> tuple[Decision, ...]:
    """Return what needs a person, each thing once: what stops first, then what asks, in the order of the units.

    Args:
        units: all units of the day.
        found: their targets, in the same order.
        images: the image store's list.
        on: day for which it is asked (ISO 8601).
        rules: by which the targets were worked out.
    """
    crews = list(_about_sets(units, found, images, on, rules))
    alone = _about_units(found)
    return tuple(sorted([*alone, *crews], key=lambda decision: decision.answer is not Answer.STOP))


def _about_units(found: Sequence[Target]) -> list[Decision]:
    """Return what stands against units by themselves; what is said in the same words is decided once."""
    groups: dict[tuple[Check, Answer, str, str], list[str]] = {}
    for target in found:
        for finding in target.findings:
            if finding.answer is not Answer.CLEAR and finding.check is not Check.SET:
                key = (finding.check, finding.answer, finding.text, finding.clears)
                groups.setdefault(key, []).append(target.unit)
    return [
        Decision(check, answer, tuple(serials), None, text, clears)
        for (check, answer, text, clears), serials in groups.items()
    ]


def _about_sets(
    units: Sequence[UnitNow], found: Sequence[Target], images: Sequence[Image], on: str | None, rules: Rules
) -> Iterator[Decision]:
    crews: dict[str, list[tuple[UnitNow, Target]]] = {}
    for unit, target in zip(units, found, strict=True):
        crews.setdefault(unit.crew, []).append((unit, target))
    store = Store(units, images, on, rules)
    for crew, its in crews.items():
        told = {f.text: f for _, t in its for f in t.findings if f.check is Check.SET}
        asked = [finding for finding in told.values() if finding.answer is not Answer.CLEAR]
        if asked:
            serials = tuple(t.unit for _, t in its if t.finding(Check.SET))
            question = _Asking(crew, [unit for unit, _ in its], store).question()
            text = "; ".join(finding.text for finding in asked)
            yield Decision(Check.SET, Answer.ASK, serials, crew, text, asked[0].clears, question)


class _Asking:
    """What can be asked about one crew's set."""

    def __init__(self, crew: str, units: Sequence[UnitNow], store: Store) -> None:
        self._crew = crew
        self._units = units
        self._store = store
        self._now = self._set(None)
        self._known = {o.serial for o in self._now.apart if o.place is not None}

    def question(self) -> SetQuestion | None:
        """Return the question, None if there is nothing to decide."""
        if not self._now.apart and not self._now.outside:
            return None
        why = [self._now.why_outside()] if self._now.outside else []
        why += [self._now.why_away(outlook) for outlook in self._now.apart]
        return SetQuestion(self._crew, tuple(why), self._situation(), tuple(self._options()))

    @property
    def _who(self) -> str:
        return listed(o.serial for o in self._now.apart)

    def _options(self) -> Iterator[SetOption]:
        here = self._here()
        as_they_are = {unit.serial: unit.release for unit in here}
        waits = f"wait for {self._who}" if self._now.apart else "wait"
        yield SetOption(
            SetChoice.WAIT, f"{waits}: nothing of the set is written before this is decided anew", as_they_are
        )
        split = self._targets(SetChoice.SPLIT)
        ends = {serial: target.release for serial, target in split.items()}
        kept = self._targets(SetChoice.KEEP)
        ends_kept = {serial: target.release for serial, target in kept.items()}
        if self._mends(SetChoice.KEEP) and ends_kept != ends:
            text = f"keep all on what works with {self._who}: {_words(ends_kept)}"
            yield SetOption(SetChoice.KEEP, text, ends_kept)
        back = self._targets(SetChoice.BACK)
        must = [unit.serial for unit in here if unit.written_today and back[unit.serial].back]
        if must and self._mends(SetChoice.BACK):
            ends_back = {serial: target.release for serial, target in back.items()}
            text = f"take {listed(must)} back, so that all work together: {_words(ends_back)}"
            yield SetOption(SetChoice.BACK, text, ends_back)
        go_on = f"go on without {self._who}" if self._now.apart else "go on as far as each can"
        yield SetOption(SetChoice.SPLIT, f"{go_on}: {_words(ends)}; the set is left split", ends)

    def _mends(self, choice: SetChoice) -> bool:
        """Tell whether all that can be said to be apart would work together with the rest by this choice."""
        outside = {o.serial for o in self._set(choice).outside}
        if outside & self._known:
            return False
        before = len(self._now.outside)
        return len(outside) <= before if self._known else len(outside) < before

    def _situation(self) -> str:
        """Return the digest of who is away, why and on what, and who is outside.

        What was written today is not in it: it went where the decision led, and is no news.
        """
        as_text = {
            "crew": self._crew,
            "away": [[o.serial, o.unit.away, o.unit.release] for o in self._now.away],
            "outside": [o.serial for o in self._now.outside],
        }
        text = json.dumps(as_text, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        return hashlib.sha256(text.encode()).hexdigest()

    def _here(self) -> list[UnitNow]:
        return [outlook.unit for outlook in self._now.here]

    def _set(self, choice: SetChoice | None) -> CrewSet:
        store = self._chosen(choice)
        return store.crew(self._crew, [store.outlook(unit) for unit in self._units])

    def _targets(self, choice: SetChoice) -> dict[str, Target]:
        here = {unit.serial for unit in self._here()}
        found = of_crew(self._chosen(choice), self._crew, self._units)
        return {target.unit: target for target in found if target.unit in here}

    def _chosen(self, choice: SetChoice | None) -> Store:
        return self._store.with_choices({} if choice is None else {self._crew: choice})


def _words(ends: Mapping[str, str | None]) -> str:
    """Word where units end, grouped by release."""
    groups: dict[str, list[str]] = {}
    for serial, release in ends.items():
        groups.setdefault(release or "a release that is not known", []).append(serial)
    return listed(f"{listed(serials)} on {release}" for release, serials in groups.items())
