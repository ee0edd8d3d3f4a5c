"""Keys and signed lists for tests: keys are made of a number, so that nothing is drawn."""

from __future__ import annotations

from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

from benchday.inputs.image_signing import SignatureFile, read_signatures, signed, text_of, with_signature

INES, TOBIAS, BRAM = "Ines Halloran", "Tobias Wren", "Bram Castellane"


def private(number: int) -> Ed25519PrivateKey:
    """Return the private key of that number."""
    return Ed25519PrivateKey.from_private_bytes(bytes([number]) * 32)


def public(number: int) -> str:
    """Return its public key in hex."""
    return private(number).public_key().public_bytes_raw().hex()


def pem(number: int) -> bytes:
    """Return the private key as its file holds it."""
    return private(number).private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())


def bench_knows(day: Path, keys: dict[str, int], needed: int = 1) -> None:
    """Put the public keys of these people into bench.yaml."""
    lines = [f'  - {{name: {name}, key: "{public(number)}"}}' for name, number in keys.items()]
    with (day / "bench.yaml").open("a", encoding="utf-8") as file:
        file.write("\n".join(["image_keys:", *lines, f"image_signatures: {needed}", ""]))


def signatures_of(day: Path) -> SignatureFile | None:
    """Return what stands in the file with the signatures, if there is one."""
    path = day / "images" / "images.yaml.signatures"
    return read_signatures(path.read_bytes(), path.name)[0] if path.exists() else None


def sign(day: Path, number: int, name: str) -> None:
    """Sign the list of a day as it stands, without any question."""
    data = (day / "images" / "images.yaml").read_bytes()
    file = with_signature(signatures_of(day), signed(data, private(number), name), data)
    (day / "images" / "images.yaml.signatures").write_text(text_of(file), encoding="utf-8")
