"""Trouble that is to happen to one unit: due at moments, bytes, times or by chance, each as often as it says."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

ALWAYS = -1
"""as many times as the moment comes"""


@dataclass(frozen=True)
class Trouble:
    """One thing that is to happen to one unit."""

    key: str
    """its place in the file, from 1; what follows upon it is 1.1, 1.2"""
    when: str
    """the moment; empty: by time alone"""
    what: str
    percent: float = 0
    after_bytes: int = 0
    """of what is moved from the moment on"""
    after_seconds: float | None = None
    """seconds of physics since the moment, since what it follows upon, or since the unit was started first"""
    chance: float = 1.0
    """that it happens, each time it would"""
    seconds: float = 0
    """real seconds until it is over"""
    factor: float = 1
    restarts: int = 0
    """0: until an image is taken"""
    times: int = 1
    """how often it happens, or ALWAYS"""

    def follows(self) -> str:
        """Give the key of the entry that has to have happened before, empty for none."""
        return self.key.rpartition(".")[0]


@dataclass
class Memory:
    """What a unit remembers of its trouble; kept in its state, so that a restarted process does not begin again."""

    spent: dict[str, int] = field(default_factory=dict)
    """by key: how often it has happened"""
    drawn: dict[str, int] = field(default_factory=dict)
    """by key: how often it would have happened, if chance had allowed"""
    since_s: dict[str, float] = field(default_factory=dict)
    """by key, or by moment: when it last came (seconds of physics)"""
    served_s: dict[str, float] = field(default_factory=dict)
    """by key, of entries by time: the `since_s` for which it was due"""


class Troubles:
    """The trouble of one unit, and what it remembers of it."""

    def __init__(
        self, entries: list[Trouble], memory: Memory | None = None, draw: Callable[[str], float] = lambda _: 0.0
    ) -> None:
        """`draw` gives a number from 0 to under 1 for a name: each time the same."""
        self.entries = entries
        self.memory = memory or Memory()
        self._draw = draw
        self._waiting: set[str] = set()

    def due(
        self, when: str, percent: float = 0, *, begin: bool = True, moved: float = 0, now_s: float = 0
    ) -> Iterator[Trouble]:
        """
        Yield what happens at a moment, each counted before it is given.

        `begin` says that the moment begins anew, `moved` how many bytes have been moved since, `now_s` what the clock
        of physics shows.
        """
        if begin and any(one.after_seconds is not None and one.when == when for one in self.entries):
            self.memory.since_s[when] = now_s
        for trouble in self.entries:
            if trouble.when != when or trouble.after_seconds is not None:
                continue
            if begin:
                self._waiting.add(trouble.key)
            reached = percent >= trouble.percent and moved >= trouble.after_bytes
            if trouble.key in self._waiting and reached and self._armed(trouble):
                self._waiting.discard(trouble.key)
                if self._happens(trouble, now_s):
                    yield trouble

    def due_by_time(self, now_s: float) -> Iterator[Trouble]:
        """Yield what happens because it is time, each counted before it is given."""
        for trouble in self.entries:
            at_s = self._at_s(trouble)
            if at_s is not None and at_s <= now_s:
                self.memory.served_s[trouble.key] = self._since_s(trouble) or 0.0
                if self._happens(trouble, now_s):
                    yield trouble

    def next_s(self) -> float | None:
        """Say when (seconds of physics) something is due by time, None while nothing is."""
        times = [at_s for trouble in self.entries if (at_s := self._at_s(trouble)) is not None]
        return min(times, default=None)

    def count(self, trouble: Trouble) -> int:
        """Say how often it has happened."""
        return self.memory.spent.get(trouble.key, 0)

    def _armed(self, trouble: Trouble) -> bool:
        spent = self.memory.spent
        before = trouble.follows()
        return (trouble.times == ALWAYS or spent.get(trouble.key, 0) < trouble.times) and (
            not before or spent.get(before, 0) > 0
        )

    def _happens(self, trouble: Trouble, now_s: float) -> bool:
        memory, key = self.memory, trouble.key
        memory.drawn[key] = memory.drawn.get(key, 0) + 1
        if trouble.chance < 1 and self._draw(f"trouble {key} {memory.drawn[key]}") >= trouble.chance:
            return False
        memory.spent[key] = memory.spent.get(key, 0) + 1
        memory.since_s[key] = now_s
        return True

    def _since_s(self, trouble: Trouble) -> float | None:
        """Say from when an entry by time counts, None while that has not come."""
        if trouble.when:
            return self.memory.since_s.get(trouble.when)
        if trouble.follows():
            return self.memory.since_s.get(trouble.follows())
        # Again and again, counted from the last time it would have happened.
        return self.memory.drawn.get(trouble.key, 0) * (trouble.after_seconds or 0.0)

    def _at_s(self, trouble: Trouble) -> float | None:
        since_s = self._since_s(trouble) if trouble.after_seconds is not None and self._armed(trouble) else None
        if since_s is None or self.memory.served_s.get(trouble.key) == since_s:
            return None
        return since_s + (trouble.after_seconds or 0.0)
