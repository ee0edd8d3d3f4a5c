"""The command demo: its name, arguments and options."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchday.cli.app_options import Here, Json, Seed, Speed
from benchday.cli.conduct import conduct


def demo(
    folder: Here = Path("benchday-demo"),
    units: Annotated[
        int | None,
        typer.Option("--units", min=1, max=60, help="How many instruments.", show_default="every kind served here"),
    ] = None,
    seed: Seed = 1,
    speed: Speed = 600.0,
    trouble: Annotated[
        Path | None,
        typer.Option("--trouble", metavar="FILE", help="What shall go wrong: a file, or the name of a shipped one."),
    ] = None,
    json: Json = False,
) -> None:
    """Run a whole day with simulated instruments and operators, in a folder of its own."""

    def command() -> int:
        from benchday.cli.commands.demo import demo as begin

        return begin(folder, units, seed, speed, trouble, as_json=json)

    conduct(command)
