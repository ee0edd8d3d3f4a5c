"""The tables of the forecast's page about what would help, what was asked, and what can be promised."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import tzinfo

from benchday.cli.forecast_gains import gain_rows
from benchday.cli.forecast_options import Further
from benchday.cli.forecast_page import More
from benchday.domain.clean import clean
from benchday.domain.telling.figures import clock
from benchday.planning.forecast.what_if import Gain
from benchday.planning.wording import in_percent, listed

HEAD = "change"


def page_tables(found: Further, zone: tzinfo) -> Iterator[More]:
    """Yield a table for each thing that was found besides the day's end."""
    for caption, gains in (
        ("What would help most: how much earlier everything is done", found.would_help),
        ("What if: how much earlier everything is done", found.what_if),
        ("Compared with another plan: how much earlier everything is done", (found.against,) if found.against else ()),
    ):
        if gains:
            yield _gains(caption, gains, found)
    if found.promises is not None:
        rows = tuple(
            (clean(p.title), "not today" if p.at_us is None else clock(p.at_us, zone), in_percent(p.holds))
            for p in found.promises.crews
        )
        caption = f"What can be promised, each with {100 * found.promises.probability:g} %"
        words = f"All of these hold together in {100 * found.promises.together:.0f} of 100 days."
        yield More(caption, ("crew", "ready by", "holds"), rows, words)


def _gains(caption: str, gains: Sequence[Gain], found: Further) -> More:
    (_, *heads), *rows = gain_rows([g for g in gains if not g.buys_nothing], found.currency)
    nothing = [clean(gain.name) for gain in gains if gain.buys_nothing]
    words = f"Minutes with twice their standard error, on {found.replications} days with the same chances."
    if nothing:
        words += f" Buys nothing that can be told from chance: {listed(nothing)}."
    return More(caption, (HEAD, *heads), tuple(rows), words)
