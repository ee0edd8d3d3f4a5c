"""images: what the image store holds, whether it is as listed, adding to it, signing its list."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Any

from benchday.cli.exits import Exit
from benchday.cli.newest_list import newest_in_record
from benchday.cli.output import print_document, wrapped
from benchday.domain.clean import clean
from benchday.domain.errors import Mistake
from benchday.domain.image_lists import NOTHING_SEEN, SeenList
from benchday.domain.plan import ImageSignatures
from benchday.domain.releases import Image
from benchday.inputs.image_adding import Added, NewImage, add_image
from benchday.inputs.image_signing import Judged, ListAsRead, judge
from benchday.inputs.list_signing import SignedList, make_key, sign_list
from benchday.inputs.outcome import Notice
from benchday.inputs.store_reading import Store, read_store
from benchday.inputs.yaml_writing import yaml_lines
from benchday.planning.wording import counted, in_bytes

SHORT = 12
"""Hexadecimal digits of a digest that are shown in a table."""


def add(folder: Path, new: NewImage) -> int:
    """Put an image into the store, or say that it is there."""
    for line in _added(folder, add_image(folder, new), new):
        print(clean(line))
    return Exit.DONE


def _added(folder: Path, added: Added, new: NewImage) -> Iterator[str]:
    if not added.copied and not added.listed:
        yield f"{added.path} with these bytes is there and listed already; nothing was changed."
        return
    copied = "was put into the store" if added.copied else "was in the store already"
    yield f"{added.path} {copied}: {in_bytes(added.bytes)}, SHA-256 {added.sha256}."
    if added.listed:
        number = f"; the list has the number {added.sequence} now" if added.sequence is not None else ""
        yield f"It is listed as release {new.release} for {', '.join(new.models)}{number}."
    else:
        yield "Its entry stood in the list already."
    if added.unsigned:
        again = f"benchday images sign {folder} --key FILE --name NAME"
        yield f"The list is not signed any more: sign it anew with `{again}`."


def show(folder: Path, *, as_json: bool) -> int:
    """Show what the list holds."""
    store = read_store(folder)
    listed = store.listed()
    judged = _judged(store, listed, _today(), NOTHING_SEEN)
    images = sorted(listed.images.images, key=lambda i: (i.models, i.version))
    if as_json:
        told = {"folder": str(folder), "image_list": _list_part(listed, judged.signatures)}
        print_document("images-list", told | {"images": [i.model_dump(mode="json") for i in images]})
        return Exit.DONE
    for line in _head(store, listed, judged):
        print(line)
    for line in _table(images):
        print(line)
    return Exit.DONE


def _head(store: Store, listed: ListAsRead, judged: Judged) -> Iterator[str]:
    number = f"list {listed.images.sequence}" if listed.images.sequence is not None else "a list without a number"
    expires = f"expires on {listed.images.expires}" if listed.images.expires else "does not expire"
    signatures = judged.signatures
    if signatures.signed_by:
        signed = (
            f"signed by {', '.join(signatures.signed_by)} ({len(signatures.signed_by)} of {signatures.needed} needed)"
        )
    elif signatures.needed:
        signed = f"NOT SIGNED, {counted(signatures.needed, 'signature')} needed"
    else:
        signed = "not signed (no image_keys in bench.yaml)"
    yield wrapped(clean(f"{store.file}: {number}, {expires}, {signed}"))
    if judged.mistakes:
        yield "This list cannot be used as it stands; `benchday images check` says why."
    yield ""


def _table(images: list[Image]) -> Iterator[str]:
    heads = ("release", "issued", "models", "hardware", "size", "SHA-256")
    rows = [heads, *(_row(image) for image in images)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(heads))]
    for number, row in enumerate(rows):
        yield "  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip()
        if number:
            yield wrapped(_rest(images[number - 1]), "    ")


def _row(image: Image) -> tuple[str, ...]:
    hardware = ", ".join(image.hardware) or "all"
    cells = (
        image.release,
        image.issued,
        ", ".join(image.models),
        hardware,
        in_bytes(image.bytes),
        image.sha256[:SHORT],
    )
    return tuple(clean(cell) for cell in cells)


def _rest(image: Image) -> str:
    """Return what does not fit into a column: trial, the way in and back in words, where it came from."""
    rules = ["TRIAL, only where a unit is pinned to it"] if image.trial else []
    if image.enter_from:
        rules.append(f"entered from {image.enter_from} or newer")
    if image.through:
        rules.append(f"older units pass through {', '.join(image.through)}")
    rules.append(f"back to {image.back_to} at the oldest" if image.back_to else "no way back")
    return clean(f"{image.file}: {'; '.join(rules)}; from {image.source}; approved by {image.approved_by}")


def check(folder: Path, *, as_json: bool) -> int:
    """Read every file of the store and say what is not as listed."""
    store, today = read_store(folder), _today()
    seen, notices = newest_in_record(folder)
    mistakes = [*store.bench_mistakes, *store.mistakes()]
    listed = store.listed() if store.images is not None else None
    if listed is not None:
        judged = _judged(store, listed, today, seen)
        mistakes += judged.mistakes
        notices = (*notices, *judged.notices, *_not_listed(store, listed))
    mistakes = sorted(set(mistakes), key=lambda m: (m.file, m.line, m.column, m.expected))
    if as_json:
        part = _list_part(listed, judged.signatures) if listed is not None else None
        found = {"mistakes": [asdict(m) for m in mistakes], "notices": [asdict(n) for n in notices]}
        told = {"folder": str(folder), "on": today, "image_list": part, "newest_seen": seen.sequence}
        print_document("images-check", told | found)
    else:
        for line in _checked(listed, mistakes, notices):
            print(clean(line))
    return Exit.HELD if mistakes else Exit.DONE


def _checked(listed: ListAsRead | None, mistakes: list[Mistake], notices: tuple[Notice, ...]) -> Iterator[str]:
    yield from (f"note: {notice}" for notice in notices)
    yield from (str(mistake) for mistake in mistakes)
    if mistakes:
        yield f"{counted(len(mistakes), 'mistake')}; put this right before anything is written to a unit."
    elif listed is not None:
        count = counted(len(listed.images.images), "image")
        yield f"{listed.file}: {count}, each with the size and digest of the list."


def _not_listed(store: Store, listed: ListAsRead) -> Iterator[Notice]:
    known = {image.file for image in listed.images.images} | {store.path.name, store.signatures.name}
    for path in sorted(store.folder.iterdir()):
        if path.is_file() and path.name not in known:
            yield Notice(f"{store.day.image_store}/{path.name}", 0, "is in the store and not in its list")


def key(file: Path, name: str) -> int:
    """Make a key pair and say what belongs where."""
    made = make_key(file, name)
    print(
        f"The private key is in {clean(str(file))}. Keep it, and a copy, where only {clean(name)} gets at it, and not"
    )
    print("at the bench: whoever has it can sign image lists. A bench needs the public key alone, in its bench.yaml:\n")
    print("\n".join(yaml_lines({"image_keys": [made.model_dump(mode="json")]})))
    if os.name != "posix":
        print(f"\nThis system does not keep others from reading {clean(str(file))} by itself: see to that.")
    return Exit.DONE


def sign(folder: Path, key_file: Path, name: str) -> int:
    """Sign the list as it stands."""
    for line in _signed(sign_list(folder, key_file, name), folder, key_file):
        print(clean(line))
    return Exit.DONE


def _signed(done: SignedList, folder: Path, key_file: Path) -> Iterator[str]:
    yield f"Signed list {done.sequence} with {counted(done.images, 'image')}, SHA-256 {done.sha256}, into {done.path}."
    yield f"Signed now by {', '.join(done.names)}."
    if done.dropped:
        yield f"Taken out, because the list was changed since: the signature of {', '.join(done.dropped)}."
    if done.known_as is None:
        yield f"bench.yaml has no image key {done.key}: until it has, this signature counts for nothing there."
    if key_file.resolve().is_relative_to(folder.resolve()):
        yield f"{key_file} lies in the day's folder: move it away, a private key is never kept at a bench."


def _judged(store: Store, listed: ListAsRead, today: str, seen: SeenList) -> Judged:
    if store.bench is None:
        return Judged(ImageSignatures(), [], [])
    return judge(listed, store.bench, today, seen)


def _list_part(listed: ListAsRead, signatures: ImageSignatures) -> dict[str, Any]:
    return {
        "file": listed.file,
        "sha256": listed.sha256,
        "sequence": listed.images.sequence,
        "expires": listed.images.expires,
        "signed_by": list(signatures.signed_by),
        "signatures_needed": signatures.needed,
    }


def _today() -> str:
    return datetime.now().astimezone().date().isoformat()
