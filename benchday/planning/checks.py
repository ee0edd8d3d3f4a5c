"""The checks before a write: each a pure function from plain values to a finding with the figures it rests on."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from benchday.domain.checks import Answer, Check, Finding
from benchday.domain.playbook import Playbook
from benchday.domain.readings import Identity, Recording
from benchday.domain.recordable import NO_TERM
from benchday.domain.releases import Image
from benchday.planning.target import Target
from benchday.planning.terms import TERM_ENDS_SOON_DAYS
from benchday.planning.wording import counted, either, in_bytes, listed

_TERM_KNOWN = "the last day of the support term is known"
_OWNER = "the owner lets them go"
SPARE_BYTES = 200_000_000
"""Room that must remain on the disk beside the recordings."""


def identity(checked_in: str, reported: str | None) -> Finding:
    """Answer whether the unit is the one that was checked in.

    Args:
        checked_in: serial read off the label.
        reported: serial as the unit reports it; None if it did not answer.
    """
    figures: dict[str, int | str] = {"checked_in": checked_in, "reported": reported or "nothing"}
    if not reported:
        text = f"unit {checked_in} does not tell its serial: is the cable of the right type, seated, and the unit on?"
        return Finding(Check.IDENTITY, Answer.STOP, text, figures, "the unit answers on a known good cable")
    if reported != checked_in:
        text = (
            f"the label says {checked_in}, the unit reports {reported}: hold it and find out which unit this is; "
            "nothing is written to it"
        )
        clears = "the right unit is checked in, or the label is put right"
        return Finding(Check.IDENTITY, Answer.STOP, text, figures, clears)

    return Finding(Check.IDENTITY, Answer.CLEAR, f"the unit reports the serial on its label, {reported}", figures)


def sign_in(told: Identity) -> tuple[Finding, ...]:
    """Return what is to be said of how the unit's page was come to; nothing of one that has no page."""
    figures: dict[str, int | str] = {"certificate_sha256": told.certificate} if told.certificate else {}
    return tuple(
        Finding(
            Check.SUPPORT_TERM if remark.startswith(NO_TERM) else Check.SIGN_IN,
            Answer.CLEAR,
            f"caution: {remark}",
            figures,
        )
        for remark in told.remarks
    )


def model(checked_in: str, told: Identity, playbook: Playbook, images: Sequence[Image]) -> Finding:
    """Answer whether model and hardware revision fit the playbook and the images to write.

    Args:
        checked_in: model as it was checked in.
        told: what the unit says of itself.
        playbook: the one in use for it.
        images: to write, in the order of the route.
    """
    figures: dict[str, int | str] = {
        "checked_in": checked_in,
        "reported": told.model,
        "hardware": told.hardware or "not told",
    }
    if told.model != checked_in or told.model not in playbook.models:
        text = (
            f"checked in as {checked_in}, the unit says that it is a {told.model}, and playbook {playbook.playbook} is "
            f"for {listed(playbook.models)}: hold it and correct the roster or choose the right playbook"
        )
        clears = "the roster or the playbook is put right, or the right unit is checked in"
        return Finding(Check.MODEL, Answer.STOP, text, figures, clears)

    for image in images:
        if not image.suits(told.model, told.hardware or None):
            revisions = listed(image.hardware) if image.hardware else "any"
            text = (
                f"{image.file} is for {listed(image.models)}, hardware revision {revisions}, not for a {told.model} "
                f"revision {told.hardware}: take another image or hold the unit"
            )
            clears = f"the image store holds {image.release} for a {told.model} revision {told.hardware}"
            return Finding(Check.MODEL, Answer.STOP, text, figures, clears)
        if image.hardware and not told.hardware:
            text = (
                f"the unit does not tell its hardware revision, and {image.file} suits {listed(image.hardware)} only: "
                "read the revision off the label"
            )
            clears = f"its hardware revision is known to be {either(image.hardware)}"
            return Finding(Check.MODEL, Answer.ASK, text, figures, clears)

    revision = f", hardware revision {told.hardware}" if told.hardware else ""
    return Finding(Check.MODEL, Answer.CLEAR, f"a {told.model}{revision}, as the playbook and the images want", figures)


