"""How the SMP driver is set; nothing here needs the extra, so that settings are checked without it."""

from __future__ import annotations

from dataclasses import dataclass

from benchday.domain.errors import InputError


@dataclass(frozen=True, slots=True)
class SmpLimits:
    """Real seconds, tries and bytes; none shrinks with a simulated day's speed."""

    answer_s: float = 2.5
    """For the answer to a request, each time it is sent."""
    erase_s: float = 60.0
    """For the answer to the first piece of an image: the unit may clear its whole slot before it answers."""
    tries: int = 5
    """How often a request is sent before the unit counts as silent."""
    restart_s: float = 180.0
    """For a restart, until the unit answers again; it moves the image between its slots meanwhile."""
    down_s: float = 1.0
    """After it agreed to restart: how long it may go on answering before it goes down."""
    look_s: float = 1.0
    """For an answer while it is not known whether the unit is up."""
    appears_s: float = 5.0
    """For the port of a unit just switched on."""
    poll_s: float = 0.5
    """Between two tries to reach a unit that restarts."""
    message_bytes: int = 2048
    """Largest message that is sent, however large the unit's buffer is."""

    def __post_init__(self) -> None:
        if self.tries < 1 or self.poll_s <= 0 or not 128 <= self.message_bytes <= 8192:
            raise InputError("driver settings: tries is 1 or more, poll_s above 0, message_bytes 128 to 8192")


@dataclass(frozen=True, slots=True)
class SmpSources:
    """Where this kind of unit tells what the protocol has no word for; empty: it does not, and a person is asked.

    Each is the name of a setting, or ``info:`` and the letter of a field of the system's description.
    """

    serial_from: str = ""
    model_from: str = "info:i"
    hardware_from: str = ""
    term_from: str = ""
    settings: str = ""
    """Names of the settings that are compared and put back, with spaces between."""
    recordings_index: str = ""
    """Path of the text file on the unit that lists its recordings."""
