"""What to lay out for a day: cables, adapters, power, images, room on disk, and a check-in slip for each crew."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from benchday.domain.bench import Pack
from benchday.domain.checks import Answer, Check, Finding, worst
from benchday.domain.plan import DayPlan
from benchday.domain.playbook import Playbook
from benchday.domain.releases import Image, Version
from benchday.planning.disk_room import Earlier, Room, room_finding, room_for
from benchday.planning.slips import Slip, slips_of
from benchday.planning.targets import Target
from benchday.planning.wording import counted, listed


@dataclass(frozen=True, slots=True)
class Joining:
    """What joins units of one kind to their stations: the cables of one connector, or the Wi-Fi adapters."""

    connector: str | None
    """Type of the cables' connector; None means Wi-Fi adapters."""
    owned: tuple[str, ...]
    """What is written on those that the bench has."""
    units: tuple[str, ...]
    """Serials of the units that need one."""
    at_once: int
    """How many are useful at once: as many as there are stations, and no more than units."""

    @property
    def short(self) -> int:
        """How many more would be useful."""
        return max(0, self.at_once - len(self.owned))

    @property
    def one(self) -> str:
        """What one of them is called."""
        return f"cable with connector {self.connector}" if self.connector is not None else "Wi-Fi adapter"

    def count(self, number: int) -> str:
        """Word so many of them."""
        if self.connector is None:
            return counted(number, "Wi-Fi adapter")
        return f"{counted(number, 'cable')} with connector {self.connector}"


@dataclass(frozen=True, slots=True)
class Charging:
    """The chargers, and the units that can need one."""

    owned: tuple[str, ...]
    units: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Spares:
    """The shop's charged packs for one model whose pack can be changed."""

    model: str
    units: tuple[str, ...]
    packs: tuple[Pack, ...]


@dataclass(frozen=True, slots=True)
class External:
    """One model that can run from external power while it is written."""

    model: str
    units: tuple[str, ...]
    at_once: int
    """How many supplies are useful at once."""


@dataclass(frozen=True, slots=True)
class ImageNeed:
    """One image of the store that the day needs."""

    image: Image
    units: tuple[str, ...]
    """Serials of the units that get it."""
    perhaps: tuple[str, ...] = ()
    """Serials of those that must pass through it if an old release is found on them."""


@dataclass(frozen=True, slots=True)
class Layout:
    """What to lay out for a day."""

    joinings: tuple[Joining, ...]
    by_hand: tuple[str, ...]
    """Serials of the units that need neither cable nor adapter."""
    charging: Charging
    spares: tuple[Spares, ...]
    external: tuple[External, ...]
    images: tuple[ImageNeed, ...]
    room: Room
    slips: tuple[Slip, ...]
    findings: tuple[Finding, ...]

    @property
    def images_bytes(self) -> int:
        """The size of all images needed together."""
        return sum(need.image.bytes for need in self.images)

    @property
    def stops(self) -> bool:
        """Whether some unit cannot be served as things are."""
        return worst(self.findings) is Answer.STOP


def layout_of(
    plan: DayPlan, targets: Sequence[Target], earlier: Earlier | None = None, free_bytes: int | None = None
) -> Layout:
    """Return what to lay out.

    Args:
        plan: the day's inputs.
        targets: of the roster's units.
        earlier: what earlier days say of recordings; None if there were none.
        free_bytes: what the record's disk has free; None if that is not known.
    """
    joinings = _joinings(plan)
    charging = Charging(tuple(c.name for c in plan.bench.chargers), _serials(plan, lambda _: True))
    room = room_for(plan, earlier or Earlier(), free_bytes)
    found = [_joining_finding(joining, plan) for joining in joinings]
    found += [_charging_finding(charging), *_stops_of(targets), room_finding(room)]
    return Layout(
        joinings=joinings,
        by_hand=_serials(plan, lambda playbook: playbook.connector is None and not playbook.wifi),
        charging=charging,
        spares=_spares(plan),
        external=_external(plan),
        images=_images(plan, targets),
        room=room,
        slips=slips_of(plan, {target.unit: target for target in targets}),
        findings=tuple(finding for finding in found if finding is not None),
    )


def _serials(plan: DayPlan, wanted: Callable[[Playbook], bool]) -> tuple[str, ...]:
    """Return the units whose playbook is one of those wanted, in the roster's order."""
    with_playbook = ((row.serial, plan.playbook_for(row.model)) for row in plan.roster)
    return tuple(serial for serial, playbook in with_playbook if playbook is not None and wanted(playbook))


def _joinings(plan: DayPlan) -> tuple[Joining, ...]:
    connectors = dict.fromkeys([*(c.connector for c in plan.bench.cables), *(p.connector for p in plan.playbooks)])
    found = [_cables(plan, connector) for connector in connectors if connector is not None]
    wireless = _serials(plan, lambda playbook: playbook.wifi)
    found.append(Joining(None, tuple(a.name for a in plan.bench.adapters), wireless, _at_once(plan, wireless)))
    return tuple(joining for joining in found if joining.units)


