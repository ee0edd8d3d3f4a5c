"""Signatures on the image list: Ed25519 (RFC 8032) over its exact bytes, detached, in a file beside it.

What is signed is a line of our own and then the bytes of images.yaml, so that no signature made for something else is
ever one for an image list. Only keys that bench.yaml names count, each once (TUF 5.4.2).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Self

from pydantic import Field, model_validator

from benchday.domain.bench import BenchFile, ImageKey
from benchday.domain.errors import InputError, Mistake
from benchday.domain.image_lists import SeenList, older
from benchday.domain.plan import ImageSignatures
from benchday.domain.releases import ImageList
from benchday.domain.words import Expected, FileModel, Name, PublicKey
from benchday.inputs.checked import checked
from benchday.inputs.outcome import Notice
from benchday.inputs.source import digest
from benchday.inputs.yaml_text import YamlText, read_yaml
from benchday.inputs.yaml_writing import yaml_lines

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

ENDING = ".signatures"
"""What the file beside the list is called: the list's own name and this."""
SIGNED_FOR = b"benchday images 1\n"
"""Stands before the bytes of the list in what is signed."""
HEAD = "# Signatures on the image list beside this file, by `benchday images sign`. Any change of the list ends them.\n"


class Signature(FileModel):
    """One signature."""

    name: Name
    """Who signed, as they called themselves."""
    key: PublicKey
    """Their public key."""
    signature: Annotated[str, Field(pattern=r"^[0-9a-f]{128}$")]
    """Ed25519 (RFC 8032), 128 lower-case hex digits."""


class SignatureFile(FileModel):
    """images.yaml.signatures"""

    signatures: tuple[Signature, ...]

    @model_validator(mode="after")
    def _each_key_once(self) -> Self:
        keys = [s.key for s in self.signatures]
        for number, key in enumerate(keys):
            if key in keys[:number]:
                raise Expected("each key once", found=f"{key[:12]}... again", at=("signatures", number, "key"))

        return self


@dataclass(frozen=True, slots=True)
class ListAsRead:
    """The image list of a day with what stands beside it."""

    file: str
    """Name relative to the day's folder."""
    data: bytes
    text: YamlText
    images: ImageList
    signatures: bytes | None
    """The file with the signatures; None if there is none."""

    @property
    def beside(self) -> str:
        """The name of the file with the signatures."""
        return self.file + ENDING

    @property
    def sha256(self) -> str:
        """The digest of the list's bytes."""
        return digest(self.data)


@dataclass(slots=True)
class Judged:
    """Who signed the list, and what stands against using it."""

    signatures: ImageSignatures
    mistakes: list[Mistake]
    notices: list[Notice]


def judge(listed: ListAsRead, bench: BenchFile, on: str, seen: SeenList) -> Judged:
    """Judge signatures, number and expiry of a list.

    Args:
        listed: the list.
        bench: whose keys count.
        on: day on which it is used (ISO 8601); for a day's work its first date, so that nothing changes under way.
        seen: the newest list that the record has seen.
    """
    judged = Judged(ImageSignatures(), [], [])
    _signatures(listed, bench, judged)
    images, text = listed.images, listed.text
    if images.expires is not None and images.expires < on:
        found = f"{images.expires}: the list has expired; have a newer one made and signed"
        judged.mistakes.append(text.mistake(("expires",), f"a last day on or after {on}", found))
    if (refused := older(images.sequence, listed.sha256, seen)) is not None:
        judged.mistakes.append(text.mistake(("sequence",), refused.expected, refused.found))
    return judged


def verifies(key: str, signature: str, data: bytes) -> bool:
    """Tell whether a signature (hex) by a public key (hex) is good on these bytes of a list."""
    from cryptography.exceptions import InvalidSignature  # noqa: PLC0415 - a heavy library that few lists need
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey  # noqa: PLC0415 - as above

    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(key)).verify(bytes.fromhex(signature), SIGNED_FOR + data)
    except (InvalidSignature, ValueError):
        return False
    return True


def signed(data: bytes, private: Ed25519PrivateKey, name: str) -> Signature:
    """Sign the bytes of a list."""
    key = private.public_key().public_bytes_raw().hex()
    return Signature(name=name, key=key, signature=private.sign(SIGNED_FOR + data).hex())


def with_signature(others: SignatureFile | None, new: Signature, data: bytes) -> SignatureFile:
    """Put a signature with those that still hold on these bytes, in place of an earlier one by the same key."""
    kept = [s for s in (others.signatures if others else ()) if s.key != new.key and verifies(s.key, s.signature, data)]
    return SignatureFile(signatures=(*kept, new))


