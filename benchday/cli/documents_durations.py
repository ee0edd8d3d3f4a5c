"""The document of the command about durations."""

from __future__ import annotations

from collections.abc import Mapping

from pydantic import BaseModel

from benchday.cli.document_parts import Document, Part


class LearntStepPart(Part):
    """One step of one model. Names that end in _us are durations here, microseconds."""

    model: str
    playbook: str
    step: str
    shortest_us: int
    usual_us: int
    longest_us: int
    """The playbook's three points."""
    records: int
    """Steps done on days that teach."""
    median_us: int | None
    """Of those that moved something where time may follow from a size, else of all."""
    p50_us: int
    p80_us: int
    p95_us: int
    """What is used now for a try that ends well, at the usual size where time follows from one."""
    again: int
    """How many of the records took another try."""
    retry_permille: int | None
    """Chance of another try, in thousandths; null for a step that is never tried again."""
    usual_bytes: int | None
    per_gigabyte_us: int | None
    """Median time for a gigabyte; null where plain minutes are learnt."""
    disagrees_permille: int | None
    """Median by the playbook's usual, in thousandths, where the two disagree by half as much again and more."""


class SharePart(Part):
    """A stated share and how often it held."""

    stated_permille: int
    held: int
    observed_permille: int | None
    """null without predictions."""
    error_permille: int | None
    """Standard error of that if the stated share is right."""


class CoveragePart(Part):
    """Predictions of one step of one model, or of all."""

    model: str | None
    step: str | None
    """null: all together."""
    predictions: int
    shares: list[SharePart]


class DurationsDocument(Document):
    """durations --json"""

    record: str
    simulated: bool
    learnt_from: str
    """real, simulated or nothing."""
    days: int
    """Days that teach."""
    svg: str | None
    """File of the picture, if one was asked for."""
    steps: list[LearntStepPart]
    overall: CoveragePart
    coverage: list[CoveragePart]


DURATIONS_DOCUMENTS: Mapping[str, type[BaseModel]] = {"durations": DurationsDocument}
