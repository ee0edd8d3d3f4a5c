"""connect: the unit is put on its station; then it waits for its cable or adapter."""

from __future__ import annotations

from benchday.bench.serving import Serving
from benchday.domain.cautions import Moment
from benchday.domain.items import ItemKind
from benchday.domain.playbook import StepName


async def connect(at: Serving) -> StepName:
    """Have the unit set up, take a cable of its type, and have it plugged in."""
    words = at.playbook.step(StepName.CONNECT).hands or "Set it down and switch it on."
    text = f"Put unit {at.unit} ({at.story.model}) on station {at.station}. {words}"
    await at.ask(ItemKind.INSTRUCT, "connect", text, moment=Moment.CONNECT)
    if at.pool is not None:
        place = await at.tools.places.get(at.unit, at.pool)
        await at.ask(ItemKind.INSTRUCT, "plug", _joining(at, place))
    return StepName.IDENTIFY


def _joining(at: Serving, place: str) -> str:
    if at.playbook.wifi:
        page = at.playbook.page
        network = f" {page.network.of(at.unit)}" if page is not None and page.network is not None else ""
        return (
            f"Switch unit {at.unit} on (station {at.station}) and join its own Wi-Fi network{network} with adapter "
            f"{place}."
        )
    cable = f"cable {place} ({at.playbook.connector})"
    return f"Plug {cable} into unit {at.unit} on station {at.station} until it sits, then switch the unit on."
