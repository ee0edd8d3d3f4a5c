"""The ports in lines for the terminal."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from benchday.at_hand.ports import LISTS, WARNINGS, Looked
from benchday.cli.output import wrapped
from benchday.domain.clean import clean
from benchday.domain.ports import names_for, server_of

if TYPE_CHECKING:
    from benchday.at_hand.asking import Heard


def lines(found: Looked, heard: Mapping[str, Heard], served: Mapping[str, tuple[str, str | None]]) -> Iterator[str]:
    """Yield the lines.

    Args:
        found: by looking.
        heard: device or address -> what came of asking.
        served: cable -> the unit that has it now, and its station.
    """
    yield "Plugged in" if found.plugged else "No serial port is plugged in"
    for port in found.plugged:
        names = names_for(port, found.plugged)
        cables = ", ".join(cable.number for cable in found.cables_of(port))
        told = [port.description or "no description", f"cable {cables}" if cables else "", *_use(found, port.device)]
        yield wrapped(clean(f"{port.device}  {', '.join(part for part in told if part)}"), "      ", "  ")
        if names:
            yield wrapped(f"to write into bench.yaml: {'  or  '.join(names)}", "      ", "    ")
        yield from _heard(heard.get(port.device))
    if sys.platform not in LISTS:
        yield "  (listed by pyserial; benchday was never tried with the ports of this kind of system)"
    if found.cables:
        yield "\nCables of the day"
    for cable in found.cables:
        unit, station = served.get(cable.number, (None, None))
        has = f", serves unit {unit} on station {station or '?'}" if unit else ""
        where = cable.port or "no port; a day of real instruments needs one"
        today = f" = {cable.device}" if cable.device and cable.device != cable.port else ""
        yield wrapped(clean(f"{cable.number}  {cable.connector}: {where}{today}{has}"), "      ", "  ")
        if server_of(cable.port) is not None or not any(cable.device == port.device for port in found.plugged):
            yield from _heard(heard.get(cable.device or cable.port or ""))
    for title, stops in (("Put right before the day", True), ("To look at", False)):
        texts = [t.text for t in found.troubles if (t.code not in WARNINGS) is stops]
        if texts:
            yield f"\n{title}"
        for text in texts:
            yield wrapped(f"{'!' if stops else '-'} {clean(text)}", "    ", "  ")


def _use(found: Looked, device: str) -> tuple[str, ...]:
    holder = found.in_use.get(device)
    return (f"in use by {holder}",) if holder else ()


def _heard(one: Heard | None) -> Iterator[str]:
    if one is None:
        return
    if one.identity is None:
        yield wrapped(clean(f"nothing known speaks there: {one.silence}"), "      ", "    ")
        return
    who = one.identity
    text = f"unit {who.serial} answers: a {who.model}, release {who.release} (playbook {one.playbook})"
    yield wrapped(clean(text), "      ", "    ")
