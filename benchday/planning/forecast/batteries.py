"""What batteries cost a day: charging before the first visit to a station, and a second visit for one found low.

A model has no stage that is left out by chance. A unit that can only be charged and is found low at its station comes a
second time with a small chance. Its costs are put where they weigh: after the check, as time at the station for
connecting and identifying it twice, and before the station, in a stage that takes nothing, as the time on a charger;
each with that chance. A charger is taken in the model by units that are expected low alone.
"""

from __future__ import annotations

from dataclasses import replace

from benchday.domain.bench import BenchFile
from benchday.domain.checks import Check
from benchday.domain.playbook import Playbook, StepName
from benchday.planning.charging import charging_minutes, percent_wanted
from benchday.planning.durations import Pert, points_us
from benchday.planning.forecast.stages import AT_ONCE, Service, in_minutes
from benchday.planning.gates import CHARGER
from benchday.planning.laws import Retried
from benchday.planning.model import Stage
from benchday.planning.power import FLOOR_PERCENT, LEAST_ERROR_PERCENT, aged_mwh

SEEN_TO = (0.0, 5.0, 20.0)
"""Minutes until somebody has taken a charged unit off its charger; common practice, no source."""
SECOND_CHARGE = ((-10, 5), (-20, 5), (-35, 25))
"""Percent from and to, about the least for a write, of a charge that is found needed at a station; common practice."""


def charge_stage(bench: BenchFile, service: Service, percent: int | None) -> Stage | None:
    """Return the stage on a charger of a unit that is expected to come with this charge; None if it needs none."""
    if percent is None or not service.images:
        return None
    wanted = percent_wanted(
        percent, least_percent(service.playbook), external=service.playbook.power.external, pack=_pack(bench, service)
    )
    return None if wanted is None else charging(service.playbook, percent, wanted)


def charging(playbook: Playbook, percent: int, wanted: int) -> Stage:
    """Return the stage on a charger."""
    minutes = float(charging_minutes(percent, wanted, aged_mwh(playbook), playbook))
    return Stage("charge", (CHARGER,), (CHARGER,), seen_to(minutes))


def seen_to(minutes: float) -> Pert:
    """Return the law of a charge of so many minutes, until somebody has taken the unit off."""
    return Pert(*(minutes + more for more in SEEN_TO))


def least_percent(playbook: Playbook) -> int:
    """Return the least charge shown at which a write may begin."""
    return playbook.limit(Check.POWER, "floor_percent", FLOOR_PERCENT) + LEAST_ERROR_PERCENT


def only_charging(bench: BenchFile, service: Service) -> bool:
    """Tell whether nothing but a charger helps a unit that is found low."""
    power = service.playbook.power
    return bool(service.images and bench.chargers) and not power.external and not _pack(bench, service)


def with_second_visit(bench: BenchFile, service: Service, chance: float) -> Service:
    """Return the service with the chance of a second visit in it, where charging alone would help."""
    if not only_charging(bench, service):
        return service
    twice = [
        in_minutes(points_us(service.playbook.step(name).minutes)) for name in (StepName.CONNECT, StepName.IDENTIFY)
    ]
    again = Pert(sum(p.shortest for p in twice), sum(p.usual for p in twice), sum(p.longest for p in twice))
    return replace(service, after_check=Stage("second visit", (), (), Retried(AT_ONCE, chance, again)))


def charge_after_all(bench: BenchFile, service: Service, chance: float) -> Stage | None:
    """Return the stage of charging for a second visit, which takes nothing; None where there would be none."""
    if not only_charging(bench, service):
        return None
    playbook, least = service.playbook, least_percent(service.playbook)
    points = sorted(
        charging_minutes(max(least + below, 0), min(least + above, 100), aged_mwh(playbook), playbook)
        for below, above in SECOND_CHARGE
    )
    return Stage("charge after all", (), (), Retried(AT_ONCE, chance, Pert(*points)))


def _pack(bench: BenchFile, service: Service) -> bool:
    """Tell whether the shop has a pack that could be fitted."""
    return service.playbook.power.pack_swap and any(service.model in pack.fits for pack in bench.packs)
