"""The command try: its name, arguments and options."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchday.cli.app_options import Json
from benchday.cli.conduct import conduct


def try_playbook(
    playbook: Annotated[Path, typer.Argument(metavar="PLAYBOOK", help="The playbook's file.")],
    port: Annotated[str, typer.Argument(metavar="PORT", help="Where the unit is: a port, or an address.")],
    transcript: Annotated[
        Path | None, typer.Option("--transcript", metavar="FILE", help="Write every byte said and heard, with times.")
    ] = None,
    serial: Annotated[
        str, typer.Option("--serial", metavar="SERIAL", help="The unit's serial, for a dialogue that says it.")
    ] = "",
    json: Json = False,
) -> None:
    """Try a playbook on a real unit: everything that reads, and nothing that changes it."""

    def command() -> int:
        from benchday.cli.commands.try_playbook import TryOptions
        from benchday.cli.commands.try_playbook import try_playbook as begin

        return begin(TryOptions(playbook, port, transcript, serial, as_json=json))

    conduct(command)
