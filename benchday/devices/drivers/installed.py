"""Which drivers there are, built in and plugged in, known without opening any."""

from __future__ import annotations

from benchday import __version__
from benchday.devices.drivers import DRIVERS, plug_ins
from benchday.devices.drivers.makers import capabilities_made, missing_for, settings_of
from benchday.domain.drivers import BUILT_IN, DriverKnown


def installed_drivers() -> tuple[DriverKnown, ...]:
    """Return every driver, those that cannot be used with the reason: the built-in ones first."""
    built_in = (
        DriverKnown(
            name=name,
            source=BUILT_IN,
            version=__version__,
            entry_point=None,
            capabilities=capabilities_made(maker),
            settings=settings_of(maker),
            problem=missing_for(maker, BUILT_IN),
        )
        for name, maker in DRIVERS.items()
    )
    return (*built_in, *plug_ins.known(frozenset(DRIVERS)))