def text_of(file: SignatureFile) -> str:
    """Return the file as it is written."""
    return HEAD + "\n".join(yaml_lines(file.model_dump(mode="json"))) + "\n"


def read_signatures(data: bytes, name: str) -> tuple[SignatureFile | None, YamlText]:
    """Read the file with the signatures; what is wrong with it is in its text's mistakes."""
    text = read_yaml(data, name)
    return checked(text, SignatureFile), text


def new_key() -> tuple[bytes, str]:
    """Draw a key pair: the private key (PKCS 8, PEM, RFC 5958 and 8410) and the public one in hex."""
    from cryptography.hazmat.primitives import serialization as form  # noqa: PLC0415 - a heavy library
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey  # noqa: PLC0415 - as above

    private = Ed25519PrivateKey.generate()
    pem = private.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, form.NoEncryption())
    return pem, private.public_key().public_bytes_raw().hex()


def private_key(pem: bytes, name: str) -> Ed25519PrivateKey:
    """Read a private key.

    Raises:
        InputError: it is none of Ed25519 without a passphrase, in PEM.
    """
    from cryptography.exceptions import UnsupportedAlgorithm  # noqa: PLC0415 - a heavy library
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey  # noqa: PLC0415 - as above
    from cryptography.hazmat.primitives.serialization import load_pem_private_key  # noqa: PLC0415 - as above

    try:
        key = load_pem_private_key(pem, None)
    except TypeError as error:
        raise InputError(f"{name} has a passphrase; take a key that `benchday images key` has made") from error
    except (ValueError, UnsupportedAlgorithm) as error:
        raise InputError(f"{name} holds no private key in PEM; `benchday images key` makes one") from error
    if not isinstance(key, Ed25519PrivateKey):
        raise InputError(f"{name} holds a key of another kind; Ed25519 is wanted, as `benchday images key` makes it")
    return key


def _signatures(listed: ListAsRead, bench: BenchFile, judged: Judged) -> None:
    if not bench.image_keys:
        judged.notices.append(Notice(listed.file, 0, "the image list is not signed (no image_keys in bench.yaml)"))
        return

    judged.signatures = ImageSignatures((), bench.image_signatures)
    if listed.images.sequence is None:
        expected = "a sequence, the number of the list, because bench.yaml wants it signed"
        judged.mistakes.append(listed.text.mistake((), expected, "no such key here"))
    wanted = _wanted(bench)
    if listed.signatures is None:
        found = "no such file: the list is not signed; `benchday images sign` signs it"
        judged.mistakes.append(Mistake(listed.beside, 0, 0, wanted, found))
        return

    file, text = read_signatures(listed.signatures, listed.beside)
    judged.mistakes += text.mistakes
    if file is not None:
        _count(listed, bench, file, text, judged)


def _count(listed: ListAsRead, bench: BenchFile, file: SignatureFile, text: YamlText, judged: Judged) -> None:
    known = {key.key: key for key in bench.image_keys}
    judged.notices += _not_counted(file, text, known)
    mine = [(number, known[s.key], s) for number, s in enumerate(file.signatures) if s.key in known]
    good = [key.name for _, key, s in mine if verifies(s.key, s.signature, listed.data)]
    for number, key, _ in mine:
        if key.name not in good:
            expected = f"a signature on {listed.file} as it stands there"
            found = f"one by {key.name} that does not fit: the list was changed, or is not theirs; have it signed anew"
            judged.mistakes.append(text.mistake(("signatures", number, "signature"), expected, found))

    if len(mine) < bench.image_signatures:
        found = f"signatures of {', '.join(good)}" if good else "none of them"
        judged.mistakes.append(text.mistake(("signatures",), _wanted(bench), found))
    judged.signatures = ImageSignatures(tuple(good), bench.image_signatures)


def _not_counted(file: SignatureFile, text: YamlText, known: dict[str, ImageKey]) -> Iterator[Notice]:
    for number, s in enumerate(file.signatures):
        if s.key not in known:
            line = text.spot(("signatures", number, "key")).line
            said = f"the signature of {s.name} is not counted: bench.yaml has no image key {s.key[:12]}..."
            yield Notice(text.file, line, said)


def _wanted(bench: BenchFile) -> str:
    names = ", ".join(key.name for key in bench.image_keys)
    return f"signatures with {bench.image_signatures} of the image_keys in bench.yaml ({names})"
