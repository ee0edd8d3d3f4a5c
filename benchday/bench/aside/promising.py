"""promise: one that will probably not hold is called out once, with what would save it."""

from __future__ import annotations

from collections.abc import Iterator

from benchday.bench.serving import Tools
from benchday.domain.items import Item, ItemKind
from benchday.domain.telling.figures import clock

PROMISE = "promise "


def promises_to_tell(tools: Tools) -> Iterator[str]:
    """Yield the crews whose promise is at risk and of whom nobody has read that yet."""
    state = tools.book.state
    if not state.promises_at_risk:
        return
    read = {i.item.topic for i in state.items.values() if i.item.topic.startswith(PROMISE) and not i.open}
    yield from (crew for crew in state.promises_at_risk if f"{PROMISE}{crew}" not in read)


async def tell_promise(tools: Tools, crew: str) -> None:
    """Have somebody read it."""
    f, zone = tools.book.state.promises_at_risk[crew], tools.plan.zone
    if f["expected_us"] is not None:
        ready = f"it is ready by {clock(f['expected_us'], zone)} in 80 of 100 drawn days"
    else:
        ready = "it is not ready before closing in more than 20 of 100 drawn days"
    saves = f"What would save it: {f['would_save']}." if f["would_save"] else "Nothing that was tried would save it."
    text = (
        f"The promise to {crew}, {clock(f['promised_us'], zone)}, is at risk: it holds in "
        f"{f['holds_permille'] / 10:.0f} of 100 drawn days; {ready}. {saves}"
    )
    await tools.queue.ask(
        Item("", ItemKind.INSTRUCT, f"{PROMISE}{crew}", text, figures={"units": ", ".join(f["units"])})
    )
