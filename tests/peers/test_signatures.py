"""Digests and signatures against published values, and against a stranger's program."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from benchday.inputs.image_signing import SIGNED_FOR, signed, verifies
from tests.inputs.signing import private, public

ED25519 = [
    # RFC 8032 7.1 TEST 1 and 2, as printed there: secret key, public key, message, signature
    pytest.param(
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24"
        "655141438e7a100b",
        id="RFC 8032 7.1 TEST 1",
    ),
    pytest.param(
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aee"
        "b00d291612bb0c00",
        id="RFC 8032 7.1 TEST 2",
    ),
    # From memory; that the three values fit one another is what the test shows.
    pytest.param(
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28d"
        "c027beceea1ec40a",
        id="RFC 8032 7.1 TEST 3 (from memory)",
    ),
]


@pytest.mark.parametrize(("secret", "key", "message", "signature"), ED25519)
def test_published_signatures(secret: str, key: str, message: str, signature: str) -> None:
    """The library that signs our lists makes and takes the RFC's own keys and signatures."""
    pair = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert pair.public_key().public_bytes_raw().hex() == key
    assert pair.sign(bytes.fromhex(message)).hex() == signature
    pair.public_key().verify(bytes.fromhex(signature), bytes.fromhex(message))


@pytest.mark.parametrize(("secret", "key", "message", "signature"), ED25519)
def test_a_published_signature_is_none_on_a_list(secret: str, key: str, message: str, signature: str) -> None:
    """What was signed for something else is not signed for us, even if the list were that very message."""
    assert not verifies(key, signature, bytes.fromhex(message))


@pytest.mark.parametrize(
    ("message", "digest"),
    [
        # FIPS 180-4's examples for SHA-256 (published with it) and RFC 6234 8.5, TEST1, TEST2_1, TEST3; from memory
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
        (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
    ],
)
def test_published_digests(message: bytes, digest: str) -> None:
    assert hashlib.sha256(message).hexdigest() == digest


def openssl(*arguments: str | Path, data: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    """Run openssl."""
    program = shutil.which("openssl")
    if program is None:
        pytest.fail("openssl is missing: install openssl (Debian: apt-get install openssl)")
    return subprocess.run([program, *map(str, arguments)], input=data, capture_output=True, check=False)


@pytest.fixture
def ours(tmp_path: Path) -> Path:
    """Sign a list and lay it out for openssl, as the page about the image store says."""
    data = b"sequence: 3\nimages: []\n"
    mine = signed(data, private(1), "Ines Halloran")
    spki = private(1).public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
    (tmp_path / "public.pem").write_bytes(spki)
    (tmp_path / "signed.bin").write_bytes(SIGNED_FOR + data)
    (tmp_path / "signature.bin").write_bytes(bytes.fromhex(mine.signature))
    return tmp_path


def verified(folder: Path) -> bool:
    """Ask openssl."""
    ended = openssl(
        "pkeyutl", "-verify", "-rawin", "-pubin", "-inkey", folder / "public.pem",
        "-in", folder / "signed.bin", "-sigfile", folder / "signature.bin",
    )  # fmt: skip
    assert b"Signature Verified Successfully" in ended.stdout or ended.returncode != 0, ended.stderr
    return ended.returncode == 0


@pytest.mark.peer
def test_openssl_takes_our_signature(ours: Path) -> None:
    assert verified(ours)


@pytest.mark.peer
@pytest.mark.parametrize("name", ["signed.bin", "signature.bin"])
def test_openssl_refuses_one_flipped_bit(ours: Path, name: str) -> None:
    data = bytearray((ours / name).read_bytes())
    data[-1] ^= 1
    (ours / name).write_bytes(data)
    assert not verified(ours)


@pytest.mark.peer
def test_we_take_openssls_key_and_signature(ours: Path) -> None:
    """A key that openssl made signs, through openssl, a list that we take."""
    made = openssl("genpkey", "-algorithm", "ed25519", "-out", ours / "key.pem")
    assert made.returncode == 0, made.stderr
    told = openssl("pkey", "-in", ours / "key.pem", "-pubout", "-outform", "DER")
    signing = openssl("pkeyutl", "-sign", "-rawin", "-inkey", ours / "key.pem", "-in", ours / "signed.bin")
    data = (ours / "signed.bin").read_bytes().removeprefix(SIGNED_FOR)
    # The last 32 bytes of the DER are the key itself (RFC 8410 4).
    assert verifies(told.stdout[-32:].hex(), signing.stdout.hex(), data)
    assert not verifies(public(1), signing.stdout.hex(), data)
