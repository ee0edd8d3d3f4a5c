"""validate: every mistake in a day's files, all at once."""

from __future__ import annotations

import json
from pathlib import Path

from benchday.cli.exits import Exit
from benchday.domain.clean import clean
from benchday.inputs.day import read_day
from benchday.inputs.validate import document, report


def validate(folder: Path, *, as_json: bool) -> int:
    """Say what is wrong with a day's files."""
    outcome = read_day(folder)
    if as_json:
        print(json.dumps(document(folder, outcome), ensure_ascii=False, indent=2))
    else:
        print(clean(report(outcome), keep_lines=True))
    return Exit.INPUT if outcome.mistakes else Exit.DONE
