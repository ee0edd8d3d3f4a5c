"""Arguments and options that several commands take."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Day = Annotated[Path, typer.Argument(metavar="DIR", help="The day's folder.")]
Here = Annotated[Path, typer.Argument(metavar="[DIR]", help="The day's folder.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]
Speed = Annotated[float, typer.Option("--speed", min=0.001, max=100_000, help="Day time runs so many times as fast.")]
Seed = Annotated[int, typer.Option("--seed", min=0, help="Equal seeds give equal decisions and outcomes.")]
Record = Annotated[
    Path | None, typer.Option("--record", metavar="PATH", help="The record's folder, instead of the usual one.")
]
Name = Annotated[str, typer.Option("--operator", metavar="NAME", help="Who acts: a name of bench.yaml.")]
