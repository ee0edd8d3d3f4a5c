"""The table of what can go wrong: each kind, which units suffer it, at which moments, what an entry may say."""

from dataclasses import dataclass

from .models import MODELS, Model

MOMENTS = {
    "power-on": "it has started",
    "identify": "it is asked who it is",
    "recordings": "its recordings are listed; of a drive: it shows",
    "send": "a recording is asked for; by hand: recordings are copied to a card",
    "image": "an image is announced; of a drive: something is put on it",
    "flash": "a whole image begins to be flashed",
    "restart": "it is told to restart",
    "test": "it is told to test itself",
}
"""When something can go wrong, in the order in which a unit meets them."""

_WAYS = {"wifi": "web", "page": "page", "drive": "drive", "none": "hand", "smp": "smp"}
_TALKS = ("line", "prompts", "web", "page", "smp")
_ALL = (*_TALKS, "drive", "hand")
WAYS = {
    "line": "sentences over a line",
    "prompts": "prompts over a line",
    "web": "its own page (HTTP)",
    "page": "its own page (HTTPS)",
    "smp": "SMP",
    "drive": "a drive",
    "hand": "by hand",
}
"""How a unit is reached, which says what it can suffer."""

_MOMENTS_OF_WAYS = {
    "smp": ("power-on", "identify", "recordings", "send", "image", "restart"),
    "drive": ("power-on", "recordings", "image", "flash", "restart"),
    "hand": ("power-on", "send", "image", "flash", "restart"),
}
_MOVES_BYTES = ("send", "image")
_WRITE = ("image", "flash", "restart")
_ASKED = ("identify", "recordings", "send", "image", "restart", "test")


@dataclass(frozen=True)
class Kind:
    """One thing that can go wrong."""

    what: str
    words: str
    """what happens, for people"""
    usual: str
    """the moment of an entry that names none"""
    ways: tuple[str, ...] = _ALL
    """how the units that suffer it are reached"""
    moments: tuple[str, ...] = tuple(MOMENTS)
    """when it can happen, as far as such a unit meets the moment"""
    takes: tuple[str, ...] = ()
    """keys that mean something to it, besides those that say when: seconds, factor, restarts"""
    needs: tuple[str, ...] = ()
    """those of them that an entry has to give"""
    by_time: bool = True
    """whether it may come at a time, without anybody asking the unit for anything"""


