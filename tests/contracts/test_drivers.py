"""Every driver keeps what drivers promise, on the simulated units where there are some."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from functools import partial
from importlib.resources import files
from pathlib import Path

import pytest
from ruamel.yaml import YAML

from benchday.devices.completed import completed
from benchday.devices.drivers import Place, make_driver
from benchday.devices.drivers.by_hand import ByHandDriver
from benchday.devices.drivers.by_hand_questions import Question
from benchday.domain.playbook import Playbook
from benchday.testing.drivers import CHECKS, Bed, MakeBed
from tests.devices.acts import image_for, spent
from tests.devices.books import sluicepad
from tests.devices.declared import gantry, millrace
from tests.devices.pages import playbook_of
from tests.devices.scripted import ScriptedOperator
from tests.devices.slot_images import slot_image
from tests.simulators.stranger import SERIAL, unit

HARDWARE = "A B C D E F G H J"
FAST = {"poll_s": 0.05}
ON_PAPER = {"SITE001.rnx": b"one" * 1000, "SITE002.rnx": b"", "b.rnx": bytes(range(256))}


@asynccontextmanager
async def on_a_simulator(
    driver: str, model: str, folder: Path, playbook: Callable[[], Playbook] | None = None
) -> AsyncIterator[Bed]:
    """A driver on a simulated unit in a process of its own."""
    with unit(model, folder / SERIAL) as process:
        declared = playbook() if playbook is not None else playbook_of(model) if driver == "page" else None
        made = await make_driver(driver, Place(str(process.link), FAST, playbook=declared, unit=SERIAL))
        recorded = {path.name: path.read_bytes() for path in (folder / SERIAL / "recordings").iterdir()}
        image = image_for(model, HARDWARE)
        try:
            yield Bed(made, SERIAL, image, "9.9", partial(spent, SERIAL), recorded)
        finally:
            await made.aclose()  # type: ignore[attr-defined]  # every driver can be closed


@asynccontextmanager
async def smp_on_a_wherry(over: str, folder: Path) -> AsyncIterator[Bed]:
    """The SMP driver on a simulated unit, over its line or in datagrams, set as the shipped playbook sets it."""
    with unit("Wherry", folder / SERIAL, "--over", over) as process:
        told = YAML(typ="safe").load((files("benchday_playbooks") / "wherry.yaml").read_text(encoding="utf-8"))
        made = await make_driver("smp", Place(str(process.link), told["driver"]["settings"] | FAST))
        recorded = {path.name: path.read_bytes() for path in (folder / SERIAL / "recordings").iterdir()}
        image, _ = slot_image("9.9.0", 40_000)
        try:
            yield Bed(made, SERIAL, image, "9.9.0", partial(spent, SERIAL), recorded)
        finally:
            await made.aclose()  # type: ignore[attr-defined]  # every driver can be closed


@asynccontextmanager
async def on_a_drive(folder: Path) -> AsyncIterator[Bed]:
    """The storage driver on a simulated controller, with a person who unmounts and restarts it."""
    with unit("Sluicepad", folder / SERIAL) as process:
        process.hand(do="external power", on=True)

        async def hands(question: Question) -> Mapping[str, object]:
            process.hand(do=question.capability)
            if question.capability == "restart":
                process.wait_for("flashed")
            return {"unmounted": True, "up": True}

        place = Place(str(process.link), {**FAST, "back_s": 10}, ask=hands, playbook=sluicepad(), unit=SERIAL)
        recorded = {f"JOBS/{p.name}": p.read_bytes() for p in (folder / SERIAL / "recordings").iterdir()}
        made = await make_driver("storage", place)
        yield Bed(made, SERIAL, image_for("Sluicepad", "F G"), "9.9", partial(spent, SERIAL), recorded)


@asynccontextmanager
async def by_hand(folder: Path) -> AsyncIterator[Bed]:
    """The by-hand driver with an operator who answers by script."""
    for name, data in ON_PAPER.items():
        (folder / name).write_bytes(data)
    made = ByHandDriver(ScriptedOperator(SERIAL, folder, len(ON_PAPER), "9.9"))
    yield Bed(made, SERIAL, image_for("Tiller", "E"), "9.9", partial(spent, SERIAL), ON_PAPER)
    await made.aclose()


@asynccontextmanager
async def completed_by_hand(folder: Path) -> AsyncIterator[Bed]:
    """A driver that can do nothing, completed."""
    async with by_hand(folder) as bed:
        yield Bed(completed(object(), bed.driver), SERIAL, bed.image, bed.release, bed.make_act, recorded=bed.recorded)


BEDS: dict[str, Callable[[Path], AbstractAsyncContextManager[Bed]]] = {
    "console on a Millrace": partial(on_a_simulator, "console", "Millrace"),
    "console on a Weirstone": partial(on_a_simulator, "console", "Weirstone"),
    "declared dialogue on a Gantry": partial(on_a_simulator, "dialogue", "Gantry", playbook=gantry),
    "declared dialogue on a Millrace": partial(on_a_simulator, "dialogue", "Millrace", playbook=millrace),
    "web on an Osier": partial(on_a_simulator, "web", "Osier"),
    "smp on a Wherry's line": partial(smp_on_a_wherry, "line"),
    "smp on a Wherry by datagrams": partial(smp_on_a_wherry, "udp"),
    "page on a Fenbook": partial(on_a_simulator, "page", "Fenbook"),
    "page on an Osier": partial(on_a_simulator, "page", "Osier"),
    "storage on a Sluicepad": on_a_drive,
    "by hand": by_hand,
    "completed by hand": completed_by_hand,
}


@pytest.mark.asyncio
@pytest.mark.parametrize("bed", BEDS)
@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
async def test_promise(check: Callable[[MakeBed], Awaitable[None]], bed: str, tmp_path: Path) -> None:
    """Each promise, for each driver."""
    await check(partial(BEDS[bed], tmp_path))
