"""What becomes of a held unit: looked at anew, left held, its settings put back, or handed back as it is."""

from __future__ import annotations

from benchday.bench.serving import Serving
from benchday.domain.account import GoesBack, account
from benchday.domain.happenings import Happening, Stage
from benchday.domain.items import Answered, ItemKind, Wanted, WantedKind
from benchday.domain.kinds import AttemptsEnded
from benchday.domain.recovery import (
    AS_IT_IS,
    ASIDE,
    CONFIRMED,
    HALF_WRITTEN,
    LOOK_AGAIN,
    PUT_BACK,
    TRY_AGAIN,
    Asked,
    row_for,
)
from benchday.domain.story import UnitStory
from benchday.domain.units import Ability

GIVE_UP = "as it is"
"""Topic of the item with which the attempts end."""
_GO_ON = "go on trying"


def asked_of(story: UnitStory) -> Asked:
    """Return what is put before a person about a held unit, as the table has it for what befell it."""
    if story.trouble is not None:
        return row_for(Stage(story.trouble["stage"]), Happening(story.trouble["happening"])).asked
    # A record from before troubles were entries knows the code alone.
    return HALF_WRITTEN if story.held_code == "interrupted" else ASIDE


async def look_at_it_anew(at: Serving) -> bool:
    """Have a person decide about a unit that must stay connected; tell whether it is to be looked at anew."""
    asked = asked_of(at.story)
    while asked.connected:
        answered = await _decided(at, asked)
        if answered.text("answer") in (LOOK_AGAIN, TRY_AGAIN, PUT_BACK):
            at.restoring = answered.text("answer") == PUT_BACK
            return True
        if answered.text("answer") == CONFIRMED:
            if answered.text("reason") and at.certificate_shown is not None:
                at.tools.trust(at.unit, at.certificate_shown)
            # Nobody named, or the program was started again meanwhile: it is shown and asked anew.
            return True
        if answered.text("answer") != AS_IT_IS or await _given_up(at):
            break
    return False


def put_aside(at: Serving) -> str:
    """Word how a held unit leaves its station."""
    story = at.story
    if story.given_up is not None:
        return (
            f"Unplug unit {at.unit} from station {at.station} and mark it NOT FOR USE: it goes back as it is "
            f"({story.given_up['reason']})."
        )
    if story.half_written:
        return (
            f"Take unit {at.unit} off station {at.station} without switching it off, on external power where it has "
            f"any, and mark it HELD, NOT FOR USE: {story.held_reason}. Lifts it: {story.held_lifts}."
        )
    return _worded(at, ASIDE)


def _worded(at: Serving, asked: Asked) -> str:
    words = {"unit": at.unit, "station": at.station, "reason": at.story.held_reason, "lifts": at.story.held_lifts}
    return asked.words.format(**words)


async def _decided(at: Serving, asked: Asked) -> Answered:
    return await at.ask(
        ItemKind.DECIDE,
        asked.topic,
        _worded(at, asked),
        Wanted("answer", ", ".join(asked.choices), WantedKind.CHOICE, asked.choices),
        Wanted("reason", "why, or who confirmed it", required=False),
        safety=asked.moment is not None,
        moment=asked.moment,
    )


def _account(at: Serving, goes_back: GoesBack) -> tuple[str, ...]:
    return account(at.story, at.tools.plan.zone, at.tools.plan.bench.bench, goes_back)


async def _given_up(at: Serving) -> bool:
    """Have it confirmed, with a reason, that the unit goes back as it is; the customer's account is shown and kept."""
    told = _account(at, GoesBack("", ""))
    answered = await at.ask(
        ItemKind.DECIDE,
        GIVE_UP,
        "\n".join([f"The attempts with unit {at.unit} end here. Its customer is told:", *told]),
        Wanted("answer", f"{AS_IT_IS} or {_GO_ON}", WantedKind.CHOICE, (AS_IT_IS, _GO_ON)),
        Wanted("reason", "why"),
        ability=Ability.CONFIRM,
    )
    if answered.text("answer") != AS_IT_IS:
        return False
    told = _account(at, GoesBack(answered.text("reason"), answered.operator))
    facts = AttemptsEnded(reason=answered.text("reason"), account=list(told))
    await at.record(at.draft(facts, operator=answered.operator))
    return True
