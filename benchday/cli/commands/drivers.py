"""drivers: what is installed that speaks with units, what it can do, and what is broken."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from benchday.at_hand.drivers import installed_drivers
from benchday.cli.exits import Exit
from benchday.cli.output import print_document, wrapped
from benchday.domain.clean import clean
from benchday.domain.drivers import BUILT_IN, DriverKnown
from benchday.domain.seams import CAPABILITIES


def drivers(*, as_json: bool) -> int:
    """List the drivers; status 3 if a plug-in cannot be used. That an extra was left out is nobody's fault."""
    found = installed_drivers()
    if as_json:
        print_document("drivers", {"drivers": [_part(driver) for driver in found]})
    else:
        for driver in found:
            for line in _lines(driver):
                print(line)
    return Exit.HELD if any(driver.problem for driver in found if driver.source != BUILT_IN) else Exit.DONE


def _part(driver: DriverKnown) -> Mapping[str, Any]:
    able = driver.capabilities
    return {
        "name": driver.name,
        "source": driver.source,
        "version": driver.version,
        "entry_point": driver.entry_point,
        "capabilities": None if able is None else list(able),
        "by_hand": None if able is None else _lacking(able),
        "settings": None if driver.settings is None else sorted(driver.settings),
        "usable": driver.problem is None,
        "problem": driver.problem,
    }


def _lacking(able: tuple[str, ...]) -> list[str]:
    # To prove that it is a simulator is nothing that a person could do instead.
    return [name for name in CAPABILITIES if name not in (*able, "prove")]


def _lines(driver: DriverKnown) -> Iterator[str]:
    source = "built in" if driver.source == BUILT_IN else f"{driver.source} {driver.version or ''}".strip()
    where = f", {driver.entry_point}" if driver.entry_point else ""
    yield wrapped(clean(f"{driver.name} ({source}{where})"))
    if driver.problem is not None:
        yield wrapped(clean(f"cannot be used: {driver.problem}"), indent="    ", first="  ")
        return
    if driver.capabilities is None:
        built_in = "does: what its playbook declares; by hand: the rest"
        other = "its maker does not say what it makes: asked when it is opened"
        yield wrapped(built_in if driver.source == BUILT_IN else other, indent="    ", first="  ")
        return
    yield wrapped(f"does: {', '.join(driver.capabilities) or 'nothing'}", indent="    ", first="  ")
    if by_hand := _lacking(driver.capabilities):
        yield wrapped(f"by hand: {', '.join(by_hand)}", indent="    ", first="  ")
