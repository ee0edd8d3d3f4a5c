"""Too little charge at a station, or charge that nobody knows well enough: what helps, tried in order."""

from __future__ import annotations

from benchday.bench.holds import SendOff, stopped_by
from benchday.bench.serving import Serving
from benchday.domain.cautions import Moment
from benchday.domain.checks import Finding
from benchday.domain.items import Answered, ItemKind, Wanted, WantedKind
from benchday.domain.kinds import Remedied
from benchday.planning.power import ERROR, TEMPERATURE, Measured
from benchday.planning.remedies import Remedy, RemedyKind, remedies

FIT_PACK = "fit pack"
MEASURE = "measure"
_ICE_DK = 2732
"""0 degrees Celsius in tenths of a kelvin, rounded."""
_WANTED = {
    ERROR: Wanted("error_percent", ERROR, WantedKind.INTEGER, unit="%", lowest=0, highest=100, required=False),
    TEMPERATURE: Wanted(
        "temperature_c", TEMPERATURE, WantedKind.INTEGER, unit="C", lowest=-60, highest=90, required=False
    ),
}
"""What a finding calls it -> how it is asked for."""


async def remedy(at: Serving, finding: Finding) -> None:
    """Have the first remedy done that is left.

    Raises:
        SendOff: it must be charged.
        Met: nothing helps here.
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
    # Whoever could not measure it a moment ago is not asked again.
    left = [r for r in found if r.kind is not RemedyKind.MEASURE or at.measured is None]
    if at.story.half_written:
        # Both would switch it off; it is held where it stands if nothing else helps.
        left = [r for r in left if r.kind not in (RemedyKind.PACK, RemedyKind.CHARGE)]
    if not left:
        raise stopped_by((finding,))
    await _do(at, left[0], finding)


def _promised(at: Serving) -> set[str]:
    """Return the packs that somebody has been asked to fit to another unit."""
    items = at.tools.book.state.open_items()
    return {str(i.item.figures["pack"]) for i in items if i.item.topic == FIT_PACK and i.item.unit != at.unit}


async def _do(at: Serving, chosen: Remedy, finding: Finding) -> None:
    if chosen.kind is RemedyKind.CHARGE:
        why = f"{finding.text}; {chosen.text}"
        raise SendOff(why, charge_percent=min((chosen.charge_to_percent or 90) + 5, 100))
    text = f"Unit {at.unit} on station {at.station}: {finding.text}. Please {chosen.text}."
    if chosen.kind is RemedyKind.MEASURE:
        await _measure(at, chosen, text)
        return
    topic = FIT_PACK if chosen.kind is RemedyKind.PACK else "external power"
    figures: dict[str, int | str] = {"pack": chosen.pack} if chosen.pack else {}
    answered = await at.ask(ItemKind.INSTRUCT, topic, text, moment=Moment.CHARGE, figures=figures)
    if chosen.kind is RemedyKind.EXTERNAL:
        at.powered = True
    await at.record(at.draft(Remedied(remedy=chosen.kind.value, pack=chosen.pack), operator=answered.operator))
    # A pack change switches the unit off: whoever answers next is looked at anew.
    if chosen.kind is RemedyKind.PACK:
        await at.let_go()


async def _measure(at: Serving, chosen: Remedy, text: str) -> None:
    """Ask for what is missing; the answer's own entry says who measured what."""
    wanted = [_WANTED[name] for name in chosen.missing]
    answered = await at.ask(ItemKind.EVIDENCE, MEASURE, f"{text} Leave empty what cannot be measured.", *wanted)
    at.measured = _measured(answered)


def _measured(answered: Answered) -> Measured:
    celsius = answered.integer("temperature_c")
    return Measured(
        error_percent=answered.integer("error_percent"),
        temperature_dk=None if celsius is None else _ICE_DK + 10 * celsius,
    )
