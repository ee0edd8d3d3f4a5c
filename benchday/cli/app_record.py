"""The commands about the record: their names, arguments and options."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchday.cli.conduct import conduct

record = typer.Typer(
    name="record",
    help="Look after the record: copy it, also while a day runs, check it, put a copy in its place.",
    rich_markup_mode=None,
    no_args_is_help=True,
)

Day = Annotated[Path | None, typer.Argument(metavar="[DIR]", help="The day's folder.")]
Where = Annotated[
    Path | None, typer.Option("--record", metavar="PATH", help="The record's folder, instead of the usual one.")
]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]


@record.command(short_help="Copy the record, also while a day runs.")
def copy(
    dest: Annotated[Path, typer.Argument(metavar="DEST", help="The copy's folder, best on another disk.")],
    folder: Day = None,
    record: Where = None,
    json: Json = False,
) -> None:
    """Copy the record, or bring a copy up to date: only what it lacks, whole or not at all, read back and compared."""

    def command() -> int:
        from benchday.cli.commands.record import copy as begin

        return begin(dest, folder, record, as_json=json)

    conduct(command)


@record.command(short_help="Check whether the record proves.")
def check(
    path: Annotated[
        Path | None, typer.Argument(metavar="[PATH]", help="A record, a copy of one, or a day's folder.")
    ] = None,
    json: Json = False,
) -> None:
    """Check every chain, every body, every kept file, who may read it and what was left over; reads only."""

    def command() -> int:
        from benchday.cli.commands.record import check as begin

        return begin(path, as_json=json)

    conduct(command)


@record.command(short_help="Put a copy in the place of a damaged record.")
def restore(
    copy: Annotated[Path, typer.Argument(metavar="COPY", help="The copy's folder.")],
    folder: Day = None,
    record: Where = None,
    json: Json = False,
) -> None:
    """Put a copy in the place of a damaged or lost record; the old one is set aside, never deleted."""

    def command() -> int:
        from benchday.cli.commands.record import restore as begin

        return begin(copy, folder, record, as_json=json)

    conduct(command)
