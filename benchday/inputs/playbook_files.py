"""Playbooks and cautions: the shipped ones, or a folder of the day's own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from benchday.domain.cautions import CautionFile
from benchday.domain.errors import Mistake, MistakesFound
from benchday.domain.playbook import Playbook
from benchday.inputs.checked import checked
from benchday.inputs.source import digest, read_bytes
from benchday.inputs.yaml_text import YamlText, read_yaml

SHIPPED = "shipped"
CAUTIONS = "cautions.yaml"
NO_PLAYBOOKS = frozenset({CAUTIONS, "demo.yaml"})
"""Files beside the playbooks that hold something else."""


@dataclass(slots=True)
class Playbooks:
    """The playbooks as read, with their text for pointing at places, and the cautions."""

    read: list[tuple[Playbook, YamlText]] = field(default_factory=list)
    cautions: CautionFile | None = None
    digests: dict[str, str] = field(default_factory=dict)
    mistakes: list[Mistake] = field(default_factory=list)
    broken: list[YamlText] = field(default_factory=list)
    """Playbooks with mistakes in them."""

    @property
    def models(self) -> tuple[str, ...]:
        """The models that playbooks cover."""
        return tuple(model for playbook, _ in self.read for model in playbook.models)

    def covers(self, model: str) -> bool:
        """Tell whether a playbook covers a model, or may do once mistakes in playbooks are put right."""
        if not self.read and not self.broken:
            return True  # there is no playbook at all, which is told by itself
        return any(model in playbook.models for playbook, _ in self.read) or any(
            model in _models_in(text) or not _models_in(text) for text in self.broken
        )


def _models_in(text: YamlText) -> tuple[object, ...]:
    models = text.value.get("models") if isinstance(text.value, dict) else None
    return tuple(models) if isinstance(models, list) else ()


def shipped_folder() -> Traversable:
    """Return where the shipped playbooks are."""
    return files("benchday_playbooks")


def read_playbooks(where: str, folder: Path, *, named_at: YamlText | None = None) -> Playbooks:
    """Read every playbook, and the cautions beside them (the shipped ones where there are none).

    Args:
        where: the word shipped, or a folder relative to the day's.
        folder: of the day.
        named_at: the day's file, for pointing at a folder that is not there.
    """
    found = Playbooks()
    place: Traversable = shipped_folder() if where == SHIPPED else folder / where
    label = "playbooks" if where == SHIPPED else where
    texts = list(_playbook_texts(place, label, found)) if place.is_dir() else []
    if not texts and named_at is not None and not found.mistakes:
        what = "no such folder" if not place.is_dir() else "no .yaml file in it"
        found.mistakes.append(
            named_at.mistake(("playbooks",), "the word shipped, or a folder with playbooks", f"{where}: {what}")
        )

    for text, sha256 in texts:
        _take(text, sha256, found)
    _read_cautions(place, label, found)
    return found


def read_playbook(path: Path) -> Playbook:
    """Read one playbook by itself.

    Raises:
        MistakesFound: it cannot be read, or holds mistakes.
    """
    mistakes: list[Mistake] = []
    data = read_bytes(path, str(path), mistakes)
    if data is None:
        raise MistakesFound(tuple(mistakes))
    text = read_yaml(data, str(path))
    playbook = checked(text, Playbook)
    if playbook is None:
        raise MistakesFound(tuple(text.mistakes))
    return playbook


def _playbook_texts(place: Traversable, label: str, found: Playbooks) -> Iterator[tuple[YamlText, str]]:
    for path in sorted(place.iterdir(), key=lambda p: p.name):
        if path.name.endswith((".yaml", ".yml")) and path.name not in NO_PLAYBOOKS:
            name = f"{label}/{path.name}"
            data = read_bytes(path, name, found.mistakes)
            if data is not None:
                yield read_yaml(data, name), digest(data)


def _take(text: YamlText, sha256: str, found: Playbooks) -> None:
    playbook = checked(text, Playbook)
    found.mistakes += text.mistakes
    if playbook is None:
        found.broken.append(text)
        return

    for other, other_text in found.read:
        if other.playbook == playbook.playbook:
            where = f"{playbook.playbook}, which is in {other_text.file} too"
            found.mistakes.append(text.mistake(("playbook",), "a short name of its own", where))
        for number, model in enumerate(playbook.models):
            if model in other.models:
                where = f"{model}, which {other_text.file} covers"
                found.mistakes.append(text.mistake(("models", number), "models that no other playbook covers", where))
    found.read.append((playbook, text))
    found.digests[f"playbook:{playbook.playbook}"] = sha256


def _read_cautions(place: Traversable, label: str, found: Playbooks) -> None:
    own = place / CAUTIONS
    path, name = (own, f"{label}/{CAUTIONS}") if own.is_file() else (shipped_folder() / CAUTIONS, CAUTIONS)
    data = read_bytes(path, name, found.mistakes)
    if data is None:
        return

    text = read_yaml(data, name)
    found.cautions = checked(text, CautionFile)
    found.mistakes += text.mistakes
    found.digests["cautions"] = digest(data)
