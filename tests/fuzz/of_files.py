"""What comes from files and from standard input: YAML, tables, models, the lines of a pipe."""

from __future__ import annotations

import json
from typing import Any

from benchday.cli.pipe import Pipe
from benchday.domain.errors import InputError
from benchday.domain.items import Item, ItemKind, Wanted, WantedKind
from benchday.inputs.register_csv import read_register
from benchday.inputs.roster_csv import read_roster
from benchday.inputs.terms_csv import read_terms
from benchday.inputs.yaml_text import DEEPEST, read_yaml
from benchday.planning.model_file import read_model


def yaml(data: bytes) -> None:
    """Read a file; nothing in it is deeper than it may be, and every mistake is one line."""
    read = read_yaml(data, "f.yaml")
    assert _depth(read.value) <= DEEPEST
    for mistake in read.mistakes:
        assert "\n" not in str(mistake)


def _depth(value: object) -> int:
    if isinstance(value, dict):
        return 1 + max(map(_depth, value.values()), default=0)
    if isinstance(value, list):
        return 1 + max(map(_depth, value), default=0)
    return 0


def tables(data: bytes) -> None:
    """Read a table as roster, as list of terms and as register."""
    for found in (read_roster(data), read_terms(data, "t.csv"), read_register(data, "r.csv")):
        for mistake in found.mistakes:
            assert "\n" not in str(mistake)


def model(data: bytes) -> None:
    """Read a model of a day."""
    try:
        read_model(data.decode("utf-8", "replace"))
    except InputError:
        return


_ITEM = Item(
    "1",
    ItemKind.EVIDENCE,
    "hand:power",
    "Read the battery.",
    wanted=(
        Wanted("charge", "charge", WantedKind.INTEGER, lowest=0, highest=100),
        Wanted("count", "how many", WantedKind.INTEGER),
        Wanted("day", "day", WantedKind.DATE),
        Wanted("words", "words"),
        Wanted("answer", "yes or no", WantedKind.CHOICE, ("yes", "no"), required=False),
        Wanted("done", "done", WantedKind.FLAG, required=False),
    ),
)


class Asked:
    """A desk that checks an answer as the real one does, and keeps nothing."""

    async def answer(self, item: str, value: dict[str, Any], operator: str, by: str) -> None:
        """Check; what will do can be recorded."""
        problems = _ITEM.problems(value)
        if problems:
            raise InputError("; ".join(problems))
        json.dumps(value, ensure_ascii=False).encode()

    async def scan(self, code: str) -> str:
        """Say it back."""
        code.encode()
        return code

    async def lift(self, unit: str, reason: str, operator: str) -> None:
        """Take note."""
        (unit + reason + operator).encode()

    def _known(self, serial: str) -> str:
        raise InputError(f"no unit {serial} today")

    @property
    def state(self) -> None:
        """Know no crew either."""
        raise InputError("nothing of that name today")


def pipe(data: bytes) -> None:
    """Take a line as the pipe does; each is answered with one line of JSON."""
    from tests.fuzz.of_pages import now  # noqa: PLC0415

    written: list[str] = []
    peer = Pipe("Ines Calder", None, written.append)  # type: ignore[arg-type]  # lines are handed in here
    now(peer._take(Asked(), data.decode("utf-8", "replace").replace("\n", " ")))  # type: ignore[arg-type]
    (answer,) = written
    assert json.loads(answer).keys() & {"accepted", "refused", "said"}
    answer.encode()
