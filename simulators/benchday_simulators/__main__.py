"""Commands: `list` tells which models there are, `serve` runs one unit."""

import argparse
import asyncio
import json
import sys
from collections.abc import Sequence
from pathlib import Path

from .models import MODELS
from .trouble_kinds import KINDS, MOMENTS, Kind, moments_of, troubles_of

TALKS_OVER = {
    "serial": "serial line",
    "usb": "USB serial",
    "wifi": "its own Wi-Fi page",
    "page": "its own HTTPS page",
    "drive": "a drive",
    "none": "nothing",
}
TALKS_OVER |= {"smp": "serial line or network, by SMP"}


def main(arguments: list[str] | None = None) -> int:
    """Run a command; gives the exit status: 0 done, 1 could not, 2 wrong usage."""
    wanted = _parser().parse_args(arguments)
    if wanted.command == "serve":
        return _serve(wanted)
    return _list_troubles(as_json=wanted.json) if wanted.troubles else _list(as_json=wanted.json)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="benchday_simulators", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    listing = commands.add_parser("list", help="which models there are")
    listing.add_argument("--troubles", action="store_true", help="what can go wrong instead, when, and with which")
    listing.add_argument("--json", action="store_true")
    serve = commands.add_parser("serve", help="run one unit until SIGTERM")
    serve.add_argument("model", choices=list(MODELS), metavar="MODEL", help=", ".join(MODELS))
    serve.add_argument("--serial", required=True)
    serve.add_argument("--state", required=True, type=Path, metavar="DIR", help="state.json, log.jsonl, recordings/")
    serve.add_argument("--speed", type=_speed, default=1.0, help="how much faster than real physics goes")
    serve.add_argument("--seed", type=int, default=1)
    serve.add_argument("--trouble", type=Path, metavar="FILE", help="what is to go wrong (YAML)")
    serve.add_argument("--key", type=Path, metavar="FILE", help="the day's key, 64 hex digits")
    serve.add_argument("--link", type=Path, metavar="PATH", help="where to keep a link to the port")
    serve.add_argument("--over", choices=("line", "udp"), default="line", help="how a Wherry is reached")
    serve.add_argument("--drive", type=Path, metavar="DIR", help="where a drive shows, if not in its own folder")
    serve.add_argument("--air", type=Path, metavar="DIR", help="the radio shared by the day's units")
    serve.add_argument("--keeper", type=Path, metavar="FILE", help="end 30 s after the process named in it is gone")
    return parser


def _speed(text: str) -> float:
    speed = float(text)
    if not 0 < speed <= 1e6:
        raise argparse.ArgumentTypeError("a number above 0")
    return speed


def _list(*, as_json: bool) -> int:
    if as_json:
        models = [
            {"model": one.name, "family": one.family, "role": one.role, "line": one.line, "hardware": one.hardware}
            for one in MODELS.values()
        ]
        sys.stdout.write(json.dumps({"models": models}) + "\n")
        return 0
    rows = [("model", "family", "role", "talks over", "hardware")]
    rows += [(one.name, one.family, one.role, TALKS_OVER[one.line], " ".join(one.hardware)) for one in MODELS.values()]
    _print(rows)
    return 0


def _list_troubles(*, as_json: bool) -> int:
    if as_json:
        told = {
            "moments": MOMENTS,
            "troubles": [
                {
                    "what": one.what,
                    "words": one.words,
                    "usual": one.usual,
                    "takes": one.takes,
                    "needs": one.needs,
                    "by_time": one.by_time,
                    "models": _models(one),
                }
                for one in KINDS.values()
            ],
        }
        sys.stdout.write(json.dumps(told) + "\n")
        return 0
    rows = [("moment", "when"), *MOMENTS.items()]
    _print(rows)
    sys.stdout.write("\n")
    everywhere = set(MODELS)
    kinds = [("trouble", "what happens", "befalls")]
    for one in KINDS.values():
        befalls = _models(one)
        kinds.append((one.what, one.words, "all" if set(befalls) == everywhere else " ".join(befalls)))
    _print(kinds)
    return 0


def _models(kind: Kind) -> dict[str, tuple[str, ...]]:
    """Give the models that suffer it, each with the moments."""
    return {model: moments_of(model, kind.what) for model in MODELS if kind in troubles_of(model)}


def _print(rows: Sequence[tuple[str, ...]]) -> None:
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    for row in rows:
        sys.stdout.write("  ".join(f"{cell:{width}}" for cell, width in zip(row, widths, strict=True)).rstrip() + "\n")


def _serve(wanted: argparse.Namespace) -> int:
    # Loaded here, so that `list` and wrong usage answer at once.
    from .serve import CannotServe, Order, run  # noqa: PLC0415

    order = Order(
        wanted.model,
        wanted.serial,
        wanted.state,
        wanted.speed,
        wanted.seed,
        **{name: getattr(wanted, name) for name in ("trouble", "key", "link", "air", "keeper", "over", "drive")},
    )
    try:
        asyncio.run(run(order))
    except (CannotServe, OSError, ValueError) as error:
        sys.stderr.write(f"{wanted.model} {wanted.serial} cannot be served: {error}\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