def _cables(plan: DayPlan, connector: str) -> Joining:
    units = _serials(plan, lambda playbook: playbook.connector == connector)
    owned = tuple(c.number for c in plan.bench.cables if c.connector == connector)
    return Joining(connector, owned, units, _at_once(plan, units))


def _at_once(plan: DayPlan, units: Sequence[str]) -> int:
    return min(len(plan.bench.stations), len(units))


def _joining_finding(joining: Joining, plan: DayPlan) -> Finding | None:
    if not joining.short:
        return None
    figures: dict[str, int | str] = {
        "connector": joining.connector or "wi-fi",
        "owned": len(joining.owned),
        "useful": joining.at_once,
        "units": len(joining.units),
    }
    if not joining.owned:
        text = (
            f"there is no {joining.one}, and {counted(len(joining.units), 'unit')} cannot be served without one: "
            f"{listed(joining.units)}; fetch one and enter it in bench.yaml"
        )
        return Finding(Check.CABLE, Answer.STOP, text, figures, clears=f"a {joining.one} is there")

    text = (
        f"{joining.count(len(joining.owned))} for {counted(len(joining.units), 'unit')} on "
        f"{counted(len(plan.bench.stations), 'station')}: {joining.short} more would let {joining.at_once} of them be "
        "served at once; as it is the day takes longer"
    )
    return Finding(Check.CABLE, Answer.ASK, text, figures, clears=f"{joining.short} more of them are there")


def _charging_finding(charging: Charging) -> Finding | None:
    if charging.owned or not charging.units:
        return None
    text = "there is no charger: a unit that comes with too little charge can only take a pack or external power"
    return Finding(Check.POWER, Answer.ASK, text, {"owned": 0}, clears="a charger is there")


def _stops_of(targets: Iterable[Target]) -> list[Finding]:
    """Return what keeps units from being written at all, with their serials; each sentence once."""
    units: dict[tuple[Check, str], list[str]] = {}
    first: dict[tuple[Check, str], Finding] = {}
    for target in targets:
        for finding in target.findings:
            if finding.answer is Answer.STOP:
                key = (finding.check, finding.text)
                units.setdefault(key, []).append(target.unit)
                first.setdefault(key, finding)
    return [
        Finding(
            found.check,
            found.answer,
            f"{listed(units[key])}: {found.text}",
            {**found.figures, "units": listed(units[key])},
            found.clears,
        )
        for key, found in first.items()
    ]


def _by_model(plan: DayPlan, wanted: Callable[[Playbook], bool]) -> dict[str, tuple[str, ...]]:
    serials = set(_serials(plan, wanted))
    models: dict[str, list[str]] = {}
    for row in plan.roster:
        if row.serial in serials:
            models.setdefault(row.model, []).append(row.serial)
    return {model: tuple(units) for model, units in models.items()}


def _spares(plan: DayPlan) -> tuple[Spares, ...]:
    return tuple(
        Spares(model, units, tuple(pack for pack in plan.bench.packs if model in pack.fits))
        for model, units in _by_model(plan, lambda playbook: playbook.power.pack_swap).items()
    )


def _external(plan: DayPlan) -> tuple[External, ...]:
    return tuple(
        External(model, units, _at_once(plan, units))
        for model, units in _by_model(plan, lambda playbook: playbook.power.external).items()
    )


def _images(plan: DayPlan, targets: Sequence[Target]) -> tuple[ImageNeed, ...]:
    surely: dict[str, list[str]] = {}
    perhaps: dict[str, list[str]] = {}
    for target in targets:
        needed = [image.file for image in target.images]
        for file in needed:
            surely.setdefault(file, []).append(target.unit)
        for file in _stepping_stones(plan, target):
            if file not in needed:
                perhaps.setdefault(file, []).append(target.unit)
    return tuple(
        ImageNeed(image, tuple(surely.get(image.file, ())), tuple(perhaps.get(image.file, ())))
        for image in plan.images.images
        if image.file in surely or image.file in perhaps
    )


def _stepping_stones(plan: DayPlan, target: Target) -> list[str]:
    """Return the images that an old release would have to pass through, where the release now is not known."""
    row = plan.row(target.unit)
    if row is None or target.now is not None:
        return []
    suiting = plan.images_for(row.model)
    found: dict[str, None] = {}
    open_ = list(target.images)
    while open_:
        through = {Version(release) for release in open_.pop().through}
        stones = [image for image in suiting if image.version in through and image.file not in found]
        found |= dict.fromkeys(image.file for image in stones)
        open_ += stones
    return list(found)
