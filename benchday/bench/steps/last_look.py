"""last look: the final check at the station, which frees the station."""

from __future__ import annotations

from benchday.bench.serving import Serving
from benchday.domain.cautions import Moment
from benchday.domain.items import ItemKind, Wanted
from benchday.domain.kinds import UnitReady
from benchday.domain.playbook import StepName
from benchday.domain.units import Ability
from benchday.planning.gates import STATION


async def last_look(at: Serving) -> None:
    """Have a person look the unit over; from then on it is ready."""
    words = at.playbook.step(StepName.LAST_LOOK).hands or "Look it over, unplug it and set it with its crew's units."
    text = f"Last look at unit {at.unit} on station {at.station} (now on {at.story.has}). {words}"
    answered = await at.ask(
        ItemKind.INSTRUCT,
        "last look",
        text,
        Wanted("words", "anything to note", required=False, personal=True),
        ability=Ability.LAST_LOOK,
        moment=Moment.LAST_LOOK,
    )
    await at.record(at.draft(UnitReady(words=answered.text("words")), operator=answered.operator))
    await at.tools.places.free(at.unit, STATION)
