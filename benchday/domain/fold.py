"""The state of a day, computed from its entries alone. There is no second copy of the truth."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from benchday.domain.entries import Entry
from benchday.domain.items import Answered, Item, ItemKind
from benchday.domain.plan_says import TERMS, terms_says
from benchday.domain.steps import Move, State, move_of, moved
from benchday.domain.story import UnitStory
from benchday.domain.story_fold import CHANGES

COUNTED = "hand:recordings"
"""Topic of the item in which a person says how many recordings a unit lists."""
MOST_OVER = 300
"""So many items about units stay known once they are over, decisions not counted; entries tell of all of them."""


@dataclass(slots=True)
class ItemState:
    """An item and what became of it."""

    item: Item
    taken_by: str | None = None
    answered: Answered | None = None
    voided: str | None = None

    @property
    def open(self) -> bool:
        """Tell whether an answer is still wanted."""
        return self.answered is None and self.voided is None


@dataclass(slots=True)
class DayState:
    """What the entries say of the day that runs, or ran last."""

    seq: int = 0
    """Number of the last entry taken in."""
    at_us: int = 0
    """Day time of the last entry."""
    begun: Mapping[str, Any] | None = None
    """Facts of the day's beginning; None before the first day."""
    closed: Mapping[str, Any] | None = None
    anchor: Mapping[str, Any] | None = None
    starts: int = 0
    """How often a program took this day up."""
    inputs: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    """Name -> facts of the file as accepted."""
    units: dict[str, UnitStory] = field(default_factory=dict)
    items: dict[str, ItemState] = field(default_factory=dict)
    items_asked: int = 0
    acting: str | None = None
    cautions: set[tuple[str, str]] = field(default_factory=set)
    """(operator, caution) acknowledged today."""
    lines_stopped: dict[tuple[str, str], str] = field(default_factory=dict)
    """(model, release) -> reason."""
    verified: set[tuple[str, str]] = field(default_factory=set)
    """(model, release) of which a unit was written and verified today."""
    opened_us: dict[tuple[str, str], int] = field(default_factory=dict)
    """(model, release) -> day time at which what kept others from asking for a station was last out of the way."""
    sets_proved: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    """Crew -> facts of its last proof."""
    sets_decided: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    """Crew -> facts of the last decision about its set, with the number of its entry (seq)."""
    order: dict[str, int] = field(default_factory=dict)
    """Unit -> its turn where several ask for the same, smaller first."""
    foreseen: list[tuple[int, Mapping[str, Any]]] = field(default_factory=list)
    """Day time, and how the rest of the day looked then."""
    promises_at_risk: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    """Crews whose promise was told to be at risk, with what was told."""
    packs_used: set[str] = field(default_factory=set)
    pauses: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    """Number of the entry -> how the bench PC slept or the program stood still, while nobody has taken note of it."""

    unanswered: dict[str, ItemState] = field(default_factory=dict)
    """The open ones of ``items``: asked for after every entry, when a long day has had thousands."""
    over: dict[str, None] = field(default_factory=dict)
    """Items about units that are over, the longest first; a long day does not keep them all in mind."""
    by_crew: dict[str, dict[str, None]] = field(default_factory=dict)
    """Crew -> serials of its units, in the order of ``units``; likewise."""
    holders: dict[tuple[str, str], str] = field(default_factory=dict)
    """(pool, place) -> serial of the unit that has it; likewise."""

    def open_items(self) -> tuple[ItemState, ...]:
        """Return the open items in the order in which they were asked."""
        return tuple(self.unanswered.values())

    def of_crew(self, crew: str) -> list[UnitStory]:
        """Return the units of a crew, in the order of all."""
        return [self.units[serial] for serial in self.by_crew.get(crew, ())]

    def turn(self, unit: str) -> int:
        """Return a unit's priority, smaller first; one that no order names comes after all that one names."""
        return self.order.get(unit, len(self.order))

    def holder(self, pool: str, place: str) -> str | None:
        """Return the serial of the unit that has this place."""
        return self.holders.get((pool, place))

    def apply(self, entry: Entry) -> None:
        """Take in the next entry.

        Raises:
            IllegalMove: the entry moves its unit along no edge of the table; nothing is changed.
        """
        move = move_of(entry.kind, entry.facts)
        if move is not None and entry.unit is not None and entry.unit in self.units:
            moved(self.units[entry.unit].state, move)
        change = _DAY.get(entry.kind)
        if change is not None:
            change(self, entry)
        if entry.unit is not None and (story := self.units.get(entry.unit)) is not None:
            _move(story, move, entry)
            of_unit = CHANGES.get(entry.kind)
            if of_unit is not None:
                of_unit(story, entry)
            if entry.kind in _INDEXED:
                _indexed(self, story)
        self.seq, self.at_us = entry.seq, entry.at_us


