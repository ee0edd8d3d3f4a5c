"""The entry point. Everything heavy is imported by the command that needs it."""

from __future__ import annotations

import os
import sys


def run() -> None:
    """Run benchday as the console script does."""
    arguments = sys.argv[1:]
    if "--no-color" in arguments:
        # Accepted anywhere, because nobody remembers on which side of the command an option belongs.
        os.environ["NO_COLOR"] = "1"
        arguments = [a for a in arguments if a != "--no-color"]
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            # A terminal that lacks a character shows its number; it must not end the program.
            stream.reconfigure(errors="backslashreplace")
    from benchday.cli.app import app

    app(args=arguments, prog_name="benchday")


if __name__ == "__main__":
    run()
