"""durations: what each step is now believed to take, and how often such predictions held."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from benchday.cli.durations_picture import MADE_BY, picture
from benchday.cli.durations_view import coverage_lines, document_parts, step_lines
from benchday.cli.exits import Exit
from benchday.cli.output import print_document, wrapped
from benchday.cli.reading import opened, source_of
from benchday.cli.writing import mark_of, write_file
from benchday.domain.errors import InputError
from benchday.planning.calibration import Calibration, calibration
from benchday.planning.learning_records import KINDS, DayBegins, Told, records_of, told
from benchday.planning.learnt_steps import LearntStep, learnt_steps, playbooks_of
from benchday.planning.wording import counted


def durations(record: Path | None, svg: Path | None, *, learn_simulated: bool, as_json: bool) -> int:
    """Show what was learnt.

    Raises:
        InputError: the picture cannot be written there, or a real record is to teach as if it were simulated.
        RecordError: there is no record, or it cannot be read.
    """
    source = source_of(None, record)
    with opened(source) as (reader, _):
        simulated = reader.simulated
        if learn_simulated and not simulated:
            raise InputError(f"the record {source.record} is real and its days teach without --simulated; leave it out")
        seen: Sequence[Told] = tuple(told(reader.entries(KINDS), simulated=learn_simulated))
    steps = learnt_steps(playbooks_of(seen).values(), records_of(seen))
    held = calibration(seen)
    if svg is not None:
        drawn = picture(held, str(source.record), simulated=simulated)
        write_file(svg, drawn, option="--svg", what="picture", ours=mark_of(MADE_BY))

    days = sum(isinstance(one, DayBegins) for one in seen)
    if as_json:
        teaches = "simulated" if learn_simulated else "nothing" if simulated else "real"
        head = {"record": str(source.record), "simulated": simulated, "learnt_from": teaches, "days": days}
        shown = {"svg": None if svg is None else str(svg)}
        print_document("durations", head | shown | document_parts(steps, held))
    else:
        _print(steps, held, days, simulated=simulated, learn_simulated=learn_simulated)
        if svg is not None:
            print(f"\nThe picture is in {svg}.")
    return Exit.DONE


def _print(
    steps: Sequence[LearntStep], held: Calibration, days: int, *, simulated: bool, learn_simulated: bool
) -> None:
    if simulated:
        print("SIMULATED: these instruments do not exist.")
    if simulated and not learn_simulated:
        print(wrapped("Nothing is learnt from simulated days unless --simulated asks for it."))
    print(f"Learnt from {counted(days, 'day')}" + ("" if steps else "; the record has seen no playbook"))
    for line in (*step_lines(steps), *coverage_lines(held)):
        print(line)
