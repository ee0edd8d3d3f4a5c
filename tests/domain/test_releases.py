"""Releases: the order of versions, and which image suits whom."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from benchday.domain.releases import Image, ImageList, Version

fields = st.lists(st.integers(0, 99), min_size=1, max_size=5)
trials = st.none() | st.text("ab12", min_size=1, max_size=4)


@st.composite
def versions(draw: st.DrawFn) -> Version:
    """Draw a version."""
    text, trial = ".".join(map(str, draw(fields))), draw(trials)
    return Version(text if trial is None else f"{text}-{trial}")


def test_fields_are_numbers() -> None:
    """2.10 comes after 2.9, and is not 2.1."""
    assert Version("2.9") < Version("2.10")
    assert Version("2.10") != Version("2.1")
    assert sorted(map(Version, ("10.0", "2.10", "2.9", "2.1.1", "2.1"))) == [
        Version(text) for text in ("2.1", "2.1.1", "2.9", "2.10", "10.0")
    ]


def test_missing_fields_are_zero() -> None:
    """2.1 and 2.1.0 are one release, also in a set; leading zeros say nothing."""
    assert Version("2.1") == Version("2.1.0") == Version("02.01")
    assert len({Version("2.1"), Version("2.1.0.0")}) == 1
    assert str(Version("2.1.0")) == "2.1.0"


def test_a_trial_comes_before_its_release() -> None:
    """2.10-trial1 is older than 2.10 and newer than 2.9."""
    assert Version("2.9") < Version("2.10-trial1") < Version("2.10-trial2") < Version("2.10")


@pytest.mark.parametrize(
    "text", ["", "v2.1", "2..1", "2.1.", "2,1", "2.1-", "2.1-Beta", "1.2.3.4.5.6.7", "\u0662.\u0661", "2.1\n"]
)
def test_no_version(text: str) -> None:
    """What is not numbers joined by dots is refused, with an example."""
    with pytest.raises(ValueError, match=r"numbers joined by dots, like 2\.10"):
        Version(text)


@given(versions(), versions(), versions())
def test_total_order(a: Version, b: Version, c: Version) -> None:
    """Of two versions exactly one of older, same, newer holds; the order carries on; equal ones hash alike."""
    assert [a < b, a == b, a > b].count(True) == 1
    if a <= b <= c:
        assert a <= c
    if a == b:
        assert hash(a) == hash(b)


@given(fields, st.integers(0, 3))
def test_zeros_at_the_end_say_nothing(numbers: list[int], zeros: int) -> None:
    """However many zero fields follow, it is the same release."""
    longer = [*numbers, *[0] * zeros][:6]
    assert Version(".".join(map(str, numbers))) == Version(".".join(map(str, longer)))


def an_image(**changed: Any) -> dict[str, Any]:
    """Make an image's line as a person writes it."""
    line = {
        "file": "millrace-2.10.fen",
        "release": "2.10",
        "issued": "2026-01-15",
        "sha256": "1f" * 32,
        "bytes": 4096,
        "models": ["Millrace"],
        "source": "the maker's page",
        "approved_by": "Ines Okafor",
    }
    return line | changed


def read(**changed: Any) -> Image:
    """Read an image's line."""
    return Image.model_validate_json(json.dumps(an_image(**changed)))


def test_whom_an_image_suits() -> None:
    """By model, and by hardware revision where the image names some."""
    assert read().suits("Millrace", "C")
    assert not read().suits("Weirstone", "C")
    narrow = read(hardware=["B", "C"])
    assert narrow.suits("Millrace", "B")
    assert not narrow.suits("Millrace", "D")
    assert narrow.suits("Millrace", None)


@pytest.mark.parametrize(
    "changed",
    [{"release": 2.1}, {"sha256": "1F" * 32}, {"bytes": 0}, {"models": []}, {"file": "../up"}, {"colour": "red"}],
)
def test_no_image(changed: dict[str, Any]) -> None:
    """Numbers for versions, wrong digests, empty files, paths out of the store and unknown keys are refused."""
    with pytest.raises(ValidationError):
        read(**changed)


@pytest.mark.parametrize(
    ("other", "clash"),
    [
        ({}, True),
        ({"release": "2.10.0"}, True),
        ({"release": "2.11"}, False),
        ({"models": ["Weirstone"]}, False),
        ({"hardware": ["D"]}, True),
    ],
)
def test_one_image_for_each_release_of_a_model(other: dict[str, Any], clash: bool) -> None:
    """No unit may have to choose between two images of one release."""
    lines = json.dumps({"images": [an_image(), an_image(file="other.fen", **other)]})
    if clash:
        with pytest.raises(ValidationError, match="each release of a model once"):
            ImageList.model_validate_json(lines)
    else:
        assert len(ImageList.model_validate_json(lines).images) == 2