def image(wanted: Image, held: bytes | None) -> Finding:
    """Answer whether the bytes held in memory are the image of the list, by size and SHA-256 (FIPS 180-4)."""
    figures: dict[str, int | str] = {"file": wanted.file, "listed_bytes": wanted.bytes, "listed_sha256": wanted.sha256}
    if held is None:
        text = f"image {wanted.file} could not be read: is it in the image store?"
        return Finding(Check.IMAGE, Answer.STOP, text, figures, f"{wanted.file} is in the image store")

    digest = hashlib.sha256(held).hexdigest()
    figures |= {"held_bytes": len(held), "held_sha256": digest}
    if len(held) != wanted.bytes or digest != wanted.sha256:
        text = (
            f"image {wanted.file} is not the one in images.yaml: {len(held):,} bytes, SHA-256 {digest[:12]}..., "
            f"listed are {wanted.bytes:,} bytes, {wanted.sha256[:12]}...; fetch it anew from {wanted.source}"
        )
        clears = f"{wanted.file} is fetched anew and has the size and digest of the list"
        return Finding(Check.IMAGE, Answer.STOP, text, figures, clears)

    text = f"image {wanted.file} ({in_bytes(wanted.bytes)}) has the size and digest of the list"
    return Finding(Check.IMAGE, Answer.CLEAR, text, figures)


def recordings_gone(gone: Sequence[Recording], unlisted: int = 0) -> Finding:
    """Answer that recordings which were on the unit before cannot be found on it any more, and that nobody has a copy.

    Args:
        gone: those whose names and sizes are known.
        unlisted: how many more were counted by hand that nobody could list or copy.
    """
    named = [f"{r.name} ({in_bytes(r.bytes)})" for r in gone]
    texts = [f"recordings that the unit listed before are not on it any more, and were not copied: {listed(named)}"]
    if unlisted:
        known = "its name and size are" if unlisted == 1 else "their names and sizes are"
        more = f"{counted(unlisted, 'recording')} more" if gone else counted(unlisted, "recording")
        texts = [*(texts if gone else ()), f"{more} counted on the unit could not be copied off it; {known} not known"]
    figures: dict[str, int | str] = {"gone": len(gone) + unlisted, "gone_bytes": sum(r.bytes for r in gone)}
    clears = "whoever has them brings them, they are found and copied, or their owner lets them go"
    return Finding(Check.RECORDINGS, Answer.STOP, "; ".join(texts), figures, clears)


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of the recordings on a unit."""

    recordings: tuple[Recording, ...] | None
    """All that are on the unit; None if nobody has listed them."""
    preserved: Mapping[str, str]
    """SHA-256 of the whole copy in the archive, by the recording's name."""
    let_go: Collection[str] = ()
    """Names of those that the owner lets go."""
    preserve_done: bool = True
    """Preserve is over; before that, what is not yet preserved only waits for it."""


def recordings(kept: Kept, *, erases: bool = True) -> Finding:
    """Answer whether the write may erase what is on the unit."""
    if not erases:
        return Finding(Check.RECORDINGS, Answer.CLEAR, "nothing is erased")
    if kept.recordings is None:
        text = "nobody knows what recordings are on the unit, and the write erases them: list them first"
        return Finding(Check.RECORDINGS, Answer.STOP, text, clears="the recordings are listed and preserved")
    if not kept.recordings:
        return Finding(Check.RECORDINGS, Answer.CLEAR, "no recordings are on the unit", {"recordings": 0})

    return _fate(kept, kept.recordings)


def _fate(kept: Kept, on_unit: Sequence[Recording]) -> Finding:
    size = sum(r.bytes for r in on_unit)
    let_go = [r for r in on_unit if r.name in kept.let_go]
    open_ = [r for r in on_unit if r.name not in kept.let_go and r.name not in kept.preserved]
    # A digest that the unit tells itself must be the copy's.
    differ = [r for r in on_unit if r not in let_go and r.sha256 and kept.preserved.get(r.name, r.sha256) != r.sha256]
    figures: dict[str, int | str] = {
        "recordings": len(on_unit),
        "recordings_bytes": size,
        "preserved": len(on_unit) - len(let_go) - len(open_) - len(differ),
        "let_go": len(let_go),
        "open": len(open_) + len(differ),
    }
    if differ:
        text = (
            f"the copy of {listed(r.name for r in differ)} is not what is on the unit (the digests differ): copy it "
            "anew, or ask the owner whether it may be lost"
        )
        return Finding(Check.RECORDINGS, Answer.STOP, text, figures, "a whole copy is in the archive, or " + _OWNER)
    if open_ and not kept.preserve_done:
        text = f"{counted(len(open_), 'recording')} ({in_bytes(sum(r.bytes for r in open_))}) to be preserved first"
        return Finding(Check.RECORDINGS, Answer.CLEAR, text, figures)
    if open_:
        text = (
            f"{listed(r.name for r in open_)} ({in_bytes(sum(r.bytes for r in open_))}) would be lost: preserve them, "
            "or ask the owner whether they may be lost"
        )
        return Finding(Check.RECORDINGS, Answer.STOP, text, figures, "each is preserved, or " + _OWNER)

    whole = f"{counted(len(on_unit) - len(let_go), 'recording')} preserved, each copy proved whole"
    lost = f"; lost for good, as the owner agreed: {listed(r.name for r in let_go)}" if let_go else ""
    return Finding(Check.RECORDINGS, Answer.CLEAR, whole + lost, figures)


