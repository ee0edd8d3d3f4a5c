"""The validate command as a value: every mistake of a day's files, all at once."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

from benchday.inputs.day import read_day
from benchday.inputs.outcome import Outcome


def validate(folder: Path) -> dict[str, Any]:
    """Return the result document of ``validate DIR --json``; it is right when ``mistakes`` is empty."""
    return document(folder, read_day(folder))


def document(folder: Path, outcome: Outcome) -> dict[str, Any]:
    """Return an outcome as the result document."""
    return {
        "benchday": "validate/1",
        "folder": str(folder),
        "mistakes": [asdict(mistake) for mistake in outcome.mistakes],
        "notices": [asdict(notice) for notice in outcome.notices],
        "digests": dict(sorted(outcome.plan.digests.items())) if outcome.plan is not None else {},
    }


def report(outcome: Outcome) -> str:
    """Return an outcome as lines for a person."""
    lines = [f"note: {notice}" for notice in outcome.notices]
    lines += [str(mistake) for mistake in outcome.mistakes]
    if outcome.mistakes:
        many = f"{len(outcome.mistakes)} mistakes" if len(outcome.mistakes) > 1 else "1 mistake"
        lines.append(f"{many}; nothing was begun. Put this right and run it again.")
    elif (plan := outcome.plan) is not None:
        units, playbooks, images = len(plan.roster), len(plan.playbooks), len(plan.images.images)
        lines.append(f"no mistakes: {units} units expected, {playbooks} playbooks, {images} images")
    return "\n".join(lines)
