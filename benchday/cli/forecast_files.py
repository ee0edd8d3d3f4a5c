"""The forecast's picture and page, written where they were asked for, over nothing but an older one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from benchday.cli.forecast_page import More, forecast_page
from benchday.cli.forecast_picture import MADE_BY, forecast_picture
from benchday.cli.forecast_scene import Scene
from benchday.cli.writing import mark_of, write_file

OURS = mark_of(MADE_BY)


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
        write_file(svg, forecast_picture(scene), option="--svg", what="picture", ours=OURS)
    if html is not None:
        page = forecast_page(scene, assumptions, more)
        write_file(html, page, option="--html", what="page", ours=OURS)