def fold(entries: Iterable[Entry]) -> DayState:
    """Compute the state of the last day in these entries."""
    state = DayState()
    for entry in entries:
        state.apply(entry)
    return state


_INDEXED = ("unit_expected", "unit_walked_in", "unit_changed", "place_granted", "place_freed")
"""The kinds that say to which crew a unit belongs, or which places it has."""


def _indexed(state: DayState, story: UnitStory) -> None:
    serial = story.serial
    for place in [place for place, holder in state.holders.items() if holder == serial]:
        del state.holders[place]
    state.holders.update(dict.fromkeys(story.places.items(), serial))
    if serial in state.by_crew.get(story.crew, ()):
        return
    for members in state.by_crew.values():
        members.pop(serial, None)
    members = state.by_crew.setdefault(story.crew, {})
    members[serial] = None
    if len(members) > 1 and state.units[next(reversed([*members][:-1]))].position > story.position:
        # One that was there before has joined another crew.
        state.by_crew[story.crew] = {s: None for s in state.units if s in members}


def _move(story: UnitStory, move: Move | None, entry: Entry) -> None:
    if move is None:
        return
    story.state = moved(story.state, move)
    story.since_us, story.since_seq = entry.at_us, entry.seq
    if story.state is State.WAITING:
        story.waiting_since_us = entry.at_us


def _begun(state: DayState, entry: Entry) -> None:
    fresh = DayState(begun=entry.facts)
    for name in DayState.__slots__:
        if name not in ("seq", "at_us", "begun"):
            setattr(state, name, getattr(fresh, name))
    state.begun = entry.facts


def _started(state: DayState, _: Entry) -> None:
    state.starts += 1


def _anchored(state: DayState, entry: Entry) -> None:
    state.anchor = entry.facts


def _input(state: DayState, entry: Entry) -> None:
    state.inputs[entry.facts["name"]] = entry.facts


def _terms(state: DayState, entry: Entry) -> None:
    state.inputs[TERMS] = terms_says(entry.facts)


def _hours(state: DayState, entry: Entry) -> None:
    state.begun = {**(state.begun or {}), **entry.facts}


def _acting(state: DayState, entry: Entry) -> None:
    state.acting = entry.facts["name"]


def _caution(state: DayState, entry: Entry) -> None:
    if entry.operator is not None:
        state.cautions.add((entry.operator, entry.facts["caution"]))


def _closed(state: DayState, entry: Entry) -> None:
    state.closed = entry.facts


def _expected(state: DayState, entry: Entry) -> None:
    f = entry.facts
    assert entry.unit is not None  # noqa: S101 - a kind that is about a unit
    state.units[entry.unit] = UnitStory(
        serial=entry.unit,
        model=f["model"],
        customer=f["customer"],
        crew=f["crew"],
        role=f["role"],
        position=f["position"],
        arrives_us=f.get("arrives_us"),
        promised_us=f.get("promised_us"),
        support_until=f["support_until"],
        walked_in=entry.kind == "unit_walked_in",
    )


def _asked(state: DayState, entry: Entry) -> None:
    item = Item.from_facts(entry.facts["item"])
    state.items[item.id] = state.unanswered[item.id] = ItemState(item)
    state.items_asked += 1


