"""ports: what is plugged in, which cable of the day it is, what stands in the way, and with --ask what speaks there."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchday.at_hand.ports import HERE, WARNINGS, CablePort, Code, Looked, Roots, Trouble, look, rules
from benchday.cli.exits import Exit
from benchday.cli.output import print_document
from benchday.cli.ports_view import lines
from benchday.domain.ports import Plugged, names_for

if TYPE_CHECKING:
    from benchday.at_hand.asking import Heard

BENCH = "bench.yaml"


@dataclass(frozen=True, slots=True)
class Asked:
    """What the command was asked for."""

    folder: Path | None
    record: Path | None = None
    ask: bool = False
    udev: bool = False
    as_json: bool = False


def ports(asked: Asked, roots: Roots = HERE) -> int:
    """Show the ports; nothing is opened unless asked for.

    Raises:
        MistakesFound: the day's files hold mistakes.
        RecordHeld: a day is running, and no port is opened beside it.
    """
    folder = _folder(asked.folder)
    found = _without_our_own(look(_cables(folder), roots), folder, asked.record)
    heard = _ask(folder, found, asked.record) if asked.ask else {}
    served = _served(folder, asked.record)
    if asked.as_json:
        print_document("ports", document(folder, found, heard, served, udev=asked.udev))
    elif asked.udev:
        print(rules(found.plugged), end="")
        return Exit.DONE
    else:
        for line in lines(found, heard, served):
            print(line)
    return Exit.HELD if any(trouble.code not in WARNINGS for trouble in found.troubles) else Exit.DONE


def _folder(folder: Path | None) -> Path | None:
    """Return the day's folder: as named, or the current one if it holds a day."""
    from benchday.domain.errors import InputError

    if folder is None:
        return Path() if Path(BENCH).is_file() else None
    if not (folder / BENCH).is_file():
        raise InputError(f"{folder} holds no {BENCH}; name the day's folder, or none to see the ports alone")
    return folder


def _cables(folder: Path | None) -> list[tuple[str, str, str | None]]:
    if folder is None:
        return []
    from benchday.domain.bench import BenchFile
    from benchday.domain.errors import Mistake, MistakesFound
    from benchday.inputs.checked import model_of

    mistakes: list[Mistake] = []
    bench = model_of(folder, BENCH, BenchFile, mistakes)
    if bench is None:
        raise MistakesFound(tuple(mistakes))
    return [(cable.number, cable.connector, cable.port) for cable in bench.cables]


def _record(folder: Path | None, record: Path | None) -> Path | None:
    """Return the folder of the day's record, if there is one."""
    if folder is None and record is None:
        return None
    from benchday.cli.reading import source_of
    from benchday.domain.errors import InputError
    from benchday.record.place import Place

    try:
        place = source_of(folder, record).record
    except InputError:
        return None  # a day.yaml with mistakes; validate tells them
    return place if Place(place).journal.is_file() else None


def _without_our_own(found: Looked, folder: Path | None, record: Path | None) -> Looked:
    """Take away the trouble that the running day itself has its ports open."""
    place = _record(folder, record) if found.in_use else None
    if place is None:
        return found
    from benchday.record.lock import Holder
    from benchday.record.place import Place

    try:
        holder = Holder.told(Place(place).lock.read_bytes()[:4096])
    except OSError:
        holder = None
    if holder is None:
        return found
    ours = {device for device, who in found.in_use.items() if who.endswith(f"(process {holder.pid})")}
    in_use = {d: "the day that is running" if d in ours else who for d, who in found.in_use.items()}
    troubles = tuple(t for t in found.troubles if t.code is not Code.IN_USE or t.where not in ours)
    return Looked(found.plugged, found.cables, in_use, troubles)


