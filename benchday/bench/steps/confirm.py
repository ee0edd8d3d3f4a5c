"""confirm: the last look before the point of no return, then the operator's confirmation."""

from __future__ import annotations

import hashlib

from benchday.bench.aside.choosing import stands_in_the_way
from benchday.bench.gathering import ends_us, find_all, find_power, hold_images, in_boot, list_recordings, read_power
from benchday.bench.holds import Met, lifts_of
from benchday.bench.permit_desk import Confirmation
from benchday.bench.serving import Serving
from benchday.bench.targeting import target_of
from benchday.domain.cautions import Moment
from benchday.domain.checks import Answer, Check, Finding
from benchday.domain.happenings import Happening
from benchday.domain.permits import Act, Loss, Permit, Verb
from benchday.domain.playbook import StepName
from benchday.domain.readings import Recording
from benchday.domain.releases import Image
from benchday.planning.all_checks import no_go
from benchday.planning.gates import unverified_first

MOST_CHECKS = 6
"""How often a unit may be sent back to the checks in one visit."""


async def confirm(at: Serving) -> StepName:
    """Check anew, wait for the line and for the first of its kind, and have the write confirmed."""
    while True:
        await at.tools.book.until(lambda: not _must_wait(at))
        now = at.tools.plan.playbook_for(at.story.model)
        if now is not None and now != at.playbook:
            # It was edited and accepted meanwhile: the checks are made by what holds now.
            at.playbook = now
            return StepName.CHECK
        if at.story.renewal_unread:
            return StepName.IDENTIFY
        if stands_in_the_way(at.tools, at.story):
            return StepName.CHECK
        at.target = target_of(at.tools, at.unit)
        await hold_images(at)
        power, recordings = await read_power(at), await list_recordings(at, again=True)
        found = await find_all(at, power, recordings, StepName.CONFIRM)
        if any(no_go(f) for f in found) or not at.target.route:
            stops = [f for f in found if no_go(f)]
            # However often it was looked at: what is merely too late for today is sent off by the check, not held.
            late = any(f.check is Check.CLOSING for f in stops)
            if at.story.tries.get("check", 0) >= MOST_CHECKS and not late:
                said = "; ".join(f.text for f in stops)
                said = f"the checks do not hold up to the write: {said}"
                raise Met(Happening.FINDING, said, code="check", lifts=lifts_of(stops))
            return StepName.CHECK
        looked_us = at.tools.book.clock.monotonic()
        permit = await at.tools.desk.confirm(_confirmation(at, at.target.images[0], found))
        if permit is None:
            raise Met(Happening.NOT_NOW, "the operator did not confirm the write")
        outlived = _outlived(at, found, looked_us) or await _power_fell(at, recordings)
        outlived = outlived or await _more_to_lose(at, permit)
        spoilt = None if outlived else await _copies_spoilt(at, permit)
        if outlived is None and spoilt is None:
            at.permit = permit
            return StepName.WRITE
        await at.tools.desk.void(permit, outlived or spoilt or "")
        if spoilt is not None:
            return StepName.CHECK


def _outlived(at: Serving, found: tuple[Finding, ...], looked_us: int) -> str | None:
    """Say why a confirmation does not hold for what was looked at before it was asked for; None if it does."""
    if _must_wait(at):
        return "the line was stopped, or the first of its kind is not verified"
    if at.story.renewal_unread:
        return "its support term was renewed: the unit is read again"
    if stands_in_the_way(at.tools, at.story):
        return "its set does not come along whole any more: what it does is chosen anew"
    clock = at.tools.book.clock
    rest_us = next((f.figures.get("rest_us", 0) for f in found if f.check is Check.CLOSING), 0)
    if clock.now() + int(rest_us) > ends_us(at):
        return "it was confirmed too late to be verified before closing, or before it is wanted back"
    if clock.monotonic() - looked_us > at.tools.plan.day.policy.permit_minutes * 60_000_000:
        return "it was confirmed too long after the unit was looked at; the unit is looked at anew"
    return None


async def _power_fell(at: Serving, recordings: tuple[Recording, ...]) -> str | None:
    """Read the battery anew and say why the write may not begin on it any more; None if it may.

    What a person reads off a display was read within the permit's minutes, and is not asked for twice.
    """
    if "power" in (await at.line()).by_hand:
        return None
    finding = await find_power(at, recordings)
    return f"the battery was read again: {finding.text}" if no_go(finding) else None


async def _more_to_lose(at: Serving, permit: Permit) -> str | None:
    """Say which recordings the write would erase that were not shown when it was confirmed; None if there are none."""
    shown = {(x.name, x.bytes): x.sha256 for x in permit.losses}
    more = [
        r.name
        for r in await list_recordings(at, again=True)
        if (r.name, r.bytes) not in shown or _differ(r.sha256, shown[r.name, r.bytes])
    ]
    return f"recordings are on the unit that were not shown: {', '.join(more)}" if more else None


async def _copies_spoilt(at: Serving, permit: Permit) -> str | None:
    """Read the copies of what the write would erase again; say which are not whole any more, None if all are.

    Hours may lie between the copying and the confirmation. What is spoilt is copied anew after the check.
    """
    spoilt = [x.name for x in permit.losses if x.sha256 is not None and not await at.tools.archive.holds(x.sha256)]
    return f"copies in the archive are not whole any more: {', '.join(spoilt)}" if spoilt else None


def _differ(told: str | None, kept: str | None) -> bool:
    """Tell whether two digests differ; what is not known does not."""
    return told is not None and kept is not None and told != kept


def _must_wait(at: Serving) -> bool:
    state, story = at.tools.book.state, at.story
    key = (story.model, story.route[0] if story.route else story.target or "")
    if key in state.lines_stopped or (story.model, story.target or "") in state.lines_stopped:
        return True
    return unverified_first(state, story, at.tools.plan) is not None


def _confirmation(at: Serving, image: Image, found: tuple[Finding, ...]) -> Confirmation:
    story = at.story
    digest = hashlib.sha256(at.image_bytes).hexdigest()
    losses = (
        ()
        if in_boot(at)
        else tuple(
            Loss(r["name"], r["bytes"], story.preserved.get(r["name"], {}).get("sha256")) for r in story.recordings
        )
    )
    route = " then ".join(story.route)
    step = at.playbook.step(StepName.WRITE)
    lines = [
        f"From {story.has or 'its boot loader'} to {route}: {story.target_reason}.",
        f"It takes {step.minutes.shortest} to {step.minutes.longest} minutes and must not be disturbed.",
    ]
    if in_boot(at) and story.preserved:
        lines.append(f"Its recordings are gone; whole copies are in the archive: {', '.join(story.preserved)}.")
    lines += [f"Decided: {f.text}." for f in found if f.answer is Answer.ASK]
    lines += [f"CAUTION {f.text}." for f in found if f.figures.get("bridges") == "no"]
    # The restart follows the write without a gap: what must be seen to before it is acknowledged here.
    shown = tuple(dict.fromkeys((*at.cautions(Moment.CONFIRM), *at.cautions(Moment.RESTART))))
    lines += [f"CAUTION {c.text}" for c in shown]
    return Confirmation(
        unit=at.unit,
        station=at.station,
        model=story.model,
        hardware=(story.identity or {}).get("hardware", ""),
        acts=(Act(Verb.WRITE_IMAGE, digest, len(at.image_bytes), image.release),),
        losses=losses,
        playbook_digest=at.tools.plan.playbook_digest(at.playbook),
        lines=tuple(lines),
        cautions=tuple(c.name for c in shown),
    )
