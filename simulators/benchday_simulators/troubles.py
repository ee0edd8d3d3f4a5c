"""Trouble that is to happen: read from `--trouble FILE`, due at named moments, each as often as it says."""

from dataclasses import dataclass, field
from pathlib import Path

MOMENTS = ("power-on", "identify", "recordings", "send", "image", "flash", "restart", "test")
KINDS = {
    # what can happen: the moment it belongs to when the file names none
    "cable out": "image",
    "power out": "image",
    "silent": "identify",
    "garbled": "identify",
    "wrong serial": "identify",
    "old version": "image",
    "test fails": "test",
    "settings lost": "restart",
    "refuses": "image",
    "last acknowledgement lost": "image",
    # of units with an HTTPS page alone
    "certificate changes": "restart",
    "error text": "identify",
    "signed out": "identify",
    "points elsewhere": "identify",
    "hangs up": "image",
}


class BadTrouble(ValueError):
    """The file of trouble cannot be read; the words say where and what was expected."""


@dataclass(frozen=True)
class Trouble:
    """One thing that is to happen to one unit."""

    number: int
    """its place in the file, from 1"""
    when: str
    what: str
    percent: float = 0
    seconds: float = 0
    """real seconds until it is over"""
    times: int = 1

    def __post_init__(self) -> None:
        """Check itself; raises BadTrouble."""
        if self.what not in KINDS:
            raise BadTrouble(f"entry {self.number}: what: {self.what!r}; expected one of {', '.join(KINDS)}")
        if self.when not in MOMENTS:
            raise BadTrouble(f"entry {self.number}: when: {self.when!r}; expected one of {', '.join(MOMENTS)}")
        if not 0 <= self.percent <= 100 or self.seconds < 0 or self.times < 0:
            raise BadTrouble(f"entry {self.number}: percent is 0 to 100, seconds and times are not below 0")


def read_troubles(path: Path, serial: str) -> list[Trouble]:
    """Read what is to happen to one unit; raises BadTrouble."""
    # YAML is loaded here only: most units are started without trouble, and twenty of them start at once.
    from ruamel.yaml import YAML  # noqa: PLC0415
    from ruamel.yaml.error import YAMLError  # noqa: PLC0415

    try:
        entries = YAML(typ="safe", pure=True).load(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, YAMLError) as error:
        raise BadTrouble(f"{path}: {error}") from None
    if not isinstance(entries, list):
        raise BadTrouble(f"{path}: expected a list of entries")
    ours = []
    for number, entry in enumerate(entries, 1):
        if not isinstance(entry, dict) or "unit" not in entry:
            raise BadTrouble(f"{path}: entry {number}: expected keys unit, when, what")
        if str(entry["unit"]) == serial:
            ours.append(_trouble(path, number, entry))
    return ours


def _trouble(path: Path, number: int, entry: dict[str, object]) -> Trouble:
    unknown = set(entry) - {"unit", "when", "what", "percent", "seconds", "times"}
    if unknown:
        raise BadTrouble(f"{path}: entry {number}: unknown {', '.join(sorted(map(str, unknown)))}")
    what = str(entry.get("what", ""))
    try:
        return Trouble(
            number=number,
            when=str(entry.get("when", KINDS.get(what, ""))),
            what=what,
            percent=float(str(entry.get("percent", 0))),
            seconds=float(str(entry.get("seconds", 0))),
            times=int(str(entry.get("times", 1))),
        )
    except ValueError as error:
        raise BadTrouble(f"{path}: {error}") from None


@dataclass
class Troubles:
    """The trouble of one unit, and how often each has happened already."""

    entries: list[Trouble]
    spent: dict[str, int] = field(default_factory=dict)
    """by number, kept in the unit's state so that a restarted process does not begin again"""
    _waiting: set[int] = field(default_factory=set)

    def due(self, when: str, percent: float = 0, *, begin: bool = True) -> list[Trouble]:
        """Give what happens now and count it; `begin` says that the moment begins anew."""
        found = []
        for trouble in self.entries:
            if trouble.when != when:
                continue
            if begin:
                self._waiting.add(trouble.number)
            count = self.spent.get(str(trouble.number), 0)
            if trouble.number in self._waiting and count < trouble.times and percent >= trouble.percent:
                self._waiting.discard(trouble.number)
                self.spent[str(trouble.number)] = count + 1
                found.append(trouble)
        return found
