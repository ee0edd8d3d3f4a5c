"""JSON Schemas: shipped as the models say, and found by the sample's files."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from benchday.domain.errors import InputError
from benchday.domain.scenario import Scenario
from benchday.inputs.schemas import DIALECT, FILES, schema, shipped

WRITE_ANEW = "write them anew: python -m benchday.inputs.schemas"


@pytest.mark.parametrize("name", FILES)
def test_shipped_schemas_are_those_of_the_models(name: str) -> None:
    assert shipped(name) == json.loads(json.dumps(schema(name))), WRITE_ANEW


@pytest.mark.parametrize("name", FILES)
def test_a_schema_says_its_dialect_and_refuses_unknown_keys(name: str) -> None:
    told = schema(name)

    assert told["$schema"] == DIALECT
    assert told["additionalProperties"] is False
    assert all(part.get("additionalProperties") is False for part in told["$defs"].values() if "properties" in part)


def test_an_unknown_schema_names_the_nearest() -> None:
    with pytest.raises(InputError, match=re.escape("no schema playbok (did you mean playbook?); there are day, bench")):
        schema("playbok")


def test_the_sample_names_its_schemas_in_the_first_line(written: tuple[Path, Scenario]) -> None:
    folder, _ = written
    for name in ("day.yaml", "bench.yaml", "images/images.yaml", "demo.yaml"):
        first = (folder / name).read_text(encoding="utf-8").splitlines()[0]
        told = re.fullmatch(r"# yaml-language-server: \$schema=(\S+)", first)

        assert told is not None
        assert json.loads(((folder / name).parent / told[1]).read_text(encoding="utf-8"))["$schema"] == DIALECT
