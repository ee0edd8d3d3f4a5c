"""What speaks on a port: asked by each playbook's driver who it is, and nothing else."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import cast

import anyio

from benchday.devices.drivers import Place, make_driver
from benchday.domain.clean import clean
from benchday.domain.errors import BenchdayError, LinkError
from benchday.domain.playbook import DriverChoice, Playbook
from benchday.domain.readings import Identity
from benchday.domain.seams import CanIdentify, ServedBy

ASK_S = 5.0
"""For one playbook on one port (real seconds); a unit that is on answers in a fraction of it."""
CLOSE_S = 3.0
NOT_SERIAL = ("web", "by-hand")


@dataclass(frozen=True, slots=True)
class Heard:
    """What came of asking."""

    playbook: str | None = None
    """The one whose question was answered; None if none was."""
    identity: Identity | None = None
    silence: str = ""
    """Why nothing is known, in words."""


async def ask_ports(wanted: Mapping[str, Sequence[Playbook]]) -> dict[str, Heard]:
    """Ask on several ports beside one another: port -> playbooks to try there, in order."""
    heard: dict[str, Heard] = {}

    async def one(where: str, playbooks: Sequence[Playbook]) -> None:
        heard[where] = await ask_port(where, playbooks)

    async with anyio.create_task_group() as all_ports:
        for where, playbooks in wanted.items():
            all_ports.start_soon(one, where, playbooks)
    return {where: heard[where] for where in wanted}


async def ask_port(where: str, playbooks: Sequence[Playbook]) -> Heard:
    """Ask on one port, playbook after playbook, until one is answered."""
    silence = "no playbook of the day is for a serial line"
    tried = list[DriverChoice]()
    for playbook in playbooks:
        if playbook.driver in tried:
            continue  # the same question again
        tried.append(playbook.driver)
        silence = f"no answer in {ASK_S:g} s"
        try:
            with anyio.move_on_after(ASK_S):
                identity = await _identify(where, playbook)
                if identity is not None:
                    own = next((p for p in playbooks if identity.model in p.models), playbook)
                    return Heard(own.playbook, identity)
        except LinkError as error:
            silence = clean(str(error))
        except BenchdayError as error:
            silence = f"something answers, but not by {playbook.playbook}: {clean(str(error))}"
    return Heard(silence=silence)


async def _identify(where: str, playbook: Playbook) -> Identity | None:
    driver = await make_driver(playbook.driver.name, Place(where, dict(playbook.driver.settings), playbook=playbook))
    try:
        return await driver.identify() if isinstance(driver, CanIdentify) else None
    finally:
        with anyio.move_on_after(CLOSE_S, shield=True):
            await cast("ServedBy", driver).aclose()


def by_serial_line(playbooks: Sequence[Playbook], connector: str | None = None) -> tuple[Playbook, ...]:
    """Return the playbooks whose units may be on a serial line; where the cable is known, those of its connector."""
    serial = [p for p in playbooks if p.connector is not None and p.driver.name not in NOT_SERIAL]
    return tuple(p for p in serial if connector in (None, p.connector))
