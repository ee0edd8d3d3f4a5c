"""One crew's set on one day: where its units end, who does not come along, and what was decided about that."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from benchday.domain.checks import Answer, Check, Finding
from benchday.domain.sets import SetChoice
from benchday.planning.outlook import Outlook
from benchday.planning.places import each
from benchday.planning.sets import ends_of
from benchday.planning.wording import listed
from benchday.planning.works import WorksTogether, works_with

KEEPS = (SetChoice.KEEP, SetChoice.BACK)
"""Choices by which all end on what works with a unit that does not come along."""


class CrewSet:
    """The set of one crew."""

    def __init__(
        self, crew: str, outlooks: Sequence[Outlook], works: WorksTogether, choice: SetChoice | None = None
    ) -> None:
        """Work out where the units end.

        Args:
            crew: whose set it is.
            outlooks: of its units, sorted by serial; their options change as the choice demands.
            works: which releases work together.
            choice: what a person chose for the set; None: nothing yet.
        """
        self.crew = crew
        self.here = [o for o in outlooks if o.unit.away is None]
        self.away = [o for o in outlooks if o.unit.away is not None] if len(self.here) < len(outlooks) else []
        self._works = works
        self._choice = choice
        if self.away and choice in KEEPS:
            for outlook in self.away:
                _stay(outlook)
        if choice is SetChoice.BACK:
            for outlook in self.here:
                outlook.allow_back()

        taking_part = outlooks if choice in KEEPS else self.here
        self.members = [o for o in taking_part if o.options]
        self.ends: dict[str, int] = {}
        """Serial -> place on which a unit ends because of its set; who is not here ends where it would alone."""
        self.outside: list[Outlook] = []
        """Units that cannot work together with the rest."""
        self._inside: list[tuple[Outlook, int]] = []
        self._settle()

    @property
    def with_whom(self) -> str:
        """Say who works together, as the end of a sentence that says why a unit is kept."""
        kept_with = [f"{o.serial}, which is {o.unit.away}" for o, _ in self._inside if o.unit.away is not None]
        if kept_with:
            return f"it works together with {listed(kept_with)}"
        return (
            "base and rovers work together" if all(o.kind.receiver for o in self.members) else "the set works together"
        )

    @property
    def apart(self) -> list[Outlook]:
        """Units that do not come along, and whose release does not work with what the others end on."""
        if not self.here:
            return []
        taking_part = {o.serial for o in self.members} if self._choice in KEEPS else set()
        return [o for o in self.away if o.serial not in taking_part and not self._fits(o, o.place)]

    def findings(self) -> tuple[Finding, ...]:
        """Return what is found about the set; it belongs to each unit that is here."""
        if not self.away and not self.outside:
            return ()
        told = [self._finding(self.why_outside(), self._places(self.members))] if self.outside else []
        told += [self._finding(self.why_away(outlook), self._places([outlook])) for outlook in self.apart]
        return tuple(told)

    def why_outside(self) -> str:
        """Say who cannot work together with the rest."""
        who = [
            f"{o.serial} is {o.unit.away} and stays on {_running(o)}"
            if o.unit.away is not None
            else f"{o.serial} would end on {self._end_of(o)}"
            for o in self.outside
        ]
        does = "does" if len(who) == 1 else "do"
        rest = f"the rest of crew {self.crew}, on {self._together_on()}"
        return f"{listed(who)}, which {does} not work together with {rest}"

    def why_away(self, outlook: Outlook) -> str:
        """Say what it means that a unit does not come along."""
        who = f"{outlook.serial} of crew {self.crew} is {outlook.unit.away}"
        return f"{who} and stays on {_running(outlook)} while the set ends on {self._together_on()}"

    def _settle(self) -> None:
        if len(self.members) > 1:
            places = ends_of(self.members, self._works)
            for outlook, place in zip(self.members, places, strict=True):
                if place is None:
                    self.outside.append(outlook)
                else:
                    self._inside.append((outlook, place))
                    self.ends[outlook.serial] = place
        else:
            self._inside = [(o, end) for o in self.members if (end := _end_alone(o)) is not None]
        for outlook in self.away:
            if outlook.serial not in self.ends and self._choice not in KEEPS:
                self._if_it_came(outlook)

    def _if_it_came(self, outlook: Outlook) -> None:
        """Note where a unit that does not come along would end if it came after all."""
        own = _end_alone(outlook)
        fitting = sum(1 << place for place in each(outlook.options) if self._fits(outlook, place))
        if fitting and (own is None or not fitting >> own & 1):
            best = min(each(outlook.latest(fitting)), key=lambda place: (outlook.cost(place), place))
            self.ends[outlook.serial] = best

    def _fits(self, outlook: Outlook, place: int | None) -> bool:
        if place is None:
            return False
        kinds, ends = [o.kind for o, _ in self._inside], [end for _, end in self._inside]
        return works_with(self._works, outlook.kind, place, kinds, ends)

    def _end_of(self, outlook: Outlook) -> str:
        return _name(outlook, self.ends.get(outlook.serial, _end_alone(outlook)))

    def _together_on(self) -> str:
        return listed(dict.fromkeys(_name(outlook, place) for outlook, place in self._inside))

    def _places(self, outlooks: Iterable[Outlook]) -> dict[str, int | str]:
        return {o.serial: _running(o) if o.unit.away is not None else self._end_of(o) for o in outlooks}

    def _finding(self, text: str, figures: dict[str, int | str]) -> Finding:
        match self._choice:
            case SetChoice.SPLIT:
                return Finding(Check.SET, Answer.CLEAR, f"{text}; the set is left split, as was decided", figures)
            case SetChoice.WAIT:
                return Finding(Check.SET, Answer.CLEAR, f"{text}; the set waits, as was decided", figures)
        clears = f"somebody decides what the set of crew {self.crew} does"
        return Finding(Check.SET, Answer.ASK, f"{text}; decide what the set does", figures, clears)


def _stay(outlook: Outlook) -> None:
    unit = outlook.unit
    outlook.stay(f"{unit.away}: stays on {_running(outlook)}, and the set ends on what works with it")


def _end_alone(outlook: Outlook) -> int | None:
    """Return where a unit ends by itself: where it is if no way leads to its goal."""
    aim = outlook.aim
    return outlook.place if aim.way is None else aim.end


def _running(outlook: Outlook) -> str:
    return outlook.unit.release or "a release that is not known"


def _name(outlook: Outlook, place: int | None) -> str:
    if place is None or place == outlook.place:
        return _running(outlook)
    return outlook.catalogue.images[place].release