_ROWS = (
    Kind(
        "cable out",
        "the port, network or drive vanishes; back after `seconds`",
        "image",
        (*_TALKS, "drive"),
        takes=("seconds",),
    ),
    Kind(
        "wi-fi drops",
        "nothing passes for `seconds`, and nobody is told; then it goes on",
        "image",
        ("web", "page"),
        takes=("seconds",),
    ),
    Kind("power out", "it goes dark in the middle; back after `seconds`", "image", takes=("seconds",)),
    Kind("battery empty", "its pack is empty; without external power it goes dark until there is power", "image"),
    Kind("stuck", "it accepts everything and answers nothing until it is switched off and on", "identify", _TALKS),
    Kind("silent", "it answers nothing for `seconds`", "identify", _TALKS, takes=("seconds",)),
    Kind(
        "slow",
        "line, answers and physics are `factor` times slower for `seconds`",
        "identify",
        takes=("seconds", "factor"),
        needs=("seconds", "factor"),
    ),
    Kind("garbled", "one byte of what it says next is changed", "identify", _TALKS),
    Kind("repeated", "what it says next comes twice", "identify", _TALKS),
    Kind("bytes lost", "a quarter of what it says next is missing, in the middle", "identify", _TALKS),
    Kind("wrong serial", "it reports another serial from then on", "identify"),
    Kind(
        "recordings vanish",
        "all its recordings are gone, also the one that is being copied",
        "send",
        moments=("power-on", "identify", "recordings", "send", "restart", "test"),
    ),
    Kind("refuses", "it refuses with code `busy`", "image", moments=(*_ASKED, "flash"), by_time=False),
    Kind(
        "no room",
        "it has no room for the image and refuses it with code `full`",
        "image",
        moments=("image",),
        by_time=False,
    ),
    Kind(
        "drive full",
        "until the next restart its drive has room for 4096 bytes; what is beyond them is lost",
        "recordings",
        ("drive",),
        ("power-on", "recordings"),
        by_time=False,
    ),
    Kind(
        "last acknowledgement lost",
        "the end of an image is not acknowledged",
        "image",
        ("line", "prompts", "smp"),
        ("image",),
    ),
    Kind("old version", "the write seems to work; after the restart the old release runs", "image", moments=_WRITE),
    Kind(
        "boot loader only",
        "the restart finds no release that it accepts: only the boot loader answers until an image is taken",
        "restart",
        ("line", "prompts", "web", "page", "drive", "hand"),
        _WRITE,
    ),
    Kind(
        "boot loop",
        "the restart is not the last: up for `seconds` each time, `restarts` times or until an image is taken",
        "restart",
        moments=_WRITE,
        takes=("seconds", "restarts"),
    ),
    Kind("settings lost", "the restart loses its settings", "restart", moments=_WRITE),
    Kind(
        "options lost",
        "the restart loses its options",
        "restart",
        ("line", "prompts", "web", "page", "drive", "hand"),
        _WRITE,
    ),
    Kind("term lost", "after the restart it knows no support term", "restart", moments=_WRITE),
    Kind("term changes", "after the restart its support term ends 400 days earlier", "restart", moments=_WRITE),
    Kind("test fails", "its next self-test fails", "test", ("line", "prompts", "web", "page")),
    Kind("signed out", "it has forgotten who was signed in", "identify", ("web", "page"), _ASKED),
    Kind("certificate changes", "after the restart it shows another certificate", "restart", ("page",)),
    Kind("error text", "its next answer is status 200 with the fault `internal`", "identify", ("page",), _ASKED),
    Kind("points elsewhere", "its next answer sends to another address", "identify", ("page",), _ASKED),
    Kind("hangs up", "the connection ends in the middle of an image", "image", ("page",), ("image",)),
)
KINDS = {kind.what: kind for kind in _ROWS}


def way_of(model: Model) -> str:
    """Say how units of a model are reached: one of WAYS."""
    return "prompts" if model.speaks == "prompts" else _WAYS.get(model.line, "line")


def moments_of(model: str, what: str | None = None) -> tuple[str, ...]:
    """
    Give the moments that units of a model meet; with `what`, those at which that can happen to them.

    Raises KeyError for a model or kind that does not exist.
    """
    way = way_of(MODELS[model])
    met = _MOMENTS_OF_WAYS.get(way, tuple(MOMENTS))
    if what is None:
        return met
    kind = KINDS[what]
    return tuple(moment for moment in met if moment in kind.moments) if way in kind.ways else ()


def troubles_of(model: str) -> tuple[Kind, ...]:
    """Give the kinds that units of a model can suffer; raises KeyError for a model that does not exist."""
    return tuple(kind for kind in KINDS.values() if moments_of(model, kind.what))


def moves_bytes(moment: str) -> bool:
    """Say whether bytes are moved from a moment on, so that `after_bytes` has a meaning."""
    return moment in _MOVES_BYTES


def smallest_entry(serial: str, what: str, when: str = "") -> dict[str, str | float]:
    """Give the shortest entry of a kind that a file may hold, for a matrix of them; raises KeyError."""
    needed = {"seconds": 1.0, "factor": 2.0}
    entry: dict[str, str | float] = {"unit": serial, "what": what, **{name: needed[name] for name in KINDS[what].needs}}
    return {**entry, "when": when} if when else entry


def usual_moment(model: str, what: str) -> str:
    """Give the moment of an entry that names none, on a unit of that model; empty where it cannot suffer it."""
    can, usual = moments_of(model, what), KINDS[what].usual
    if usual in can:
        return usual
    # A drive is asked nothing: what else would come with a question comes as it shows.
    return "recordings" if "recordings" in can else (can or ("",))[-1]
