"""The forecast's picture and page, written where they were asked for, over nothing but an older one."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from benchday.cli.forecast_page import More, forecast_page
from benchday.cli.forecast_picture import MADE_BY, forecast_picture
from benchday.cli.forecast_scene import Scene
from benchday.domain.errors import InputError

OURS = (f"<metadata>{MADE_BY}</metadata>".encode(), f'content="{MADE_BY}"'.encode())
"""One of these stands near the beginning of each file of this command."""


def write_files(
    scene: Scene, svg: Path | None, html: Path | None, assumptions: Sequence[str], more: Sequence[More] = ()
) -> None:
    """Write the picture, the page, both or neither.

    Args:
        scene: what is drawn.
        svg: where the picture goes.
        html: where the page goes.
        assumptions: what the forecast supposes, for the page.
        more: further tables of the page.

    Raises:
        InputError: something else stands there, or it cannot be written.
    """
    if svg is not None:
        _write(svg, forecast_picture(scene), "--svg", "picture")
    if html is not None:
        _write(html, forecast_page(scene, assumptions, more), "--html", "page")


def _write(path: Path, text: str, option: str, what: str) -> None:
    beside = path.with_name(f".{path.name}.part")
    try:
        if path.exists() and not _is_ours(path):
            kept = f"this file was there before and is no {what} of this command, so it is left as it is"
            raise InputError(f"{option} {path}: {kept}; name another file")
        beside.write_text(text, encoding="utf-8", newline="\n")
        os.replace(beside, path)  # noqa: PTH105 -- the one call that replaces on every system
    except OSError as error:
        beside.unlink(missing_ok=True)
        why = error.strerror or error
        raise InputError(
            f"the {what} cannot be written to {path}: {why}; name another file with {option} FILE"
        ) from error


def _is_ours(path: Path) -> bool:
    with path.open("rb") as file:
        begins = file.read(20_000)
    return any(mark in begins for mark in OURS)
