"""How often stated shares held: every step of past days, predicted from what was known when its day began.

A prediction is a law; the share that it stated for what then happened (the probability integral transform, Dawid 1984)
says for every stated share at once whether it held. Predictions that are right hold in as many cases as they state.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from copy import copy
from dataclasses import dataclass, field

from benchday.domain.playbook import Playbook, StepName
from benchday.planning.learning import Seen
from benchday.planning.learning_records import DayBegins, PlaybookRead, Served, Told
from benchday.planning.learnt import Learnt

SHARES = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95)
"""The shares that are counted."""


@dataclass(slots=True)
class Coverage:
    """Predictions, and how many of them held at each share."""

    predictions: int = 0
    held: list[int] = field(default_factory=lambda: [0] * len(SHARES))
    """In the order of ``SHARES``: how often what happened was at most what that share stated."""

    def add(self, stated: float) -> None:
        """Take in one prediction by the share that it stated for what then happened."""
        self.predictions += 1
        for number, share in enumerate(SHARES):
            # What a computer rounds away is no miss.
            self.held[number] += stated <= share + 1e-12

    def observed(self, share: float) -> float | None:
        """Return how often a stated share held; None without predictions."""
        return self.held[SHARES.index(share)] / self.predictions if self.predictions else None

    def error(self, share: float) -> float | None:
        """Return the standard error of that if the share is right: sqrt(p (1 - p) / n) (binomial law)."""
        return math.sqrt(share * (1 - share) / self.predictions) if self.predictions else None


@dataclass(frozen=True, slots=True)
class Calibration:
    """All coverage."""

    overall: Coverage
    by_step: Mapping[tuple[str, StepName], Coverage]
    """(model, step) -> its coverage."""


Key = tuple[str, StepName]


@dataclass(slots=True)
class _Day:
    """What was known when a day began."""

    seen: Mapping[Key, Seen]
    laws: dict[tuple[Key, int | None], Learnt] = field(default_factory=dict)
    """What is predicted for (model, step) and bytes moved, worked out once."""


class _Replay:
    """Goes through days that are told, predicting each step by what was known when its day began."""

    def __init__(self) -> None:
        self.coverage: dict[Key, Coverage] = {}
        self._books: dict[str, Playbook] = {}
        self._seen: dict[Key, Seen] = {}
        self._days: dict[str, tuple[int, _Day]] = {}
        """Bench -> its day."""

    def take(self, one: Told) -> None:
        """Take in what happened next."""
        if isinstance(one, PlaybookRead):
            self._books |= dict.fromkeys(one.playbook.models, one.playbook)
            for _, day in self._days.values():
                day.laws.clear()
        elif isinstance(one, DayBegins):
            self._days[one.bench] = (one.day, _Day({key: copy(seen) for key, seen in self._seen.items()}))
        else:
            key = (one.model, one.step)
            self._predict(key, one)
            self._seen.setdefault(key, Seen()).add(one.minutes, one.moved_bytes)

    def _predict(self, key: Key, served: Served) -> None:
        playbook = self._books.get(served.model)
        day = next((d for number, d in self._days.values() if number == served.day), None)
        if playbook is None or day is None:
            return
        moved = served.moved_bytes
        law = day.laws.get((key, moved))
        if law is None:
            law = day.seen.get(key, Seen()).learnt(playbook.step(served.step).minutes, moved)
            day.laws[key, moved] = law
        self.coverage.setdefault(key, Coverage()).add(law.share_at(served.minutes))


def calibration(told: Iterable[Told]) -> Calibration:
    """Return how often stated shares held over days that are told in order; a day's own steps teach the next ones."""
    replay = _Replay()
    for one in told:
        replay.take(one)
    overall = Coverage()
    for coverage in replay.coverage.values():
        overall.predictions += coverage.predictions
        overall.held = [a + b for a, b in zip(overall.held, coverage.held, strict=True)]
    order = list(StepName)
    return Calibration(overall, dict(sorted(replay.coverage.items(), key=lambda c: (c[0][0], order.index(c[0][1])))))