def _over(state: DayState, number: str) -> ItemState:
    """Take an item off the open ones, and let go of what it said, which its entry says; a decision's words are kept."""
    asked = state.items[number]
    state.unanswered.pop(number, None)
    if asked.item.kind is not ItemKind.DECIDE:
        asked.item = replace(asked.item, text="", wanted=(), figures={}, cautions=())
        if asked.item.unit is not None:
            state.over[number] = None
    while len(state.over) > MOST_OVER:
        first = next(iter(state.over))
        del state.over[first], state.items[first]
    return asked


def _taken(state: DayState, entry: Entry) -> None:
    state.items[entry.facts["id"]].taken_by = entry.operator


def _answered(state: DayState, entry: Entry) -> None:
    f = entry.facts
    asked = _over(state, f["id"])
    asked.answered = Answered(f["value"], entry.operator or "", f["by"], entry.at_us)
    state.pauses.pop(asked.item.topic.removeprefix("slept "), None)
    story, count = state.units.get(asked.item.unit or ""), f["value"].get("count")
    if story is not None and asked.item.topic == COUNTED and isinstance(count, int):
        # It counts from here on, whatever becomes of the program before what was counted is listed.
        story.counted = max(story.counted, count)


def _voided(state: DayState, entry: Entry) -> None:
    _over(state, entry.facts["id"]).voided = entry.facts["reason"]


def _line_stopped(state: DayState, entry: Entry) -> None:
    state.lines_stopped[entry.facts["model"], entry.facts["release"]] = entry.facts["reason"]


def _line_lifted(state: DayState, entry: Entry) -> None:
    line = entry.facts["model"], entry.facts["release"]
    state.lines_stopped.pop(line, None)
    state.opened_us[line] = entry.at_us


def _verified(state: DayState, entry: Entry) -> None:
    story = state.units.get(entry.unit or "")
    if story is not None and story.sent is not None:
        kind = story.model, entry.facts["release"]
        if kind not in state.verified:
            state.opened_us[kind] = entry.at_us
        state.verified.add(kind)


def _set_proved(state: DayState, entry: Entry) -> None:
    state.sets_proved[entry.facts["crew"]] = entry.facts


def _set_decided(state: DayState, entry: Entry) -> None:
    state.sets_decided[entry.facts["crew"]] = {**entry.facts, "seq": entry.seq}


def _recalled(state: DayState, entry: Entry) -> None:
    # What was proved together will change.
    story = state.units.get(entry.unit or "")
    if story is not None:
        state.sets_proved.pop(story.crew, None)


def _order_set(state: DayState, entry: Entry) -> None:
    state.order = {serial: turn for turn, serial in enumerate(entry.facts["order"])}


def _put_first(state: DayState, entry: Entry) -> None:
    if entry.unit is not None:
        state.order[entry.unit] = min(state.order.values(), default=0) - 1


def _foreseen(state: DayState, entry: Entry) -> None:
    state.foreseen.append((entry.at_us, entry.facts))


def _promise_at_risk(state: DayState, entry: Entry) -> None:
    state.promises_at_risk[entry.facts["crew"]] = entry.facts


def _slept(state: DayState, entry: Entry) -> None:
    state.pauses[str(entry.seq)] = entry.facts


def _remedied(state: DayState, entry: Entry) -> None:
    if entry.facts["pack"]:
        state.packs_used.add(entry.facts["pack"])


_DAY: dict[str, Callable[[DayState, Entry], None]] = {
    "day_begun": _begun,
    "program_started": _started,
    "clock_anchored": _anchored,
    "input_read": _input,
    "terms_read": _terms,
    "hours_changed": _hours,
    "operator_acting": _acting,
    "caution_acknowledged": _caution,
    "day_closed": _closed,
    "unit_expected": _expected,
    "unit_walked_in": _expected,
    "item_asked": _asked,
    "item_taken": _taken,
    "item_answered": _answered,
    "item_voided": _voided,
    "line_stopped": _line_stopped,
    "line_lifted": _line_lifted,
    "unit_verified": _verified,
    "order_set": _order_set,
    "day_foreseen": _foreseen,
    "unit_put_first": _put_first,
    "promise_at_risk": _promise_at_risk,
    "set_proved": _set_proved,
    "set_decided": _set_decided,
    "unit_recalled": _recalled,
    "remedied": _remedied,
    "pc_slept": _slept,
}
