"""Signing the image list of a day's folder, and making the keys for it."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from benchday.domain.bench import ImageKey
from benchday.domain.errors import InputError, MistakesFound
from benchday.inputs.image_signing import new_key, private_key, read_signatures, signed, text_of, with_signature
from benchday.inputs.store_reading import bytes_of, put, read_store


@dataclass(frozen=True, slots=True)
class SignedList:
    """A list that was signed."""

    path: Path
    """The file with the signatures."""
    sequence: int
    images: int
    sha256: str
    key: str
    """The public key, 64 hex digits."""
    names: tuple[str, ...]
    """Who has signed it now."""
    dropped: tuple[str, ...]
    """Whose earlier signatures were taken out, because the list was changed since."""
    known_as: str | None
    """What bench.yaml calls the key; None: it does not have it."""


def sign_list(folder: Path, key_file: Path, name: str) -> SignedList:
    """Sign the image list as it stands.

    Raises:
        MistakesFound: it holds mistakes.
        InputError: it has no number, or the key will not do; nothing was changed.
    """
    _checked_name(name)
    private = private_key(bytes_of(key_file), str(key_file))
    store = read_store(folder)
    if mistakes := store.mistakes():
        raise MistakesFound(tuple(mistakes))
    listed = store.listed()
    if listed.images.sequence is None:
        raise InputError(
            f"{store.file} has no sequence: write `sequence: 1` above its images, so that nobody can put an older list "
            "in place of a newer one; then sign it"
        )
    others, text = read_signatures(listed.signatures, listed.beside) if listed.signatures else (None, None)
    if text is not None and text.mistakes:
        raise MistakesFound(tuple(text.mistakes))
    new = signed(listed.data, private, name)
    file = with_signature(others, new, listed.data)
    put(store.signatures, text_of(file).encode(), replace=True)
    kept = {s.key for s in file.signatures}
    keys = store.bench.image_keys if store.bench is not None else ()
    return SignedList(
        path=store.signatures,
        sequence=listed.images.sequence,
        images=len(listed.images.images),
        sha256=listed.sha256,
        key=new.key,
        names=tuple(s.name for s in file.signatures),
        dropped=tuple(s.name for s in (others.signatures if others else ()) if s.key not in kept),
        known_as=next((k.name for k in keys if k.key == new.key), None),
    )


def make_key(path: Path, name: str) -> ImageKey:
    """Make a key pair: the private key into a file that only its owner may read, the public one returned.

    Raises:
        InputError: the file is there already, or cannot be written.
    """
    _checked_name(name)
    pem, public = new_key()
    try:
        # Never over another key: what that one has signed could never be signed again.
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(pem)
            file.flush()
            os.fsync(file.fileno())
    except FileExistsError:
        raise InputError(f"{path} is there already; a key is never written over, name another file") from None
    except OSError as error:
        raise InputError(f"{path} cannot be written: {error.strerror or error}") from error
    return ImageKey(name=name, key=public)


def _checked_name(name: str) -> None:
    try:
        ImageKey(name=name, key="0" * 64)
    except ValidationError:
        raise InputError(f"--name {name!r}: expected a name of one line, 1 to 80 characters") from None
