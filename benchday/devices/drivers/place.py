"""Where a driver finds its unit, and how it is set."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field

from benchday.devices.drivers.by_hand import Ask
from benchday.devices.drivers.page_wire import Certificates
from benchday.domain.playbook import Playbook
from benchday.domain.seams import Link


@dataclass(frozen=True, slots=True)
class Place:
    """What a maker of a driver is handed."""

    where: str
    """A port, an address, or the path of a JSON file that names one; empty for a unit that is worked by hand."""
    settings: Mapping[str, object] = field(default_factory=dict, repr=False)
    """From the playbook; they may hold a password, so they are never shown."""
    ask: Ask | None = None
    """How to put a question to an operator, for a driver that does."""
    reopen: Callable[[], Awaitable[Link]] | None = None
    """How to reach the unit again after its port went away; by the same place, if not given."""
    playbook: Playbook | None = None
    """The whole playbook, for a driver that it declares something to."""
    unit: str = ""
    """Serial as checked in; what the unit itself says counts more."""
    watched: Callable[[Link], Link] = lambda link: link
    """Puts something between a driver and its line that sees what is said and heard."""
    noted: Callable[[str], None] | None = None
    """Gets each request to a unit's page, and what it was answered with; never what was sent in it."""
    through: Mapping[str, str] = field(default_factory=dict)
    """Which adapter of this computer leads there: interface, or its own address as bind; any, where nothing is said."""
    certificates: Certificates | None = None
    """Where certificates of units are kept; without it, one session long."""
    packs: Mapping[str, int] = field(default_factory=dict)
    """Number of a charged pack of the shop that fits the unit -> its charge in percent."""
