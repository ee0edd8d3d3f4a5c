"""identify: serial and model as the unit reports them must match what was checked in."""

from __future__ import annotations

from benchday.bench.holds import Hold, interrupted
from benchday.bench.serving import Serving
from benchday.bench.silence import questions
from benchday.domain.checks import Answer
from benchday.domain.errors import DeviceError, Garbled, LinkError
from benchday.domain.items import ItemKind
from benchday.domain.kinds import Checked, InterruptSettled, UnitIdentified
from benchday.domain.playbook import StepName
from benchday.domain.readings import Identity, Mode
from benchday.planning.checks import identity as identity_check
from benchday.planning.checks import model as model_check
from benchday.planning.checks import sign_in as sign_in_findings


async def identify(at: Serving) -> StepName:
    """Read who the unit is; a swapped unit is held and never written."""
    found = await _asked_until_heard(at)
    await at.record(at.draft(_facts(at, found)))
    await at.tools.queue.void_topic(at.unit, "silence", "the unit answers")
    findings = (identity_check(at.unit, found.serial), model_check(at.story.model, found, at.playbook, ()))
    said = sign_in_findings(found)
    if said or any(finding.answer is Answer.STOP for finding in findings):
        await at.record(at.draft(Checked(findings=[finding.as_facts() for finding in (*findings, *said)])))
    for finding in findings:
        if finding.answer is Answer.STOP:
            raise Hold(finding.check.value, finding.text, finding.clears)
    return await _next(at, found)


async def _asked_until_heard(at: Serving) -> Identity:
    tries = at.playbook.step(StepName.IDENTIFY).tries
    for attempt in range(1, tries + 1):
        try:
            return await _heard(at)
        except (LinkError, Garbled) as silence:
            await at.let_go()
            look = questions(at.playbook, at.place, at.tools.plan.bench)
            if attempt == tries and _unsettled(at):
                # It may be half written: it must not be carried off as one that is merely silent.
                raise interrupted(f"and the unit does not answer now ({silence}). {look}") from silence
            if attempt == tries:
                raise Hold(
                    "silent",
                    f"the unit does not answer ({silence}). {look}",
                    "the unit answers on a known good cable",
                ) from silence
            text = f"No answer from unit {at.unit} on station {at.station}: {silence}. {look} Then: done."
            await at.ask(ItemKind.INSTRUCT, "silence", text)
    raise DeviceError("no tries are left")


async def _heard(at: Serving) -> Identity:
    before = at.tools.pauses.total_us()
    try:
        return await (await at.line()).identify()
    except (LinkError, Garbled):
        if not at.away_since(before):
            raise
    # It was the bench PC that was away, not the unit: asked again before anybody is sent to look at cables.
    await at.let_go()
    return await (await at.line()).identify()


def _facts(at: Serving, found: Identity) -> UnitIdentified:
    by_hand = at.driver is not None and "identify" in at.driver.by_hand
    return UnitIdentified(
        serial=found.serial,
        model=found.model,
        hardware=found.hardware,
        mode=found.mode.value,
        release=found.release,
        options=list(found.options),
        term=found.term,
        by="hand" if by_hand else "driver",
    )


def _unsettled(at: Serving) -> bool:
    """Tell whether a write on this unit began and nobody has read back yet what became of it."""
    return at.story.was_cut or (at.story.sent or at.story.open_act) is not None


async def _next(at: Serving, found: Identity) -> StepName:
    """After a cut, what the unit says settles whether the image went in; else the checks come."""
    story = at.story
    if not _unsettled(at):
        return StepName.CHECK
    sent = story.sent or story.open_act
    if sent is not None and found.mode is Mode.RUN and found.release == sent.release:
        await at.record(at.draft(InterruptSettled(found="written", release=found.release)))
        return StepName.VERIFY
    outcome = "broken" if found.mode is Mode.BOOT else "untouched"
    await at.record(at.draft(InterruptSettled(found=outcome, release=found.release)))
    return StepName.CHECK
