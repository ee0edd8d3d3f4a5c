"""Drivers from other distributions: found by entry points, listed without being opened, harmless when broken."""

from __future__ import annotations

import sys
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path

import pytest

from benchday.devices.drivers import DRIVERS, Place, make_driver
from benchday.devices.drivers.guarded import Guarded
from benchday.devices.drivers.installed import installed_drivers
from benchday.devices.drivers.makers import missing_for, needs
from benchday.domain.drivers import BUILT_IN, DriverKnown
from benchday.domain.errors import DeviceError, InputError, LinkSilent, OutcomeUnknown, PermitRefused
from benchday.domain.readings import Identity
from benchday.domain.seams import CanIdentify, CanRestart, CanWrite, capabilities

HERON = """
from benchday.devices.drivers.makers import takes


class Heron:
    def __init__(self, place):
        self.place = place

    async def identify(self): ...
    async def restart(self, act): ...


@takes(patience_s=2.0)
async def make(place) -> Heron:
    return Heron(place)
"""
Install = Callable[..., None]


@pytest.fixture
def install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Install]:
    """Return what lays a distribution with one module and one entry point onto the path."""
    modules: list[str] = []

    def lay(text: str, *, named: str = "heron", distribution: str = "heron-driver", at: str = "make") -> None:
        module = distribution.replace("-", "_")
        folder = tmp_path / distribution
        information = folder / f"{module}-1.0.dist-info"
        information.mkdir(parents=True)
        (folder / f"{module}.py").write_text(text)
        (information / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {distribution}\nVersion: 1.0\n")
        (information / "entry_points.txt").write_text(f"[benchday.drivers]\n{named} = {module}:{at}\n")
        monkeypatch.syspath_prepend(folder)
        modules.append(module)

    yield lay
    for module in modules:
        sys.modules.pop(module, None)


def listed(name: str) -> list[DriverKnown]:
    """Return what is listed under a name."""
    return [driver for driver in installed_drivers() if driver.name == name]


@pytest.mark.asyncio
async def test_a_plug_in_is_made_by_its_name(install: Install) -> None:
    """An installed distribution with the entry point is enough; it has its own capabilities behind the guard."""
    install(HERON)
    made = await make_driver("heron", Place("somewhere"))
    assert isinstance(made, Guarded)
    assert type(made.driver).__name__ == "Heron"
    assert capabilities(made) == ("identify", "restart")


def test_a_plug_in_is_listed_without_being_opened(install: Install) -> None:
    """Name, distribution, entry point, capabilities and settings, from what the maker says of itself."""
    install(HERON)
    assert listed("heron") == [
        DriverKnown(
            name="heron",
            source="heron-driver",
            version="1.0",
            entry_point="heron_driver:make",
            capabilities=("identify", "restart"),
            settings={"patience_s": 2.0},
        )
    ]


def test_every_built_in_driver_says_what_it_does_and_takes() -> None:
    """None of ours is left to be found out by opening it."""
    for driver in installed_drivers():
        if driver.source == BUILT_IN:
            assert driver.name in DRIVERS
            # What the others can do their playbooks declare.
            assert driver.capabilities or driver.name in {"dialogue", "page", "smp"}
            assert driver.settings is not None


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("import there_is_no_such_thing", r"No module named 'there_is_no_such_thing': pip install .* heron-driver"),
        ("1 / 0", "importing heron_driver:make failed: ZeroDivisionError"),
        ("raise SystemExit(3)", "importing heron_driver:make failed: SystemExit: 3"),
        ("make = 7", "no function but a int; expected async def make"),
        ("async def make(): ...", "cannot be called with one place"),
        ("def make(place): ...", "not async"),
        ("other = 1", "AttributeError"),
    ],
)
@pytest.mark.asyncio
async def test_a_broken_plug_in_is_told(install: Install, text: str, told: str) -> None:
    """Listed with what is wrong; asked for, it is refused with the same words; the others stay."""
    install(text)
    (broken,) = listed("heron")
    assert broken.problem is not None
    assert broken.capabilities is None
    with pytest.raises(InputError, match=told):
        await make_driver("heron", Place("somewhere"))
    assert [driver.name for driver in installed_drivers() if driver.problem is None][: len(DRIVERS)] == list(DRIVERS)


def test_no_plug_in_takes_the_name_of_a_built_in_one(install: Install) -> None:
    """The built-in one is used, and the other told."""
    install(HERON, named="web")
    ours, theirs = listed("web")
    assert ours.source == BUILT_IN
    assert ours.problem is None
    assert theirs.problem == "the name web belongs to a built-in driver, which is used instead; rename it"


@pytest.mark.asyncio
async def test_two_distributions_with_one_name_are_both_told(install: Install) -> None:
    """Which of them would be used is nobody's guess."""
    install(HERON)
    install(HERON, distribution="heron-two")
    both = listed("heron")
    assert [driver.source for driver in both] == ["heron-driver", "heron-two"]
    assert {driver.problem for driver in both} == {
        "the name heron is claimed by heron-driver and heron-two; uninstall one of them"
    }
    with pytest.raises(InputError, match="uninstall one of them"):
        await make_driver("heron", Place("somewhere"))


@pytest.mark.asyncio
async def test_an_unknown_one_is_refused_with_what_there_is(install: Install) -> None:
    """Every name is in the answer."""
    install(HERON)
    with pytest.raises(InputError, match=r"no driver is called 'hern'; there are: .*heron"):
        await make_driver("hern", Place("somewhere"))


def test_a_missing_extra_is_told_with_the_command() -> None:
    """Looked for, not imported."""

    @needs("sky", "json", "there_is_no_such_thing")
    async def make(place: Place) -> object: ...

    assert missing_for(make, "heron-driver") == (
        'there_is_no_such_thing not installed: pip install "heron-driver[sky]"'
    )


class Clumsy:
    """A plug-in that fails as strangers' code does."""

    async def identify(self) -> Identity:
        raise ValueError("no such field")

    async def write(self, act: object, image: bytes) -> AsyncIterator[object]:
        yield 1
        raise KeyError("lost")

    async def restart(self, act: object) -> None:
        raise PermitRefused("not this one")

    async def self_test(self) -> object:
        raise LinkSilent("nothing")

    async def aclose(self) -> None:
        raise OSError("already closed")


@pytest.mark.asyncio
async def test_what_a_plug_in_raises_becomes_an_error_of_a_unit() -> None:
    """Anything foreign is translated, a write's outcome is unknown then, and errors of ours pass."""
    made = Guarded("clumsy", Clumsy())
    assert isinstance(made, CanIdentify)
    assert isinstance(made, CanWrite)
    assert isinstance(made, CanRestart)
    with pytest.raises(DeviceError, match=r"clumsy failed in identify \(ValueError: no such field\)"):
        await made.identify()
    with pytest.raises(OutcomeUnknown, match="read it back"):
        _ = [piece async for piece in made.write(None, b"")]  # type: ignore[arg-type]  # never looked at
    with pytest.raises(PermitRefused):
        await made.restart(None)  # type: ignore[arg-type]  # never looked at
    with pytest.raises(LinkSilent):
        await made.self_test()  # type: ignore[attr-defined]  # Clumsy has it
    with pytest.raises(DeviceError):
        await made.aclose()


@pytest.mark.asyncio
async def test_a_maker_that_fails_is_told(install: Install) -> None:
    """As a device that cannot be reached."""
    install("async def make(place):\n    return {}['where']\n")
    with pytest.raises(DeviceError, match="could not be made"):
        await make_driver("heron", Place("somewhere"))
