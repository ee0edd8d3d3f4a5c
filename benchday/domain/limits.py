"""How long a call to a unit may last before it is given up: real seconds at every speed of the day.

A driver has limits of its own for every wait, and they are shorter; these are the net below them, for a driver that
hangs. What a person does by hand has none. The values are common practice, no source: several times the longest that
the shipped playbooks state.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchday.domain.playbook import Playbook, StepName


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits in real seconds; a playbook that states longer steps makes them longer."""

    reading_s: float = 180
    """For a line to open and for any one question: who it is, power, the list of recordings, settings, position."""
    test_s: float = 900
    """For its own test."""
    restart_s: float = 1800
    """For a restart, until it answers again."""
    nothing_s: float = 900
    """For the next sign of life of a transfer or a flash."""
    transfer_s: float = 6 * 3600
    """For a whole transfer."""
    times_longest: float = 3
    """A step may last so many times what its playbook states as the longest, if that is more than the above."""

    def test(self, playbook: Playbook) -> float:
        """Return the limit of its own test."""
        return max(self.test_s, self._longest_s(playbook, StepName.VERIFY))

    def restart(self, playbook: Playbook) -> float:
        """Return the limit of a restart."""
        return max(self.restart_s, self._longest_s(playbook, StepName.RESTART))

    def nothing(self, playbook: Playbook, step: StepName) -> float:
        """Return how long a transfer may give no sign of life."""
        return max(self.nothing_s, self._longest_s(playbook, step))

    def transfer(self, playbook: Playbook, step: StepName) -> float:
        """Return the limit of a whole transfer."""
        return max(self.transfer_s, self._longest_s(playbook, step))

    def _longest_s(self, playbook: Playbook, step: StepName) -> float:
        return self.times_longest * 60 * float(playbook.step(step).minutes.longest)
