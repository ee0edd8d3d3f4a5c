"""The name, argument and options of the command about ports."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchday.cli.app_options import Json
from benchday.cli.conduct import conduct


def ports(
    folder: Annotated[Path | None, typer.Argument(metavar="[DIR]", help="The day's folder.")] = None,
    ask: Annotated[
        bool, typer.Option("--ask", help="Ask on free ports who speaks there; never while the day runs.")
    ] = False,
    udev: Annotated[
        bool, typer.Option("--udev", help="Print a rule by which Linux leaves these adapters alone and awake.")
    ] = False,
    record: Annotated[
        Path | None, typer.Option("--record", metavar="PATH", help="The record's folder, instead of the usual one.")
    ] = None,
    json: Json = False,
) -> None:
    """Say which serial ports are plugged in, which cable of the day each is, and what stands in the way of using it."""

    def command() -> int:
        from benchday.cli.commands.ports import Asked
        from benchday.cli.commands.ports import ports as begin

        return begin(Asked(folder, record, ask, udev, json))

    conduct(command)
