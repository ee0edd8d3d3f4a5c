"""A restart over a line that goes away: at the word, after it, for good; and who answers then."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import pytest

from benchday.devices.drivers.line_restart import LineRestart, Reached
from benchday.devices.transfer import monotonic_us
from benchday.domain.errors import AnotherUnit, DeviceError, LinkGone, LinkNotFound, LinkSilent, Refused

pytestmark = pytest.mark.asyncio
GONE = LinkGone("its port went away")


class Played:
    """A unit: what is met at each word, at each wait, and each time that the line is opened anew."""

    def __init__(
        self,
        told: Iterable[DeviceError | None],
        waited: Iterable[DeviceError | str] = ("7",),
        reached: Iterable[DeviceError | str] = ("7",),
        *,
        runs: bool = True,
    ) -> None:
        self.words, self._runs = 0, runs
        self._told, self._waited, self._reached = iter(told), iter(waited), iter(reached)

    async def tell(self) -> None:
        self.words += 1
        error = next(self._told)
        if error is not None:
            raise error

    async def wait(self, until_us: int) -> str:
        assert until_us > monotonic_us()
        return _met(self._waited)

    async def reach(self) -> Reached:
        return Reached(_met(self._reached), self._runs)

    async def restart(self, within_s: float = 60.0) -> int:
        """Restart unit 7; return how often it was told to."""
        await LineRestart(
            serial="7",
            within_s=within_s,
            clock=monotonic_us,
            poll_s=0.001,
            tell=self.tell,
            wait=self.wait,
            reach=self.reach,
        ).run()
        return self.words


def _met(what: Iterator[DeviceError | str]) -> str:
    met = next(what)
    if isinstance(met, DeviceError):
        raise met
    return met


async def test_a_line_that_stays() -> None:
    """Told once."""
    assert await Played([None]).restart() == 1


async def test_a_line_that_goes_after_the_word() -> None:
    """The unit said that it will: found again, it has."""
    played = Played([None], waited=[GONE], reached=[LinkNotFound("no such port"), LinkSilent("nothing"), "7"])
    assert await played.restart() == 1


async def test_a_line_that_goes_before_the_unit_said_anything() -> None:
    """Nobody knows whether it heard: told once more, and only then believed."""
    assert await Played([GONE, None]).restart() == 2


async def test_a_port_that_goes_with_the_unit_at_once() -> None:
    """It cannot say that it will, and is not told for ever."""
    assert await Played([GONE, GONE], reached=["7", "7"]).restart() == 2


async def test_a_boot_loader_is_told_nothing() -> None:
    """It has started, and may be flashing: what it runs is read back next."""
    assert await Played([GONE, None], runs=False).restart() == 1


async def test_the_second_word_is_refused() -> None:
    """What it runs is read back next; a first word that is refused is told."""
    no = Refused("REBOOT", "2", "not in the loader")
    assert await Played([GONE, no]).restart() == 2
    with pytest.raises(Refused):
        await Played([no]).restart()


async def test_the_second_word_gets_no_answer() -> None:
    """Told as silent: it is not known to have started anew."""
    with pytest.raises(LinkSilent, match="nothing"):
        await Played([GONE, LinkSilent("nothing")]).restart()


async def test_another_unit_is_told_nothing() -> None:
    """Who answers is asked before a word is said again."""
    played = Played([GONE, None], reached=["8"])
    with pytest.raises(AnotherUnit, match="where unit 7 was, unit 8 answers now"):
        await played.restart()
    assert played.words == 1


async def test_never_back() -> None:
    """The last try's words are told."""
    away = [LinkNotFound("no such port")] * 10_000
    with pytest.raises(LinkSilent, match=r"unit 7 did not come back in 0\.5 s: no such port"):
        await Played([None], waited=[GONE], reached=away).restart(within_s=0.5)