def _ask(folder: Path | None, found: Looked, record: Path | None) -> Mapping[str, Heard]:
    """Ask who speaks on each free port, with the record locked so that no day begins meanwhile."""
    import anyio

    from benchday.at_hand.asking import ask_ports, by_serial_line
    from benchday.domain.errors import InputError
    from benchday.inputs.day import load_day

    if folder is None:
        raise InputError("--ask needs the day's folder: its playbooks say how a unit is asked")
    playbooks = load_day(folder).playbooks
    closed = {t.where for t in found.troubles if t.code is Code.FORBIDDEN}
    wanted = {}
    for where, cables in _places(found):
        if where not in found.in_use and where not in closed:
            connector = cables[0].connector if cables else None
            wanted[where] = by_serial_line(playbooks, connector)
    with _no_day(folder, record):
        return anyio.run(ask_ports, wanted)


def _no_day(folder: Path, record: Path | None) -> Any:
    from contextlib import ExitStack

    from benchday.record.clock import DayClock
    from benchday.record.lock import FileLock
    from benchday.record.place import Place

    kept = ExitStack()
    place = _record(folder, record)
    if place is not None:
        kept.callback(FileLock.take(Place(place).lock, DayClock().wall()).let_go)
    return kept


def _served(folder: Path | None, record: Path | None) -> Mapping[str, tuple[str, str | None]]:
    """Return cable -> the unit that has it now and its station, by the day's record."""
    place = _record(folder, record)
    if place is None:
        return {}
    from benchday.cli.reading import opened, source_of
    from benchday.domain.fold import fold
    from benchday.planning.gates import STATION

    served = {}
    with opened(source_of(folder, record)) as (reader, benches):
        for bench in benches:
            for serial, story in fold(reader.read(bench)).units.items():
                for pool, name in story.places.items():
                    if pool.startswith("cable:"):
                        served[name] = (serial, story.places.get(STATION))
    return served


def _places(found: Looked) -> Iterator[tuple[str, Sequence[CablePort]]]:
    """Yield where something may be asked: each port with its cables, then cables that are behind something else."""
    devices = set[str]()
    for port in found.plugged:
        cables = found.cables_of(port)
        devices.update(c.number for c in cables)
        yield port.device, cables
    for cable in found.cables:
        if cable.number not in devices and cable.port is not None and _is_reachable(cable):
            yield cable.device or cable.port, [cable]


def _is_reachable(cable: CablePort) -> bool:
    from benchday.domain.ports import server_of

    return cable.device is not None or server_of(cable.port) is not None


def document(
    folder: Path | None,
    found: Looked,
    heard: Mapping[str, Heard],
    served: Mapping[str, tuple[str, str | None]],
    *,
    udev: bool,
) -> dict[str, Any]:
    """Return what was found as the command's document."""
    return {
        "folder": str(folder) if folder is not None else None,
        "ports": list(_ports(found, heard)),
        "cables": [_cable(cable, served) for cable in found.cables],
        "troubles": [_trouble(trouble) for trouble in found.troubles],
        "udev": rules(found.plugged) if udev else None,
    }


def _ports(found: Looked, heard: Mapping[str, Heard]) -> Iterable[dict[str, Any]]:
    by_device = {port.device: port for port in found.plugged}
    for where, cables in _places(found):
        port = by_device.get(where, Plugged(where))
        yield {
            "device": port.device,
            "description": port.description,
            "ids": port.ids,
            "serial": port.serial,
            "location": port.location,
            "interface": port.interface,
            "line": port.line,
            "names": list(names_for(port, found.plugged)),
            "power_saving": port.power_saving,
            "in_use": found.in_use.get(where),
            "cables": [cable.number for cable in cables],
            "heard": _heard(heard[where]) if where in heard else None,
        }


def _heard(one: Heard) -> dict[str, Any]:
    who = one.identity
    return {
        "playbook": one.playbook,
        "serial": who.serial if who else None,
        "model": who.model if who else None,
        "release": who.release if who else None,
        "silence": one.silence,
    }


def _cable(cable: CablePort, served: Mapping[str, tuple[str, str | None]]) -> dict[str, Any]:
    unit, station = served.get(cable.number, (None, None))
    told = {"number": cable.number, "connector": cable.connector, "port": cable.port, "device": cable.device}
    return {**told, "unit": unit, "station": station}


def _trouble(trouble: Trouble) -> dict[str, Any]:
    told = {"code": trouble.code.value, "where": trouble.where, "text": trouble.text}
    return {**told, "stops": trouble.code not in WARNINGS}
