"""Drivers from other distributions: entry points of one group, each a maker. A broken one is told, never met."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterator
from importlib.metadata import EntryPoint, entry_points
from typing import cast

from benchday.devices.drivers.makers import capabilities_made, missing_for, settings_of, wrong_with
from benchday.devices.drivers.place import Place
from benchday.domain.drivers import DriverKnown
from benchday.domain.errors import InputError

GROUP = "benchday.drivers"
"""Entry points of this group are drivers: each a ``Make``."""
NOBODY = "an unnamed distribution"

Make = Callable[[Place], Awaitable[object]]


def names() -> frozenset[str]:
    """Return the names that plug-ins claim."""
    return frozenset(entry_points(group=GROUP).names)


def plugged_in(name: str) -> Make:
    """Return the maker that claims this name.

    Raises:
        InputError: nobody claims it, more than one does, or what does cannot be used.
    """
    points = _claiming(name)
    if len(points) != 1:
        raise InputError(_claimed_twice(name, points) if points else f"no driver is called {name!r}")
    maker, problem = _loaded(points[0])
    if problem is not None:
        raise InputError(f"the driver {name} of {_source(points[0])} cannot be used: {problem}")

    return cast("Make", maker)


def known(built_in: frozenset[str]) -> Iterator[DriverKnown]:
    """Yield every plug-in, the broken ones too, by name and distribution.

    Args:
        built_in: names that no plug-in may take.
    """
    for point in sorted(entry_points(group=GROUP), key=lambda p: (p.name, _source(p), p.value)):
        maker, problem = _loaded(point)
        if point.name in built_in:
            problem = f"the name {point.name} belongs to a built-in driver, which is used instead; rename it"
        elif len(claiming := _claiming(point.name)) > 1:
            problem = _claimed_twice(point.name, claiming)
        fits = problem is None
        yield DriverKnown(
            name=point.name,
            source=_source(point),
            version=point.dist.version if point.dist is not None else None,
            entry_point=point.value,
            capabilities=capabilities_made(maker) if fits else None,
            settings=settings_of(maker) if fits else None,
            problem=problem,
        )


def _claiming(name: str) -> tuple[EntryPoint, ...]:
    return tuple(entry_points(group=GROUP, name=name))


def _claimed_twice(name: str, points: tuple[EntryPoint, ...]) -> str:
    sources = " and ".join(sorted(_source(point) for point in points))
    return f"the name {name} is claimed by {sources}; uninstall one of them"


def _source(point: EntryPoint) -> str:
    return point.dist.name if point.dist is not None else NOBODY


def _loaded(point: EntryPoint) -> tuple[object, str | None]:
    """Return the maker and what is wrong with it; whatever a stranger's module raises is only told."""
    try:
        maker = point.load()
    except ModuleNotFoundError as error:
        return None, f"{error}{_remedy(point)}"
    except (Exception, SystemExit) as error:  # noqa: BLE001  # a module can raise anything when it is imported
        return None, f"importing {point.value} failed: {type(error).__name__}: {error}"

    problem = wrong_with(maker)
    return maker, f"{point.value}: {problem}" if problem else missing_for(maker, _source(point))


def _remedy(point: EntryPoint) -> str:
    if point.extras:
        return f': pip install "{_source(point)}[{",".join(point.extras)}]"'
    return f": pip install --force-reinstall {_source(point)}"
