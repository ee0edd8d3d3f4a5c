"""What to look at when a unit does not answer: its cable's type, how it sits, its power, in that order."""

from __future__ import annotations

from benchday.domain.bench import BenchFile
from benchday.domain.errors import BenchdayError, DeviceError, LinkSilent
from benchday.domain.playbook import Playbook
from benchday.domain.ports import server_of

SWITCH = (
    "If all of that is so: switch the unit off and on again, by its own button. That is safe now, for nothing is being "
    "written to it."
)
LEAVE_ON = "Do not switch it off: it may be half written."


def plain(trouble: BenchdayError) -> str:
    """Return what a driver says without the questions that it asks itself of a silent unit."""
    said = str(trouble)
    if isinstance(trouble, LinkSilent) and "?" in said:
        return said[: said.index("?")].rpartition(": ")[0] or said
    return said


def heard(trouble: DeviceError, look: str) -> str:
    """Return what a driver heard, followed by the questions once: those that it asks itself of a silent unit fall away.

    Args:
        trouble: what the driver says.
        look: the questions.
    """
    said = plain(trouble)
    return f"{said}{'' if said.endswith(('?', '.')) else '.'} {look}"


def questions(playbook: Playbook, place: str | None, bench: BenchFile) -> str:
    """Return the questions, by name of the cable or adapter, and about the serial server where there is one.

    Args:
        playbook: of the unit.
        place: cable or adapter that joins it; None where nothing does.
        bench: says where the cable goes.
    """
    if playbook.connector is None:
        joined = f"Is adapter {place} in the unit's own Wi-Fi network? " if playbook.wifi and place else ""
        return f"{joined}Is the unit on?"
    cable = f"cable {place}" if place else "the cable"
    kind = f"Is {cable} of the right type, with a {playbook.connector} connector?"
    asked = f"{kind} Is it seated at both ends? Is the unit on?"
    server = next((server_of(c.port) for c in bench.cables if c.number == place), None)
    if server is None:
        return asked
    return f"{asked} The cable is reached through the serial server at {server}: is that on, and in this network?"
