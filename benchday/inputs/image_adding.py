"""Adding an image to the store: everything is checked before anything is written, and nothing is replaced."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML

from benchday.domain.errors import InputError, Mistake, MistakesFound
from benchday.domain.releases import Image, Version
from benchday.inputs.day import IMAGES
from benchday.inputs.source import digest
from benchday.inputs.store_reading import Store, bytes_of, put, read_store
from benchday.inputs.yaml_writing import yaml_lines

NOTHING_CHANGED = "nothing was changed"
_OPTIONS = {
    "file": "FILE",
    "release": "--release",
    "issued": "--issued",
    "models": "--model",
    "hardware": "--hardware",
    "enter_from": "--enter-from",
    "through": "--through",
    "back_to": "--back-to",
    "trial": "--trial",
    "source": "--source",
    "approved_by": "--approved-by",
}
"""Key of an entry -> what says it on the command line."""
_ALWAYS = frozenset({"bytes", "models", "source", "approved_by"})
"""Keys that are written even where nothing stands in them, so that the mistake is told."""


@dataclass(frozen=True, slots=True)
class NewImage:
    """What is said of an image that is to be added."""

    file: Path
    release: str
    issued: str
    models: tuple[str, ...]
    source: str
    approved_by: str
    hardware: tuple[str, ...] = ()
    enter_from: str | None = None
    through: tuple[str, ...] = ()
    back_to: str | None = None
    trial: bool = False

    def entry(self, data: bytes) -> dict[str, Any]:
        """Return its entry in the list."""
        said: dict[str, Any] = {
            "file": self.file.name,
            "release": self.release,
            "issued": self.issued,
            "sha256": digest(data),
            "bytes": len(data),
            "trial": self.trial,
            "models": list(self.models),
            "hardware": list(self.hardware),
            "enter_from": self.enter_from,
            "through": list(self.through),
            "back_to": self.back_to,
            "source": self.source,
            "approved_by": self.approved_by,
        }
        return {key: value for key, value in said.items() if value or key in _ALWAYS}


@dataclass(frozen=True, slots=True)
class Added:
    """What adding an image did."""

    path: Path
    """Of the image in the store."""
    bytes: int
    sha256: str
    copied: bool
    """It was put into the store; False: these bytes were there."""
    listed: bool
    """It was put into the list; False: its entry was there."""
    sequence: int | None
    """Number of the list now."""
    unsigned: bool
    """The list was signed, and is not any more."""


def add_image(folder: Path, new: NewImage) -> Added:
    """Put an image and its entry into the store of a day's folder.

    Raises:
        MistakesFound: the list as it stands holds mistakes; nothing was changed.
        InputError: the image or what is said of it will not do; nothing was changed.
    """
    store, data = read_store(folder), bytes_of(new.file)
    if store.images is None:
        raise MistakesFound(tuple(store.text.mistakes))
    path, sha256 = store.folder / new.file.name, digest(data)
    _refuse_another(store, new, path, data)
    listed = next((i for i in store.images.images if i.file == path.name), None)
    after = store if listed is not None else store.with_list(_with_entry(store, new.entry(data)))
    _refuse_mistakes(after, new, len(store.images.images))
    copied = not path.exists()
    if copied:
        # The image before its entry: cut short between the two, an image without an entry is all that is left over.
        put(path, data, replace=False)
    if after is not store:
        _replace_list(store, after.data)
    sequence = after.images.sequence if after.images is not None else None
    unsigned = after is not store and store.signatures.is_file()
    return Added(path, len(data), sha256, copied, after is not store, sequence, unsigned)


def _refuse_another(store: Store, new: NewImage, path: Path, data: bytes) -> None:
    """Refuse what would stand beside, or in place of, something that claims to be the same."""
    sha256 = digest(data)
    if path.name.startswith(IMAGES):
        raise InputError(f"{path.name} is the name of the image list; give the image another; {NOTHING_CHANGED}")
    if path.exists() and (there := digest(bytes_of(path))) != sha256:
        raise InputError(
            f"{path} is another file of that name: SHA-256 {there}, the new one has {sha256}. Find out which is right, "
            f"then give the new one another name or move the old one away; {NOTHING_CHANGED}"
        )
    for image in store.images.images if store.images is not None else ():
        if image.file == path.name:
            _refuse_other_entry(store, new, image, data)
        elif _is_same_release(image, new) and image.sha256 != sha256:
            raise InputError(
                f"release {image.release} for {', '.join(image.models)} is in the store already: {image.file}, SHA-256 "
                f"{image.sha256}; {path.name} has {sha256}. A release has one image for a model: find out which is "
                f"right; {NOTHING_CHANGED}"
            )
        elif image.sha256 == sha256:
            raise InputError(
                f"these bytes (SHA-256 {sha256}) are in the store already, as {image.file}, release {image.release} "
                f"for {', '.join(image.models)}; {NOTHING_CHANGED}"
            )


def _is_same_release(image: Image, new: NewImage) -> bool:
    """Tell whether some unit could take both as the same release."""
    try:
        version = Version(new.release)
    except ValueError:
        return False  # told with the other mistakes
    apart = image.hardware and new.hardware and not set(image.hardware) & set(new.hardware)
    return image.version == version and bool(set(image.models) & set(new.models)) and not apart


def _refuse_other_entry(store: Store, new: NewImage, image: Image, data: bytes) -> None:
    was, said = image.model_dump(mode="json"), new.entry(data)
    if image.sha256 != said["sha256"]:
        raise InputError(
            f"{store.file} lists {image.file}, release {image.release}, with SHA-256 {image.sha256}, and the new file "
            f"has {said['sha256']}. Find out which is right, and give the new one another name; {NOTHING_CHANGED}"
        )
    others = [key for key in was if (was[key] or None) != (said.get(key) or None)]
    if others:
        raise InputError(
            f"{image.file} with these bytes is listed already, with another {' and another '.join(others)}: correct "
            f"its entry in {store.file} if that is wrong; {NOTHING_CHANGED}"
        )


def _with_entry(store: Store, entry: dict[str, Any]) -> bytes:
    """Return the list with an entry at its end and the next number, comments and order kept."""
    plain = store.data.decode("utf-8-sig")
    yaml = YAML()
    yaml.preserve_quotes = True
    yaml.width = 1 << 20
    inset = max(2, store.text.spot(("images", 0)).column - 1)
    yaml.indent(mapping=2, sequence=inset, offset=inset - 2)
    tree = yaml.load(plain.replace("\r\n", "\n"))
    if not tree["images"]:
        tree["images"].fa.set_block_style()
    tree["images"].append(yaml.load("\n".join(yaml_lines(entry))))
    if tree.get("sequence") is not None:
        tree["sequence"] += 1
    written = io.StringIO()
    yaml.dump(tree, written)
    text = written.getvalue()
    return (text.replace("\n", "\r\n") if "\r\n" in plain else text).encode("utf-8")


def _refuse_mistakes(after: Store, new: NewImage, number: int) -> None:
    """Refuse a list that would hold mistakes; those of the new entry are told by the option that says it."""
    mistakes = after.mistakes(coming={new.file.name})
    if not mistakes:
        return
    first = after.text.spot(("images", number)).line if ("images", number) in after.text.values else 1 << 30
    told = [m for m in mistakes if m.line < first]
    mine = list(dict.fromkeys(_by_option(after, m, number) for m in mistakes if m.line >= first))
    lines = [*mine, *(str(m) for m in told)]
    raise InputError("\n".join([*lines, NOTHING_CHANGED]))


def _by_option(after: Store, mistake: Mistake, number: int) -> str:
    key = next(iter(_keys_at(after, mistake, number)), "")
    hint = f" (did you mean {mistake.nearest}?)" if mistake.nearest else ""
    return f"{_OPTIONS.get(key, 'the new image')}: expected {mistake.expected}, found {mistake.found}{hint}"


def _keys_at(after: Store, mistake: Mistake, number: int) -> Iterator[str]:
    for path, spot in after.text.values.items():
        if (spot.line, spot.column) == (mistake.line, mistake.column) and path[:2] == ("images", number):
            yield from (str(step) for step in path[2:3])


def _replace_list(store: Store, data: bytes) -> None:
    if bytes_of(store.path) != store.data:
        raise InputError(f"{store.path} was edited meanwhile; add the image again: the list was not changed")
    put(store.path, data, replace=True)
