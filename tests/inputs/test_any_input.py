"""Whatever stands in the files, reading them ends in a plan or in mistakes, never in anything else."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchday.domain.errors import MistakesFound
from benchday.inputs.day import load_day
from benchday.inputs.playbook_files import shipped_folder
from benchday.inputs.yaml_text import read_yaml

FILES = ("day.yaml", "bench.yaml", "roster.csv", "images/images.yaml", "own/millrace.yaml", "own/cautions.yaml")
FRAGMENTS = (
    b"\x00", b"\xff", b"\xef\xbb\xbf", b"\t", b": ", b"- ", b"&a ", b"*a", b"!!x ", b"[", b"{", b'"', b"'", b"|", b"%",
    b"---\n", b"<<: ", b"? ", b"1e999", b"0x10", b"9" * 5000, b".nan", b"2026-01-01", b"08:00", b'"\\ud800"', b"\r",
    b'"\\UFFFFFFFF"', "é".encode(), "\u2028".encode(), "\U0001f9ea".encode(), b"null", b"true", b",", b"#",
)  # fmt: skip
HARD = settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture
def reading(day: Path) -> Callable[[str, bytes], None]:
    """Give a function that reads the day with one file's bytes replaced, and puts them back."""
    _of_one_model(day)
    text = (day / "day.yaml").read_text(encoding="utf-8")
    (day / "day.yaml").write_text(text.replace("playbooks: shipped ", "playbooks: own "), encoding="utf-8")

    assert load_day(day).playbooks

    def read(name: str, data: bytes) -> None:
        was = (day / name).read_bytes()
        (day / name).write_bytes(data)
        try:
            load_day(day)
        except MistakesFound as found:
            for mistake in found.mistakes:
                told = str(mistake)
                assert "\n" not in told
                assert "Input should" not in told
                assert "something else" not in told
        finally:
            (day / name).write_bytes(was)

    return read


def _of_one_model(day: Path) -> None:
    """Leave one model of the day: it is read many times faster than one of all."""
    (day / "own").mkdir()
    for name in ("millrace.yaml", "cautions.yaml"):
        (day / "own" / name).write_bytes((shipped_folder() / name).read_bytes())
    _keep(day / "bench.yaml", lambda line: not re.search("usb|six-pin|Tiller", line))
    _keep(day / "roster.csv", lambda line: line.split(",")[1] in ("model", "Millrace"))
    head, *images = re.split("(?m)^(?=  - file: )", (day / "images" / "images.yaml").read_text(encoding="utf-8"))
    kept = [image for image in images if "models: [Millrace]" in image]
    (day / "images" / "images.yaml").write_text(head + "".join(kept), encoding="utf-8")


def _keep(path: Path, kept: Callable[[str], bool]) -> None:
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text("".join(filter(kept, lines)), encoding="utf-8")


@HARD
@given(name=st.sampled_from(FILES), data=st.binary(max_size=300))
def test_random_bytes(reading: Callable[[str, bytes], None], name: str, data: bytes) -> None:
    reading(name, data)


@HARD
@given(st.data())
def test_mutations_of_a_right_day(day: Path, reading: Callable[[str, bytes], None], data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(FILES))
    text = bytearray((day / name).read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text)))
        cut = data.draw(st.sampled_from((0, 0, 1, 2, 7, 40)))
        text[at : at + cut] = data.draw(st.sampled_from(FRAGMENTS) | st.binary(max_size=4))
    reading(name, bytes(text))


@settings(max_examples=300, deadline=None)
@given(st.lists(st.sampled_from(FRAGMENTS), max_size=12))
def test_fragments_of_yaml(fragments: list[bytes]) -> None:
    read_yaml(b"".join(fragments), "f.yaml")
    read_yaml(b"a: " + b"".join(fragments), "f.yaml")
