"""What is read off SMP's answers and images: values, worded refusals, and never a crash."""

from __future__ import annotations

from contextlib import suppress

import cbor2
import hypothesis.strategies as st
import pytest
from hypothesis import given, settings
from smp.image_management import ImageStatesReadResponse

from benchday.devices.drivers.smp_slot_image import read_slot_image
from benchday.devices.drivers.smp_words import reply_of, setting_bytes, setting_text
from benchday.domain.errors import Garbled, Refused
from tests.devices.slot_images import slot_image
from tests.devices.smp_peer import IMAGE


def test_the_image_of_the_tests_is_read() -> None:
    assert read_slot_image(IMAGE) is not None
    inside = read_slot_image(slot_image("2.10.3", after=b"signature")[0])
    assert inside is not None
    assert (inside.version, inside.hash_ends) == ("2.10.3", len(slot_image("2.10.3", after=b"signature")[0]) - 13)


@given(st.binary(max_size=200), st.integers(0, 60))
def test_no_image_stops_the_reader(tail: bytes, cut: int) -> None:
    assert read_slot_image(tail) is None
    damaged = slot_image(size=10)[0][:-cut] + tail if cut else IMAGE
    inside = read_slot_image(damaged)
    assert inside is None or len(inside.hash) == 32


@given(st.binary(max_size=100))
def test_a_settings_value_comes_back(value: bytes) -> None:
    assert setting_bytes(setting_text(value)) == value


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"err": {"group": 1, "rc": 23}}, "no image for its boot loader"),
        ({"err": {"group": 1, "rc": 30}}, "larger than its slot"),
        ({"err": {"group": 1, "rc": 28}}, "image already pending"),
        ({"err": {"group": 8, "rc": 3}}, "file not found"),
        ({"err": {"group": 64, "rc": 3}}, "group 64 error 3 .no reason known"),
        ({"err": {"group": 1, "rc": 999}}, "images error 999 .no reason known"),
        ({"err": {"group": [], "rc": {}}}, "cannot be read"),
        ({"rc": 6}, "present state"),
        ({"rc": 1, "rsn": "no\x1b[2J\nway"}, "unknown: no..2J.way"),
        ({"rc": 2**40}, "no reason known"),
        ({"rc": 2**70}, "cannot be read"),
        ({"rc": 1 << 20_000}, "cannot be read"),
        ({"err": {"group": 1 << 20_000, "rc": 1}}, "cannot be read"),
    ],
    ids=lambda told: str(told)[:40] if isinstance(told, str) else None,
)
def test_refusals_are_worded(told: dict[str, object], words: str) -> None:
    with pytest.raises(Refused, match=words):
        reply_of(bytes(8) + cbor2.dumps(told), ImageStatesReadResponse, "its images")


@settings(max_examples=50)
@given(st.one_of(st.binary(max_size=300), st.recursive(
    st.none() | st.booleans() | st.integers() | st.binary(max_size=9) | st.text(max_size=9) | st.floats(),
    lambda deep: st.lists(deep, max_size=4)
    | st.dictionaries(st.sampled_from(("images", "err", "rc", "slot", "hash", "version", "group", "header")), deep),
    max_leaves=5,
).map(cbor2.dumps)))  # fmt: skip
def test_no_answer_stops_the_reader(data: bytes) -> None:
    """It becomes a value, or one of our own errors."""
    with suppress(Garbled, Refused):
        reply_of(bytes(8) + data, ImageStatesReadResponse, "its images")
