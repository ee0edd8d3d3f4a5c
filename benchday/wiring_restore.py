"""Joins the record and the bench where a copy takes the place of a record: part of ``wiring``, in a file of its own."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from benchday.bench.book import Book
from benchday.bench.restored import drafts_of_restoring
from benchday.domain.fold import fold
from benchday.domain.kinds import RecordRestored
from benchday.record.clock import DayClock
from benchday.record.journal import open_journal
from benchday.record.reading import open_reader
from benchday.record.restoring import Restoring, restoring


async def restore_record(copy: Path, folder: Path, progress: Callable[[int, int], None]) -> tuple[Restoring, list[str]]:
    """Put a copy in the place of a damaged or lost record; return what was done, and the units that are held for it.

    Raises:
        RecordDamaged: the copy does not prove; nothing was changed.
        RecordError: a program writes the record, or it is whole and knows more; nothing was changed.
    """
    held: list[str] = []
    with restoring(copy, folder, DayClock().wall(), progress) as made:
        if made.laid_out is not None:
            for bench in made.copy.ends:
                held += await _say_restored(made, made.laid_out, bench)
            made.put_in_place()
    return made, held


async def _say_restored(made: Restoring, record: Path, bench: str) -> list[str]:
    with open_reader(record) as reader:
        state = fold(reader.read(bench))
    simulated = bool(made.copy.simulated)
    clock = DayClock(state.at_us if simulated else None)
    journal = open_journal(record, bench, clock, simulated=simulated)
    try:
        book, gone = Book(journal, clock), [m for m in made.missing if m.bench == bench]
        facts = RecordRestored(
            copied_wall_us=(made.copy.copy.made_wall_us if made.copy.copy else None) or 0,
            through=book.state.seq,
            lost=made.entries_missing(bench),
            units=sorted({m.unit for m in gone if m.unit}),
        )
        spent = {m.unit for m in gone if m.unit and m.kind == "act_spent"}
        drafts = drafts_of_restoring(book.state, facts, spent)
        await book.append(*drafts)
    finally:
        await journal.close()
    return [d.unit for d in drafts if d.kind == "unit_held" and d.unit]
