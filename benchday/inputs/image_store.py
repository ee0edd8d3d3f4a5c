"""The image store: each image is there, of the size and digest listed, and its route rules lead somewhere."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from pathlib import Path

from benchday.domain.errors import Mistake
from benchday.domain.releases import Image, ImageList, Version
from benchday.inputs.outcome import nearest
from benchday.inputs.playbook_files import Playbooks
from benchday.inputs.source import size_and_digest
from benchday.inputs.yaml_text import KeyPath, YamlText


def image_mistakes(
    images: ImageList, text: YamlText, store: Path, playbooks: Playbooks, coming: Collection[str] = ()
) -> Iterator[Mistake]:
    """Yield what is wrong with the image list and its files.

    Args:
        images: the list as read.
        text: its text, for pointing at places.
        store: the folder that holds the files.
        playbooks: those of the day; images are for models that they cover.
        coming: names of files that are about to be put into the store by whoever has their bytes.
    """
    for number, image in enumerate(images.images):
        if image.file not in coming:
            yield from _file(number, image, text, store)
        yield from _rules(number, image, text, images)
        for position, model in enumerate(image.models):
            if not playbooks.covers(model):
                models = playbooks.models
                expected = "a model that a playbook covers: " + ", ".join(models)
                yield text.mistake(("images", number, "models", position), expected, model, nearest(model, models))


def _file(number: int, image: Image, text: YamlText, store: Path) -> Iterator[Mistake]:
    path = store / image.file
    if not path.is_file():
        present = [p.name for p in store.iterdir() if p.is_file()] if store.is_dir() else []
        near = nearest(image.file, present)
        yield text.mistake(("images", number, "file"), f"an image in {store.name}/", f"no file {image.file}", near)
        return

    try:
        size, sha256 = size_and_digest(path)
    except OSError as error:
        found = f"{image.file}: {error.strerror or error}"
        yield text.mistake(("images", number, "file"), "an image that can be read", found)
        return

    if size != image.bytes:
        expected = f"{size}, the bytes of {image.file} as it stands there"
        yield text.mistake(("images", number, "bytes"), expected, f"{image.bytes}: cut short, or another file")
    if sha256 != image.sha256:
        expected = f"{sha256}, the digest of {image.file} as it stands there"
        found = f"{image.sha256}: damaged, or another file; do not write it before you know which"
        yield text.mistake(("images", number, "sha256"), expected, found)


def _rules(number: int, image: Image, text: YamlText, images: ImageList) -> Iterator[Mistake]:
    """Yield the route rules that name no release of the store, or one that cannot come before or after this one."""
    named: list[tuple[KeyPath, str]] = [(("through", place), release) for place, release in enumerate(image.through)]
    named += [((key,), release) for key, release in (("enter_from", image.enter_from), ("back_to", image.back_to))
              if release is not None]  # fmt: skip
    for model in image.models:
        listed = {other.version: other.release for other in images.images if model in other.models}
        for path, release in named:
            if Version(release) not in listed:
                expected = f"a release that the store has for {model}: " + ", ".join(listed.values())
                yield text.mistake(("images", number, *path), expected, release, nearest(release, listed.values()))
            elif Version(release) >= image.version:
                circle = _circle(model, image, Version(release), images) if path != ("back_to",) else ""
                found = release + circle
                yield text.mistake(("images", number, *path), f"a release older than {image.release} itself", found)


def _circle(model: str, image: Image, release: Version, images: ImageList) -> str:
    """Tell whether the stepping stones lead from a release back to the image that names it, and by which way.

    Every circle has a rule that leads upwards, so each is found where such a rule stands.
    """
    before = {
        other.version: {Version(v) for v in (*other.through, *((other.enter_from,) if other.enter_from else ()))}
        for other in images.images
        if model in other.models
    }
    ways: list[tuple[Version, ...]] = [(release,)]
    seen = {release}
    while ways:
        way = ways.pop()
        if way[-1] == image.version:
            return f": a circle, {' before '.join(str(v) for v in reversed((image.version, *way)))}"
        further = before.get(way[-1], set()) - seen
        seen |= further
        ways += [(*way, v) for v in sorted(further)]
    return ""
