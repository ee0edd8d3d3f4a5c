"""line: a stopped line waits for a person to lift it."""

from __future__ import annotations

from collections.abc import Iterator

from benchday.bench.serving import Tools
from benchday.domain.items import Item, ItemKind, Wanted, WantedKind
from benchday.domain.kinds import LineLifted
from benchday.domain.units import Ability


def lines_to_lift(tools: Tools) -> Iterator[str]:
    """Yield the stopped lines, as ``model|release``."""
    for model, release in tools.book.state.lines_stopped:
        yield f"{model}|{release}"


async def lift_line(tools: Tools, line: str) -> None:
    """Ask until somebody lifts the line, with a reason."""
    model, release = line.split("|", 1)
    reason = tools.book.state.lines_stopped.get((model, release), "")
    item = Item(
        id="",
        kind=ItemKind.DECIDE,
        topic=f"line {model} {release}",
        text=f"The line {model} {release} is stopped: {reason}. No further {model} is written until it is lifted.",
        wanted=(
            Wanted("answer", "lift the line", WantedKind.CHOICE, ("lift",)),
            Wanted("reason", "why it is safe to go on"),
        ),
        ability=Ability.CONFIRM,
    )
    answered = await tools.queue.ask(item)
    facts = LineLifted(model=model, release=release, reason=answered.text("reason"))
    await tools.book.append(facts.draft(operator=answered.operator))
