"""The moves table: what is legal, what is not, and that nothing else reaches a write."""

import itertools

import pytest

from benchday.domain.errors import IllegalMove
from benchday.domain.steps import MOVES, NO_SAFE_STOP, ON_STATION, Move, State, diagram, moved

USUAL_WAY = (
    (Move.EXPECT, State.EXPECTED),
    (Move.ARRIVE, State.WAITING),
    (Move.CONNECT, State.CONNECT),
    (Move.IDENTIFY, State.IDENTIFY),
    (Move.CHECK, State.CHECK),
    (Move.PRESERVE, State.PRESERVE),
    (Move.CONFIRM, State.CONFIRM),
    (Move.WRITE, State.WRITE),
    (Move.RESTART, State.RESTART),
    (Move.VERIFY, State.VERIFY),
    (Move.LAST_LOOK, State.LAST_LOOK),
    (Move.READY, State.READY),
    (Move.HAND_BACK, State.HANDED_BACK),
)


def test_the_usual_way() -> None:
    """A unit goes from the roster to the hand-back by the moves that the design names."""
    state = State.UNKNOWN
    for move, expected in USUAL_WAY:
        state = moved(state, move)
        assert state is expected


def test_one_edge_leads_into_write_and_it_leaves_confirm() -> None:
    """House rule 3: whatever is written was confirmed."""
    assert [(state, move) for (state, move), after in MOVES.items() if after is State.WRITE] == [
        (State.CONFIRM, Move.WRITE)
    ]


def test_out_of_write_only_by_restart_or_hold() -> None:
    """A write that was cut is held; it is never begun again or passed over silently."""
    out = {move: after for (state, move), after in MOVES.items() if state is State.WRITE}
    assert out == {Move.RESTART: State.RESTART, Move.HOLD: State.HELD}


def test_a_held_unit_comes_back_by_a_person_or_by_being_looked_at() -> None:
    """No edge leads from held to a step that changes the unit."""
    out = {move: after for (state, move), after in MOVES.items() if state is State.HELD}
    assert out == {Move.LIFT: State.WAITING, Move.IDENTIFY: State.IDENTIFY, Move.HOLD: State.HELD}


def test_every_state_is_reached_from_the_roster() -> None:
    """The table holds no state that no unit can come into."""
    reached = {State.UNKNOWN}
    while new := {after for (state, _), after in MOVES.items() if state in reached} - reached:
        reached |= new
    assert reached == set(State)


def test_every_present_unit_can_be_held() -> None:
    """Whatever happens to a unit in the house, it can be set aside."""
    absent = {State.UNKNOWN, State.EXPECTED, State.ABSENT, State.HANDED_BACK}
    assert {state for state in State if (state, Move.HOLD) in MOVES} == set(State) - absent


def test_every_unit_can_come_to_an_end() -> None:
    """From every state some way leads to the hand-back: nothing is a dead end but being handed back."""
    ends = {State.HANDED_BACK}
    while new := {state for (state, _), after in MOVES.items() if after in ends} - ends:
        ends |= new
    assert ends == set(State)


@pytest.mark.parametrize(("state", "move"), [key for key in itertools.product(State, Move) if key not in MOVES])
def test_every_other_move_raises(state: State, move: Move) -> None:
    """A missing key is an illegal move, and the message says what would have been possible."""
    before = dict(MOVES)
    with pytest.raises(IllegalMove, match=f"a unit that is {state.value} cannot {move.value}; possible: ") as error:
        moved(state, move)
    assert dict(MOVES) == before
    possible = {legal.value for other, legal in MOVES if other is state} or {"nothing"}
    assert set(str(error.value).partition("possible: ")[2].split(", ")) == possible


def test_nobody_adds_a_move_at_run_time() -> None:
    """The table is read only."""
    with pytest.raises(TypeError):
        MOVES[State.CHECK, Move.WRITE] = State.WRITE  # type: ignore[index]


def test_what_must_not_be_disturbed_occupies_a_station() -> None:
    """The states without a safe stop are among those on a station."""
    assert set(NO_SAFE_STOP) <= set(ON_STATION)
    assert State.WRITE in NO_SAFE_STOP


def test_the_diagram_draws_the_way() -> None:
    """Every state stands in the picture, and the only arrow into write."""
    drawn = diagram()
    assert drawn.startswith("stateDiagram-v2\n")
    assert all(state.value.replace(" ", "_") in drawn for state in State)
    assert [line.strip() for line in drawn.splitlines() if "--> write" in line] == ["confirm --> write: write"]
