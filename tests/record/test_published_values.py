"""Values published by others, through our own code: canonical bytes and digests."""

import hashlib
import json
import struct
from typing import Any

import pytest
import rfc8785

from benchday.domain.entries import GENESIS, Draft, Entry, Times, digest_of
from benchday.record.personal import salted_digest

VECTORS: dict[str, tuple[Any, str]] = {
    "arrays": (
        [56, {"d": True, "10": None, "1": []}],
        "099601b171cafed97c333f8878d68e7f8c8f795412adb34b2fdcf0e7c7beac42",
    ),
    "french": (
        {
            "peach": "This sorting order",
            "péché": "is wrong according to French",
            "pêche": "but canonicalization MUST",
            "sin": "ignore locale",
        },
        "d99d0ebdcb0033cb858cfa830ae46bc0fb3309413b271f1da828c89901a27ed5",
    ),
    "structures": (
        {
            "1": {"f": {"f": "hi", "F": 5}, "\n": 56},
            "10": {},
            "": "empty",
            "a": {},
            "111": [{"e": "yes", "E": "no"}],
            "A": {},
        },
        "605f65004ec2db7692522a0852c22f1c989e036d547e88963d1a3143cf3195d5",
    ),
    "unicode": (
        {"Unnormalized Unicode": "A\u030a"},
        "0d99aad92a125196ff887876643fd3206786a84ddce2cee52ba4ad256d2381d3",
    ),
    "weird": (
        {
            "\u20ac": "Euro Sign",
            "\r": "Carriage Return",
            "\n": "Newline",
            "1": "One",
            "\u0080": "Control\u007f",
            "\U0001f602": "Smiley",
            "\u00f6": "Latin Small Letter O With Diaeresis",
            "\ufb33": "Hebrew Letter Dalet With Dagesh",
            "</script>": "Browser Challenge",
        },
        "6af595a9aa80110b964b4de3f82a05fa6ae7423005019bacfa2620dddc4e94d1",
    ),
}
"""RFC 8785's test data (its author's public repository, folder testdata) and the SHA-256 of each canonical form."""

VALUES: dict[str, Any] = {
    "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 1e-27],
    "string": '\u20ac$\u000f\nA\'B"\\\\"/',
    "literals": [None, True, False],
}
VALUES_SHA256 = "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb"


def entry_with(facts: dict[str, Any]) -> Entry:
    """Make an entry with these facts."""
    return Entry.forge(Draft("input_read", facts), bench="b1", seq=1, times=Times(1, 2, 3), prev=GENESIS)


@pytest.mark.parametrize("name", VECTORS)
def test_entries_hold_the_canonical_form_of_rfc_8785(name: str) -> None:
    """RFC 8785 test data: an entry's bytes hold the published form, and it is read back as it was."""
    value, sha256 = VECTORS[name]
    entry = entry_with({"vector": value})
    canonical = entry.body.partition(b'"facts":{"vector":')[2].partition(b'},"kind":')[0]
    assert hashlib.sha256(canonical).hexdigest() == sha256
    assert entry.facts["vector"] == value


def test_the_vector_with_fractions_is_refused_and_canonical_all_the_same() -> None:
    """RFC 8785 test data "values": entries take no fractions; the library below us gives the published form."""
    assert hashlib.sha256(rfc8785.dumps(VALUES)).hexdigest() == VALUES_SHA256
    with pytest.raises(ValueError, match=r"facts\.numbers\[0\] is a floating-point number"):
        entry_with(VALUES)


@pytest.mark.parametrize(
    ("ieee", "wanted"),
    [
        ("4340000000000001", "9007199254740994"),
        ("444b1ae4d6e2ef50", "1e+21"),
        ("3eb0c6f7a0b5ed8d", "0.000001"),
        ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
        ("8000000000000000", "0"),
    ],
)
def test_number_samples_of_rfc_8785(ieee: str, wanted: str) -> None:
    """RFC 8785, appendix B: numbers by their bits."""
    (number,) = struct.unpack(">d", bytes.fromhex(ieee))
    assert rfc8785.dumps(number).decode() == wanted


@pytest.mark.parametrize(
    "value", [2**53, -(2**53), float("nan"), float("inf"), "\ud800", b"bytes", {1: "number as name"}]
)
def test_entries_refuse_what_canonical_json_cannot_say(value: object) -> None:
    """RFC 8785, sections 3.1 and 3.2.2 (I-JSON, RFC 7493): nothing that another reader could take otherwise."""
    with pytest.raises(ValueError, match=r".+"):
        entry_with({"value": value})


@pytest.mark.parametrize(
    ("message", "sha256"),
    [
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
        (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
    ],
)
def test_digests_are_sha_256(message: bytes, sha256: str) -> None:
    """RFC 6234, section 8.5, tests 1 to 3 (the examples of FIPS 180-2, appendix B): wherever link and body part."""
    for cut in (0, 1, 32, len(message)):
        assert digest_of(message[:cut], message[cut:]).hex() == sha256
    assert salted_digest(message[:2], message[2:].decode()) == sha256


def test_entry_by_hand() -> None:
    """An entry's digest recomputed with nothing of ours: a sorted dump of plain ASCII is the same by RFC 8785."""
    entry = entry_with({"name": "day.yaml", "lines": [1, 2]})
    told = json.loads(entry.body)
    plain = json.dumps(told, sort_keys=True, separators=(",", ":")).encode()
    assert plain == entry.body
    assert hashlib.sha256(bytes(32) + plain).digest() == entry.digest
