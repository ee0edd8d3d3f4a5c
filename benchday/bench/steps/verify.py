"""verify: version, options, term and settings field by field, self-test and sky, compared with before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchday.bench.holds import Met, line_stop
from benchday.bench.putting_back import put_back
from benchday.bench.saved import save_settings
from benchday.bench.serving import Serving
from benchday.domain.checks import Answer
from benchday.domain.happenings import Happening, of_release
from benchday.domain.items import Answered, ItemKind, Wanted, WantedKind
from benchday.domain.kinds import UnitIdentified, UnitVerified, VerifyFailed
from benchday.domain.playbook import StepName
from benchday.domain.readings import Identity, Mode
from benchday.domain.recovery import row_for
from benchday.domain.units import Ability, Role
from benchday.planning.plausible import plausibility
from benchday.planning.survival import NOT_THERE, Change, Known, changes

CHANGED = "changed"
"""Topic of the item that asks whether a change may be accepted."""
_ACCEPT_OR_FAIL = (
    Wanted("answer", "accept it, or fail the verify", WantedKind.CHOICE, ("accept", "fail")),
    Wanted("reason", "why"),
)


@dataclass(frozen=True, slots=True)
class _Fault:
    """One thing that is not as it should be."""

    happening: Happening
    text: str


@dataclass(frozen=True, slots=True)
class _Seen:
    """What was looked at besides the release."""

    changed: tuple[Change, ...] = ()
    self_test: str = "not run"
    self_test_failed: str | None = None
    sky: str = "not told"

    @property
    def faults(self) -> list[_Fault]:
        """What fails the verify, whatever anybody says; settings first, for they can be put back."""
        stops = sorted((c for c in self.changed if c.answer is Answer.STOP), key=lambda c: not c.setting)
        changed = [_Fault(Happening.SETTINGS if c.setting else Happening.OPTIONS, c.text) for c in stops]
        failed = [_Fault(Happening.TEST_FAILED, self.self_test_failed)] if self.self_test_failed is not None else []
        return [*changed, *failed]

    @property
    def lost(self) -> tuple[Change, ...]:
        """The settings that stood there before and can be put back."""
        return tuple(c for c in self.changed if c.setting and c.before != NOT_THERE)

    @property
    def asks(self) -> tuple[Change, ...]:
        """What a person may accept."""
        return tuple(c for c in self.changed if c.answer is Answer.ASK)


async def verify(at: Serving) -> StepName:
    """Compare the unit with what it should be; a failure stops the line for this image and model."""
    wanted = at.story.sent.release if at.story.sent else at.story.target
    found = await (await at.line()).identify()
    if found.serial != at.unit:
        # Not this unit's release, and not this unit's settings: nothing more is asked of it.
        raise await _failed(at, _Fault(Happening.SWAPPED, f"the unit now says it is {found.serial}, not {at.unit}"))
    # A unit in its boot loader answers little more than who it is.
    seen = _Seen() if found.mode is Mode.BOOT else await _look(at, found)
    await at.record(at.draft(_identified(at, found)))
    if at.restoring and seen.lost and await put_back(at, {c.field: c.before for c in seen.lost}):
        seen = await _look(at, found)
    faults = [*_release_faults(at, found, wanted), *seen.faults]
    if faults:
        raise await _failed(at, *faults, *(_Fault(Happening.NOT_ACCEPTED, c.text) for c in seen.asks))
    decided = await _decided(at, seen.asks) if seen.asks else None
    await _verified(at, found, seen, decided)
    await at.let_go()
    if at.story.target is not None and found.release != at.story.target and at.story.route:
        return StepName.CHECK
    if at.pool:
        await at.tools.places.free(at.unit, at.pool)
    return StepName.LAST_LOOK


async def _verified(at: Serving, found: Identity, seen: _Seen, decided: Answered | None) -> None:
    facts = UnitVerified(
        release=found.release or "",
        settings_same=not any(c.setting for c in seen.changed),
        differences=[_accepted(c, decided) for c in seen.asks],
        self_test=seen.self_test,
        sky=seen.sky,
    )
    await at.record(at.draft(facts, operator=decided.operator if decided else None))


async def _look(at: Serving, found: Identity) -> _Seen:
    story, by_hand = at.story, (await at.line()).by_hand
    after = await save_settings(at, "after")
    # A term that was renewed today may have come onto the unit meanwhile.
    renewed = found.term is not None and found.term == story.term_renewed
    changed = changes(
        Known(story.settings_before, story.options_before, found.term if renewed else story.term_before),
        Known(after, found.options, found.term, by_hand="identify" in by_hand),
        at.playbook,
    )
    tested = await (await at.line()).self_test()
    words = tested.words or "no reason told"
    failed = None if tested.passed else f"the self-test failed: {words}"
    return _Seen(changed, "passed" if tested.passed else f"failed: {tested.words}", failed, await _sky(at))


def _release_faults(at: Serving, found: Identity, wanted: str | None) -> list[_Fault]:
    happening = of_release(found, wanted, at.story.before, boots_failed=at.story.boots_failed)
    if happening is None:
        return []
    if found.mode is Mode.BOOT:
        again = ", after a second whole image" if happening is Happening.BOOT_AGAIN else ""
        return [_Fault(happening, f"the unit is in its boot loader, with no valid release{again}")]
    text = f"the release is {found.release}, expected {wanted}"
    if happening is Happening.OLD_RELEASE and at.story.sent is not None:
        text += f"; {at.story.became}, but the unit did not keep it, or did not take it, as when its power fails"
    return [_Fault(happening, text)]


async def _decided(at: Serving, asks: Sequence[Change]) -> Answered:
    """Have a person accept what changed, with a reason; whoever does not accept it fails the verify.

    Raises:
        Met: it was not accepted.
    """
    said = "; ".join(c.text for c in asks)
    text = f"Unit {at.unit} on station {at.station} is not as it was before the write: {said}. May it stay so?"
    answered = await at.ask(ItemKind.DECIDE, CHANGED, text, *_ACCEPT_OR_FAIL, ability=Ability.CONFIRM)
    if answered.text("answer") != "accept":
        why = f"{answered.operator} decided: {answered.text('reason')}"
        raise await _failed(at, *(_Fault(Happening.NOT_ACCEPTED, text) for text in (*(c.text for c in asks), why)))
    return answered


def _accepted(change: Change, decided: Answered | None) -> str:
    if decided is None:
        return change.text
    return f"{change.text}; accepted by {decided.operator}: {decided.text('reason')}"


async def _sky(at: Serving) -> str:
    if at.story.role == Role.NONE.value:
        return "no receiver"
    sky = await (await at.line()).sky()
    # No view of the sky on the bench is no fault: "plausible" is all that can be said here.
    if sky.fix == "none":
        return "no view of the sky"
    mark = at.tools.plan.bench.mark
    told = plausibility(sky, mark) if mark is not None else None
    return f"{sky.fix} fix, {sky.satellites} satellites" + (f"; {told}" if told else "")


def _identified(at: Serving, found: Identity) -> UnitIdentified:
    by = "hand" if at.driver is not None and "identify" in at.driver.by_hand else "driver"
    return UnitIdentified(
        serial=found.serial, model=found.model, hardware=found.hardware, mode=found.mode.value, release=found.release,
        options=list(found.options), term=found.term, by=by,
    )  # fmt: skip


async def _failed(at: Serving, *faults: _Fault) -> Met:
    """Record what is wrong, and with it that the line stops; return what befell the unit: the first counts most."""
    stage, said = at.stage(StepName.VERIFY), "; ".join(f.text for f in faults)
    drafts = [at.draft(VerifyFailed(problems=[f.text for f in faults]))]
    if at.story.sent is not None and row_for(stage, faults[0].happening).stops_line:
        drafts.append(at.draft(line_stop(at.story, at.story.sent.release, stage, said)))
    await at.record(*drafts)
    return Met(faults[0].happening, said, stage=stage, line_told=True)
