"""Too little charge at a station: a charged shop pack, external power, or off to a charger, in that order."""

from __future__ import annotations

from benchday.bench.holds import Hold, SendOff
from benchday.bench.serving import Serving
from benchday.domain.cautions import Moment
from benchday.domain.checks import Finding
from benchday.domain.items import ItemKind
from benchday.domain.kinds import Remedied
from benchday.planning.remedies import Remedy, RemedyKind, remedies

FIT_PACK = "fit pack"


async def remedy(at: Serving, finding: Finding) -> None:
    """Have the first remedy done that is left.

    Raises:
        SendOff: it must be charged.
        Hold: nothing helps here.
    """
    bench = at.tools.plan.bench
    used = at.tools.book.state.packs_used | _promised(at)
    found = remedies(
        finding,
        at.playbook,
        at.story.model,
        [p for p in bench.packs if p.number not in used],
        chargers=len(bench.chargers),
        outlets=0 if at.powered else 1,
    )
    if not found:
        raise Hold("power", finding.text, "it is charged, or can run from external power")
    await _do(at, found[0], finding)


def _promised(at: Serving) -> set[str]:
    """Return the packs that somebody has been asked to fit to another unit."""
    items = at.tools.book.state.open_items()
    return {str(i.item.figures["pack"]) for i in items if i.item.topic == FIT_PACK and i.item.unit != at.unit}


async def _do(at: Serving, chosen: Remedy, finding: Finding) -> None:
    if chosen.kind is RemedyKind.CHARGE:
        raise SendOff(finding.text, charge_percent=min((chosen.charge_to_percent or 90) + 5, 100))
    text = f"Unit {at.unit} on station {at.station}: {finding.text}. Please {chosen.text}."
    topic = FIT_PACK if chosen.kind is RemedyKind.PACK else "external power"
    figures: dict[str, int | str] = {"pack": chosen.pack} if chosen.pack else {}
    answered = await at.ask(ItemKind.INSTRUCT, topic, text, moment=Moment.CHARGE, figures=figures)
    if chosen.kind is RemedyKind.EXTERNAL:
        at.powered = True
    await at.record(at.draft(Remedied(remedy=chosen.kind.value, pack=chosen.pack), operator=answered.operator))
    # A pack change switches the unit off: whoever answers next is looked at anew.
    if chosen.kind is RemedyKind.PACK:
        await at.let_go()
