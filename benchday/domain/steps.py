"""The legal moves of a unit through the day.

House rules of this file:

1. Whatever decides where a unit may go next stands here, in one table.
2. An illegal move is a missing key; it raises and changes nothing.
3. Exactly one edge leads into WRITE, and it leaves CONFIRM.
4. The diagram in the docs is drawn from this table (``diagram``).
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Any

from benchday.domain.errors import IllegalMove


class State(StrEnum):
    """Where a unit is on its way through the day."""

    UNKNOWN = "unknown"
    EXPECTED = "expected"
    ABSENT = "absent"
    WAITING = "waiting"
    CHARGING = "charging"
    CONNECT = "connect"
    IDENTIFY = "identify"
    CHECK = "check"
    PRESERVE = "preserve"
    CONFIRM = "confirm"
    WRITE = "write"
    RESTART = "restart"
    VERIFY = "verify"
    LAST_LOOK = "last look"
    READY = "ready"
    HANDED_BACK = "handed back"
    HELD = "held"


class Move(StrEnum):
    """What takes a unit from one state to the next."""

    EXPECT = "expect"
    ARRIVE = "arrive"
    WALK_IN = "walk in"
    MISS = "miss"
    CHARGE = "charge"
    CHARGED = "charged"
    SEND_OFF = "send off"
    CONNECT = "connect"
    IDENTIFY = "identify"
    CHECK = "check"
    PRESERVE = "preserve"
    CONFIRM = "confirm"
    WRITE = "write"
    RESTART = "restart"
    VERIFY = "verify"
    LAST_LOOK = "last look"
    READY = "ready"
    HAND_BACK = "hand back"
    RECALL = "recall"
    HOLD = "hold"
    LIFT = "lift"


ON_STATION = (
    State.CONNECT,
    State.IDENTIFY,
    State.CHECK,
    State.PRESERVE,
    State.CONFIRM,
    State.WRITE,
    State.RESTART,
    State.VERIFY,
    State.LAST_LOOK,
)
"""The states in which a unit occupies a station."""

NO_SAFE_STOP = (State.WRITE, State.RESTART)
"""The states in which a unit must not be disturbed."""

_WAY: dict[tuple[State, Move], State] = {
    (State.UNKNOWN, Move.EXPECT): State.EXPECTED,
    (State.UNKNOWN, Move.WALK_IN): State.WAITING,
    (State.EXPECTED, Move.ARRIVE): State.WAITING,
    (State.EXPECTED, Move.MISS): State.ABSENT,
    (State.ABSENT, Move.ARRIVE): State.WAITING,
    (State.WAITING, Move.CHARGE): State.CHARGING,
    (State.CHARGING, Move.CHARGED): State.WAITING,
    (State.WAITING, Move.CONNECT): State.CONNECT,
    (State.CONNECT, Move.IDENTIFY): State.IDENTIFY,
    (State.IDENTIFY, Move.CHECK): State.CHECK,
    # A read-back: the image was sent, and the program or the line ended before the unit was verified.
    (State.IDENTIFY, Move.VERIFY): State.VERIFY,
    (State.CHECK, Move.SEND_OFF): State.WAITING,
    (State.CHECK, Move.PRESERVE): State.PRESERVE,
    # Already on its target: verified, not written.
    (State.CHECK, Move.VERIFY): State.VERIFY,
    (State.PRESERVE, Move.CONFIRM): State.CONFIRM,
    # What was confirmed no longer holds (expired, changed): look again.
    (State.CONFIRM, Move.CHECK): State.CHECK,
    (State.CONFIRM, Move.SEND_OFF): State.WAITING,
    (State.CONFIRM, Move.WRITE): State.WRITE,
    (State.WRITE, Move.RESTART): State.RESTART,
    (State.RESTART, Move.VERIFY): State.VERIFY,
    # The next write of a route that passes through a release.
    (State.VERIFY, Move.CHECK): State.CHECK,
    (State.VERIFY, Move.LAST_LOOK): State.LAST_LOOK,
    (State.LAST_LOOK, Move.READY): State.READY,
    (State.READY, Move.HAND_BACK): State.HANDED_BACK,
    # Its target changed after it was ready: its support term was renewed, or its set goes back.
    (State.READY, Move.RECALL): State.WAITING,
    (State.HELD, Move.LIFT): State.WAITING,
}
# After a cut (cable, program) a unit on a station is identified anew, but never out of WRITE: that one is held first.
_AGAIN: dict[tuple[State, Move], State] = {
    (state, Move.IDENTIFY): State.IDENTIFY for state in ON_STATION if state is not State.WRITE
}
_ANEW: dict[tuple[State, Move], State] = {(State.HELD, Move.IDENTIFY): State.IDENTIFY}
_HOLD: dict[tuple[State, Move], State] = {
    (state, Move.HOLD): State.HELD
    for state in State
    if state not in (State.UNKNOWN, State.EXPECTED, State.ABSENT, State.HANDED_BACK)
}

MOVES: Mapping[tuple[State, Move], State] = MappingProxyType({**_WAY, **_AGAIN, **_ANEW, **_HOLD})
"""(state, move) -> state. Nothing else is legal."""


MOVE_OF_KIND: Mapping[str, Move] = MappingProxyType(
    {
        "unit_expected": Move.EXPECT,
        "unit_walked_in": Move.WALK_IN,
        "unit_arrived": Move.ARRIVE,
        "unit_absent": Move.MISS,
        "charge_begun": Move.CHARGE,
        "charge_ended": Move.CHARGED,
        "unit_sent_off": Move.SEND_OFF,
        "unit_held": Move.HOLD,
        "unit_lifted": Move.LIFT,
        "unit_ready": Move.READY,
        "unit_handed_back": Move.HAND_BACK,
        "unit_recalled": Move.RECALL,
    }
)
"""Kind of entry -> the move that it makes its unit take; ``step_begun`` names its move in its facts."""


def move_of(kind: str, facts: Mapping[str, Any]) -> Move | None:
    """Return the move that an entry of this kind makes its unit take; None if it makes none."""
    return Move(facts["step"]) if kind == "step_begun" else MOVE_OF_KIND.get(kind)


def moved(state: State, move: Move) -> State:
    """Return the state after the move.

    Raises:
        IllegalMove: the table has no such edge.
    """
    after = MOVES.get((state, move))
    if after is None:
        legal = ", ".join(sorted(m.value for s, m in MOVES if s is state)) or "nothing"
        raise IllegalMove(f"a unit that is {state.value} cannot {move.value}; possible: {legal}")

    return after


def diagram() -> str:
    """Draw the table as a Mermaid state diagram; hold and identify-anew edges are told in words to keep it readable."""
    lines = ["stateDiagram-v2"]
    for (state, move), after in _WAY.items():
        lines.append(f"    {_name(state)} --> {_name(after)}: {move.value}")

    lines.append(f"    note right of {_name(State.HELD)}: hold leads here from every state of a unit that is present")
    return "\n".join(lines) + "\n"


def _name(state: State) -> str:
    return state.value.replace(" ", "_")