def support_term(target: Target, last_day: str | None, on: str, playbook: Playbook) -> Finding:
    """Answer whether the target may be put on the unit under its support term.

    Args:
        target: of the unit.
        last_day: of the support term (ISO 8601); None if not known.
        on: today (ISO 8601).
        playbook: how many days before its end a term is pointed out.
    """
    found = target.finding(Check.SUPPORT_TERM)
    if found is not None and last_day is None:
        return _with(found, _TERM_KNOWN)
    if not target.images:
        return Finding(Check.SUPPORT_TERM, Answer.CLEAR, "nothing is to be written, so the term does not matter")
    if last_day is None:
        text = "the support term is not known: ask the customer or the maker for its last day"
        return Finding(Check.SUPPORT_TERM, Answer.ASK, text, clears=_TERM_KNOWN)

    warn_days = playbook.limit(Check.SUPPORT_TERM, "warn_days", TERM_ENDS_SOON_DAYS)
    return _within_term(target.images, last_day, on, warn_days)


def _within_term(images: Sequence[Image], last_day: str, on: str, warn_days: int) -> Finding:
    end = date.fromisoformat(last_day)
    days = (end - date.fromisoformat(on)).days
    latest = max(images, key=lambda i: i.issued_on)
    figures: dict[str, int | str] = {"term": last_day, "issued": latest.issued, "days_left": days}
    if latest.issued_on > end:
        text = (
            f"{latest.release} was issued on {latest.issued}, after the support term ended on {last_day}: it may not "
            "be put on this unit"
        )
        return Finding(Check.SUPPORT_TERM, Answer.STOP, text, figures, "the support term is renewed")

    text = f"{latest.release} was issued on {latest.issued}, within the support term, which ends on {last_day}"
    if 0 <= days <= warn_days:
        text += f", in {counted(days, 'day')}: tell the customer"
    return Finding(Check.SUPPORT_TERM, Answer.CLEAR, text, figures)


def route(target: Target) -> Finding:
    """Answer whether a way leads from the release now to the target."""
    found = target.finding(Check.ROUTE) or target.finding(Check.IMAGE)
    if found is not None:
        return _with(found, "the image store holds what the way needs")
    figures: dict[str, int | str] = {"now": target.now or "none", "writes": len(target.route)}
    if not target.route:
        return Finding(Check.ROUTE, Answer.CLEAR, f"nothing is to be written: {target.reason}", figures)

    text = f"{counted(len(target.route), 'write')}: {' -> '.join((target.now or 'boot loader', *target.route))}"
    return Finding(Check.ROUTE, Answer.CLEAR, text, figures)


def set_together(target: Target) -> tuple[Finding, ...]:
    """Return what was found about the matching set, a clear answer if nothing stands against it."""
    found = tuple(_with(f, "somebody decides about the set") for f in target.findings if f.check is Check.SET)
    return found or (Finding(Check.SET, Answer.CLEAR, "the releases of the set work together, as far as is known"),)


def _with(finding: Finding, clears: str) -> Finding:
    """Return a finding that says what would clear it, in its own words where it has some."""
    return finding if finding.clears or finding.answer is Answer.CLEAR else replace(finding, clears=clears)


@dataclass(frozen=True, slots=True)
class First:
    """What the rule of the first unit of a model and release says of this one."""

    wanted: bool = False
    """The day is run with first_off."""
    verified: bool = False
    """A unit of the model was verified on the release today."""
    ahead: str | None = None
    """Which unit is being written as the first, in words; None if nobody is ahead."""


NOT_WANTED = First()
"""A day without the rule."""


def first_off(target: Target, model: str, first: First) -> Finding:
    """Tell which unit of a model is the first on its release; a unit behind it waits, and is not stopped."""
    figures: dict[str, int | str] = {"first_off": "on" if first.wanted else "off", "verified": _yes(first.verified)}
    kind = f"{model} on {target.release}"
    if not target.route or not first.wanted:
        why = "nothing is to be written" if not target.route else "units need not wait for the first of their kind"
        return Finding(Check.FIRST_OFF, Answer.CLEAR, why, figures)
    if first.verified:
        text = f"a {kind} was verified today: this one need not wait"
    elif first.ahead is not None:
        figures["ahead"] = first.ahead
        text = f"{first.ahead}: this one waits at its confirmation until it is"
    else:
        text = f"the first write of a {kind} today: others wait until it is verified"
    return Finding(Check.FIRST_OFF, Answer.CLEAR, text, figures)


def _yes(known: bool) -> str:
    return "yes" if known else "no"
