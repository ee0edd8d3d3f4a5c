"""The command about drivers: its name and options."""

from __future__ import annotations

from benchday.cli.app_options import Json
from benchday.cli.conduct import conduct


def drivers(
    json: Json = False,
) -> None:
    """List what is installed that speaks with units: what it can do, where it comes from, and what is broken."""

    def command() -> int:
        from benchday.cli.commands.drivers import drivers as begin

        return begin(as_json=json)

    conduct(command)
