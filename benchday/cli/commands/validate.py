"""validate: every mistake in a day's files, all at once."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from benchday.at_hand.drivers import installed_drivers
from benchday.cli.exits import Exit
from benchday.cli.newest_list import newest_in_record
from benchday.cli.output import json_text
from benchday.cli.port_notices import port_notices
from benchday.domain.clean import clean
from benchday.domain.errors import Mistake, MistakesFound
from benchday.inputs.day import read_day
from benchday.inputs.outcome import Outcome
from benchday.inputs.playbook_files import read_playbook
from benchday.inputs.validate import document, report


def validate(folder: Path, *, as_json: bool) -> int:
    """Say what is wrong with a day's files."""
    if folder.is_file():
        return _playbook(folder, as_json=as_json)
    seen, notices = newest_in_record(folder)
    outcome = read_day(folder, seen, drivers=installed_drivers())
    outcome = replace(outcome, notices=(*outcome.notices, *notices, *port_notices(folder, outcome.plan)))
    if as_json:
        print(json_text(document(folder, outcome)))
    else:
        print(clean(report(outcome), keep_lines=True))
    return Exit.INPUT if outcome.mistakes else Exit.DONE


def _playbook(path: Path, *, as_json: bool) -> int:
    """Say what is wrong with one playbook."""
    mistakes: tuple[Mistake, ...] = ()
    try:
        read_playbook(path)
    except MistakesFound as found:
        mistakes = found.mistakes
    if as_json:
        print(json_text(document(path, Outcome(None, mistakes))))
    else:
        print(clean("\n".join(map(str, mistakes)) or f"no mistakes in {path}", keep_lines=True))
    return Exit.INPUT if mistakes else Exit.DONE
