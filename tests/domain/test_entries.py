"""Entries: canonical bytes, digests, and what they refuse to hold."""

import json

import pytest

from benchday.domain.entries import GENESIS, Draft, Entry, Times, digest_of

TIMES = Times(at_us=1, wall_us=2, mono_us=3)


def forged(**facts: object) -> Entry:
    """Make the first entry of a chain."""
    return Entry.forge(Draft("input_read", facts), bench="b1", seq=1, times=TIMES, prev=GENESIS)


def test_body_is_the_canonical_whole() -> None:
    """The body holds every field, sorted and without blanks, so that it can be checked on its own (RFC 8785)."""
    draft = Draft("unit_ready", {"words": "fine"}, unit="QM-1", station="2", operator="Ada")
    entry = Entry.forge(draft, bench="b1", seq=7, times=TIMES, prev=bytes(32))
    assert entry.body == (
        b'{"at_us":1,"bench":"b1","facts":{"words":"fine"},"kind":"unit_ready","mono_us":3,"operator":"Ada",'
        b'"seq":7,"station":"2","unit":"QM-1","v":1,"wall_us":2}'
    )


def test_names_are_sorted_by_utf_16() -> None:
    """RFC 8785, section 3.2.3: the published example of sorting, through our own code."""
    facts = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis",
    }
    assert list(json.loads(forged(**facts).body)["facts"].values()) == [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]


def test_digest_is_sha_256_of_both_parts() -> None:
    """FIPS 180-4: the published digest of "abc", and of 56 bytes in two blocks, split where prev ends."""
    assert digest_of(b"a", b"bc").hex() == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    long = b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"
    expected = "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"
    assert digest_of(long[:32], long[32:]).hex() == expected


def test_each_entry_binds_the_one_before() -> None:
    """Changing anything of the first changes the digest of the second."""
    first, other = forged(n=1), forged(n=2)
    second = Entry.forge(Draft("x", {}), bench="b1", seq=2, times=TIMES, prev=first.digest)
    changed = Entry.forge(Draft("x", {}), bench="b1", seq=2, times=TIMES, prev=other.digest)
    assert second.body == changed.body
    assert second.digest != changed.digest


def test_reads_back_what_was_stored() -> None:
    """An entry comes back whole from its bytes alone."""
    entry = forged(words="Ångström", n=2**53 - 1, none=None, flag=True, deep=[{"a": ["b"]}])
    again = Entry.from_stored("b1", 1, entry.body, entry.prev, entry.digest)
    assert again == entry
    assert again.facts == entry.facts


@pytest.mark.parametrize(("bench", "seq"), [("b2", 1), ("b1", 2)])
def test_a_body_in_another_place_is_refused(bench: str, seq: int) -> None:
    """An entry that was moved to another bench or number is not read as if it belonged there."""
    entry = forged(n=1)
    with pytest.raises(ValueError, match="holds the body of b1/1"):
        Entry.from_stored(bench, seq, entry.body, entry.prev, entry.digest)


@pytest.mark.parametrize(
    ("facts", "where"),
    [
        ({"charge": 0.5}, "facts.charge"),
        ({"charge": 1.0}, "facts.charge"),
        ({"charge": float("nan")}, "facts.charge"),
        ({"a": {"b": [1, {"c": 2.5}]}}, r"facts\.a\.b\[1\]\.c"),
        ({"a": (1, 2.5)}, r"facts\.a\[1\]"),
    ],
)
def test_no_floating_point_numbers(facts: dict[str, object], where: str) -> None:
    """Wherever one hides, it is refused with its place."""
    with pytest.raises(ValueError, match=f"{where} is a floating-point number"):
        forged(**facts)


@pytest.mark.parametrize("value", [2**53, -(2**53), {1: "a"}, {"a": object()}, "\ud800"])
def test_what_canonical_json_cannot_say_is_refused(value: object) -> None:
    """RFC 8785 stays within I-JSON (RFC 7493): exact integers, text that is Unicode, names that are text."""
    with pytest.raises(ValueError):  # noqa: PT011 - the library words it, one way for each
        forged(value=value)
