"""identify: serial and model as the unit reports them must match what was checked in."""

from __future__ import annotations

from benchday.bench.holds import Met
from benchday.bench.serving import Serving
from benchday.bench.silence import LEAVE_ON, SWITCH, heard, plain, questions
from benchday.domain.checks import Answer
from benchday.domain.errors import DeviceError, Garbled, LinkError
from benchday.domain.happenings import WRITTEN, Happening, Stage, of_error, read_back
from benchday.domain.items import ItemKind
from benchday.domain.kinds import Checked, InterruptSettled, UnitIdentified
from benchday.domain.playbook import StepName
from benchday.domain.readings import Identity
from benchday.domain.recovery import MOST_LOOKS, Own, row_for
from benchday.planning.checks import identity as identity_check
from benchday.planning.checks import model as model_check
from benchday.planning.checks import sign_in as sign_in_findings


async def identify(at: Serving) -> StepName:
    """Read who the unit is; a swapped unit is held and never written."""
    # As it was before the unit said anything: what it says may settle that.
    stage = at.stage(StepName.IDENTIFY)
    found = await _asked_until_heard(at, stage)
    await at.record(at.draft(_facts(at, found)))
    await at.tools.queue.void_topic(at.unit, "silence", "the unit answers")
    findings = (identity_check(at.unit, found.serial), model_check(at.story.model, found, at.playbook, ()))
    said = sign_in_findings(found)
    if said or any(finding.answer is Answer.STOP for finding in findings):
        await at.record(at.draft(Checked(findings=[finding.as_facts() for finding in (*findings, *said)])))
    for finding, happening in zip(findings, (Happening.SWAPPED, Happening.OTHER_MODEL), strict=True):
        if finding.answer is Answer.STOP:
            raise Met(happening, finding.text, stage=stage, code=finding.check.value, lifts=finding.clears)
    return await _next(at, found)


async def _asked_until_heard(at: Serving, stage: Stage) -> Identity:
    """Ask until the unit answers, having the line looked at in between as often as the playbook says."""
    left = at.playbook.step(StepName.IDENTIFY).tries
    while True:
        try:
            return await _heard(at)
        except DeviceError as trouble:
            await at.let_go()
            left -= 1
            happening = of_error(trouble)
            if row_for(stage, happening).own is not Own.ASK_AND_TRY:
                raise
            safe = stage is Stage.IDENTIFY and not at.story.doubtful
            look = questions(at.playbook, at.place, at.tools.plan.bench)
            if left <= 0:
                in_vain = stage is Stage.LOOK_ANEW and at.story.looks + 1 >= MOST_LOOKS
                said = _in_vain(at, trouble) if in_vain else heard(trouble, look)
                raise Met(Happening.NO_ANSWER if in_vain else happening, said, stage=stage) from trouble
            last = f"{SWITCH if safe else LEAVE_ON} Then: done."
            text = f"No answer from unit {at.unit} on station {at.station}: {heard(trouble, look)} {last}"
            await at.ask(ItemKind.INSTRUCT, "silence", text)


def _in_vain(at: Serving, trouble: DeviceError) -> str:
    looked = f"a person had it looked at {at.story.looks + 1} times"
    return f"half written, the unit has not answered, although {looked} ({plain(trouble)})"


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


async def _next(at: Serving, found: Identity) -> StepName:
    """After a cut, what the unit says settles whether the image went in; else the checks come."""
    story = at.story
    if not story.unsettled:
        return StepName.CHECK
    sent = story.sent or story.open_act or story.cut
    settled = read_back(found, sent.release if sent else None, story.before)
    await at.record(at.draft(InterruptSettled(found=settled, release=found.release)))
    return StepName.VERIFY if settled == WRITTEN else StepName.CHECK
