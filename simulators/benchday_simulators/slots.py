"""A unit with two image slots: what is listed, marked, started on trial, confirmed, or gone back from."""

from typing import TYPE_CHECKING

from .smp_cbor import Value
from .smp_errors import IMAGES, SmpRefusal
from .state import Slots, UnitState

if TYPE_CHECKING:
    from .unit import Unit

TRIAL, FOR_GOOD = "trial", "for good"
HASH_NOT_FOUND, NO_FREE_SLOT, TRIAL_OF_RUNNING = 8, 9, 33
"""numbers of the image group's refusals"""


def slots_of(state: UnitState) -> Slots:
    """Give the slots of a unit that has them."""
    if state.slots is None:
        raise SmpRefusal(None, 8)
    return state.slots


def listed(state: UnitState) -> list[Value]:
    """Say what stands in the slots, as the image group words it; what is false is left out."""
    slots = slots_of(state)
    first: dict[str, Value] = {"slot": 0, "version": state.release, "hash": bytes.fromhex(slots.running_hash)}
    images: list[Value] = [
        first | {"bootable": True, "active": True} | ({"confirmed": True} if slots.confirmed else {})
    ]
    if slots.other_hash:
        other: dict[str, Value] = {"slot": 1, "version": slots.other_version, "hash": bytes.fromhex(slots.other_hash)}
        other |= {"bootable": True} | ({"pending": True} if slots.marked else {})
        # What a trial would go back to is still the confirmed one.
        other |= ({"permanent": True} if slots.marked == FOR_GOOD else {}) | (
            {} if slots.confirmed else {"confirmed": True}
        )
        images.append(other)
    return images


def mark(unit: "Unit", digest: bytes | None, *, confirm: bool) -> None:
    """Mark an image for a trial start, or for good; raises SmpRefusal."""
    slots = slots_of(unit.state)
    wanted = digest.hex() if digest is not None else slots.running_hash
    if wanted == slots.running_hash:
        if not confirm:
            raise SmpRefusal(IMAGES, TRIAL_OF_RUNNING if digest is not None else HASH_NOT_FOUND)
        if not slots.confirmed:
            slots.confirmed = True
            unit.log.write("confirmed", version=unit.state.release)
    elif wanted == slots.other_hash:
        slots.marked = FOR_GOOD if confirm else TRIAL
        unit.log.write("marked", version=slots.other_version, how=slots.marked)
    else:
        raise SmpRefusal(IMAGES, HASH_NOT_FOUND)
    unit.save()


def in_use(state: UnitState) -> bool:
    """Say whether the other slot may not be written: it is marked, or is what a trial would go back to."""
    slots = slots_of(state)
    return bool(slots.marked) or not slots.confirmed


def start(unit: "Unit") -> None:
    """Do what the boot loader does: change to what is marked, go back from what was not confirmed."""
    slots = unit.state.slots
    if slots is None:
        return
    if slots.marked and unit.suffers("old version"):
        slots.marked = ""  # the boot loader finds it wanting
    elif slots.marked:
        _change(unit.state, slots, confirmed=slots.marked == FOR_GOOD)
        unit.log.write("changed", version=unit.state.release)
    elif not slots.confirmed:
        _change(unit.state, slots, confirmed=True)
        unit.log.write("gone back", version=unit.state.release)


def _change(state: UnitState, slots: Slots, *, confirmed: bool) -> None:
    state.last_release = state.release
    state.release, slots.other_version = slots.other_version, state.release
    slots.running_hash, slots.other_hash = slots.other_hash, slots.running_hash
    slots.confirmed, slots.marked = confirmed, ""
