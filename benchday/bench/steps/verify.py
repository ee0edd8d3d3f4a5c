"""verify: version, options, settings field by field, self-test and sky, compared with before."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from benchday.bench.holds import Hold
from benchday.bench.saved import save_settings
from benchday.bench.serving import Serving
from benchday.domain.kinds import LineStopped, UnitIdentified, UnitVerified, VerifyFailed
from benchday.domain.playbook import StepName
from benchday.domain.readings import Identity, Mode
from benchday.domain.units import Role


async def verify(at: Serving) -> StepName:
    """Compare the unit with what it should be; a failure stops the line for this image and model."""
    wanted = at.story.sent.release if at.story.sent else at.story.target
    found = await (await at.line()).identify()
    problems = [*_release_problems(at, found, wanted), *_lost(at, found)]
    # A unit in its boot loader answers little more than who it is.
    differences, test, sky = ([], "not run", "not told") if found.mode is Mode.BOOT else await _look(at, problems)
    await at.record(at.draft(_identified(at, found)))
    if problems:
        await _failed(at, problems, wanted)
    facts = UnitVerified(
        release=found.release or "", settings_same=not differences, differences=differences, self_test=test, sky=sky
    )
    await at.record(at.draft(facts))
    await at.let_go()
    if at.story.target is not None and found.release != at.story.target and at.story.route:
        return StepName.CHECK
    if at.pool:
        await at.tools.places.free(at.unit, at.pool)
    return StepName.LAST_LOOK


async def _look(at: Serving, problems: list[str]) -> tuple[list[str], str, str]:
    after = await save_settings(at, "after")
    differences = setting_differences(at.story.settings_before or {}, after, at.playbook.compare_settings)
    problems += [f"setting {d}" for d in differences]
    tested = await (await at.line()).self_test()
    if not tested.passed:
        problems.append(f"the self-test failed: {tested.words or 'no reason told'}")
    return differences, "passed" if tested.passed else f"failed: {tested.words}", await _sky(at)


def _release_problems(at: Serving, found: Identity, wanted: str | None) -> list[str]:
    problems = []
    if found.serial != at.unit:
        problems.append(f"the unit now says it is {found.serial}, not {at.unit}")
    if found.mode is Mode.BOOT:
        problems.append("the unit is in its boot loader, with no valid release")
    elif wanted is not None and found.release != wanted:
        problems.append(f"the release is {found.release}, expected {wanted}")
    return problems


def _lost(at: Serving, found: Identity) -> Iterator[str]:
    """Yield what the unit knew of itself before and tells otherwise now; its boot loader tells neither."""
    options, term = at.story.options_before, at.story.term_before
    if found.mode is not Mode.RUN:
        return
    if options is not None and found.options != options:
        yield f"installed options are {', '.join(found.options) or 'none'}, before {', '.join(options) or 'none'}"
    if term is not None and found.term is not None and found.term != term:
        yield f"the support term it knows ends on {found.term}, before on {term}"


def setting_differences(before: Mapping[str, str], after: Mapping[str, str], compared: tuple[str, ...]) -> list[str]:
    """Compare settings field by field; radio frequencies and their bandwidth come first."""
    names = [n for n in sorted({*before, *after}) if not compared or n in compared]
    names.sort(key=lambda n: not ("frequency" in n or "bandwidth" in n))
    return [
        f"{n} is {after.get(n, 'gone')}, before {before.get(n, 'not there')}"
        for n in names
        if before.get(n) != after.get(n) and before
    ]


async def _sky(at: Serving) -> str:
    if at.story.role == Role.NONE.value:
        return "no receiver"
    sky = await (await at.line()).sky()
    # No view of the sky on the bench is no fault: "plausible" is all that can be said here.
    return f"{sky.fix} fix, {sky.satellites} satellites" if sky.fix != "none" else "no view of the sky"


def _identified(at: Serving, found: Identity) -> UnitIdentified:
    by = "hand" if at.driver is not None and "identify" in at.driver.by_hand else "driver"
    return UnitIdentified(
        serial=found.serial, model=found.model, hardware=found.hardware, mode=found.mode.value, release=found.release,
        options=list(found.options), term=found.term, by=by,
    )  # fmt: skip


async def _failed(at: Serving, problems: list[str], wanted: str | None) -> None:
    drafts = [at.draft(VerifyFailed(problems=problems))]
    if at.story.sent is not None:
        reason = f"verify failed on unit {at.unit}: {'; '.join(problems)}"
        drafts.append(at.draft(LineStopped(model=at.story.model, release=wanted or "", reason=reason)))
    await at.record(*drafts)
    raise Hold("verify", f"verify failed: {'; '.join(problems)}", "a person finds out why, then lifts it")
