"""The releases for one model and hardware revision: what a term allows, which is newest, which way leads there."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from benchday.domain.releases import Image
from benchday.planning.places import Order, each
from benchday.planning.routes import Ways

NOT_LISTED = "0001-01-01"
"""Day of issue that a release counts with if the store does not list it."""


@dataclass(frozen=True, slots=True)
class Way:
    """The writes that lead to a release."""

    images: tuple[Image, ...] = ()
    releases: tuple[str, ...] = ()
    us: int = 0
    """Expected time of all writes, microseconds."""


STAYS = Way()
"""Nothing is written."""


class Catalogue:
    """What the store lists for one model and hardware revision, ready to be asked for many units."""

    def __init__(
        self, images: Iterable[Image], order: Order, on: str | None, write_us: Callable[[Image], int] | None
    ) -> None:
        """Look at the releases once.

        Args:
            images: all that suit, also trials and those not issued yet; a release that is listed twice counts once.
            order: of all releases that are spoken of.
            on: day for which targets are asked; what is issued after it may not be written.
            write_us: expected time of a write, microseconds; None: not reckoned.
        """
        self.order = order
        self.images: dict[int, Image] = {}
        for image in images:
            self.images.setdefault(order.place(image.version), image)
        self._times = {place: write_us(image) if write_us else 0 for place, image in self.images.items()}
        self.issued = {place: image.issued for place, image in self.images.items()}
        self._by_issue = sorted(self.images, key=lambda place: (self.issued[place], place))
        self._until = [0]
        for place in self._by_issue:
            self._until.append(self._until[-1] | 1 << place)
        dates = [self.issued[place] for place in self._by_issue]
        self._same_day = [self._until[bisect_right(dates, date)] & ~self._before(dates, date) for date in dates]
        self._read(on)
        self.ways = Ways(order, self.images, self._times, self.in_order)
        self._ranks: dict[int, int] = {}
        self._latest: dict[int, int] = {}
        self._written: dict[tuple[int, ...], Way] = {}

    def allowed(self, last_day: str | None) -> int:
        """Return the releases that may be written under a term that ends on this day; None: not known, so all."""
        if last_day is None:
            return self.in_order
        return self._terms[bisect_right(self._dates, last_day)]

    def issued_on(self, place: int) -> str:
        """Return the day of issue of a release, 0001-01-01 if the store does not list it."""
        return self.issued.get(place, NOT_LISTED)

    def newest(self, places: int) -> int:
        """Return the one of these listed releases that was issued last, of one day the highest."""
        return self._by_issue[self._rank(places)]

    def latest(self, places: int) -> int:
        """Return those of these releases that were issued on the latest day; what is not listed comes last."""
        found = self._latest.get(places)
        if found is None:
            listed = places & self.ways.all
            found = listed & self._same_day[self._rank(listed)] if listed else places
            self._latest[places] = found
        return found

    def way(self, start: int | None, goal: int, allowed: int) -> Way | None:
        """Return the writes that lead from one release to another over allowed ones, None if no way does."""
        found = self.ways.way(start, goal, allowed)
        return None if found is None else self.writes(found)

    def writes(self, places: tuple[int, ...]) -> Way:
        """Return these writes with what they take."""
        if places not in self._written:
            images = tuple(self.images[place] for place in places)
            us = sum(self._times[place] for place in places)
            self._written[places] = Way(images, tuple(image.release for image in images), us)
        return self._written[places]

    def _read(self, on: str | None) -> None:
        """Note what may be written at all on that day, and under which term."""
        self.not_yet = 0
        self.trials = 0
        self.in_order = 0
        self._dates: list[str] = []
        self._terms = [0]
        for place in self._by_issue:
            image = self.images[place]
            if on is not None and image.issued > on:
                self.not_yet |= 1 << place
            elif image.trial:
                self.trials |= 1 << place
            else:
                self.in_order |= 1 << place
                self._dates.append(image.issued)
                self._terms.append(self.in_order)

    def _before(self, dates: list[str], date: str) -> int:
        return self._until[dates.index(date)]

    def _rank(self, places: int) -> int:
        """Return the position, in the order of issue, of the last of these releases."""
        rank = self._ranks.get(places)
        if rank is None:
            rank = bisect_left(self._until, True, key=lambda until: not places & ~until) - 1
            self._ranks[places] = rank
        return rank


def trials_of(model: str, images: Iterable[Image], order: Order) -> int:
    """Return the trial releases that the store lists for a model, of whichever hardware revision."""
    return sum({1 << order.place(image.version) for image in images if image.trial and model in image.models})


def releases_in(places: int, catalogue: Catalogue) -> tuple[str, ...]:
    """Return releases as the store writes them, oldest first."""
    return tuple(catalogue.images[place].release for place in each(places & catalogue.ways.all))
