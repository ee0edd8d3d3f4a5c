"""What the ports of this computer say to a day's cables: told when its files are checked, never a mistake in them."""

from __future__ import annotations

from pathlib import Path

from benchday.at_hand.ports import HERE, CablePort, Code, Roots, Trouble, look
from benchday.domain.bench import Instruments
from benchday.domain.plan import DayPlan
from benchday.inputs.day import BENCH
from benchday.inputs.outcome import Notice
from benchday.inputs.source import read_bytes
from benchday.inputs.yaml_text import read_yaml


def port_notices(folder: Path, plan: DayPlan | None, roots: Roots = HERE) -> tuple[Notice, ...]:
    """Return the troubles of the day's cables at this computer; none for a day without real instruments.

    The files may be checked where no cable is, so that nothing here is a mistake.
    """
    if plan is None or plan.day.instruments is Instruments.SIMULATED:
        return ()
    found = look([(c.number, c.connector, c.port) for c in plan.bench.cables], roots)
    text = read_yaml(read_bytes(folder / BENCH, BENCH, []) or b"", BENCH)
    notices = []
    for trouble in found.troubles:
        concerned = [n for n, cable in enumerate(found.cables) if _concerns(trouble, cable)]
        if concerned:
            notices.append(Notice(BENCH, text.spot(("cables", concerned[0], "port")).line, trouble.text))
    return tuple(notices)


def _concerns(trouble: Trouble, cable: CablePort) -> bool:
    if trouble.code is Code.SHARED:
        return cable.number in trouble.where.split()
    return trouble.where == f"cable {cable.number}" or (cable.device is not None and cable.device in trouble.where)
