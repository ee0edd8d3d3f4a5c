"""A sample day with images that the simulated instruments take."""

from __future__ import annotations

from pathlib import Path

from benchday.inputs.sample import write_sample
from benchday.inputs.sample_images import BuildImage


def write_sample_day(folder: Path, seed: int) -> None:
    """Write the files of a sample day.

    Raises:
        InputError: the folder holds something, or cannot be written.
    """
    from benchday_simulators.images import build_image  # noqa: PLC0415 - only the demo knows the simulators

    build: BuildImage = build_image
    write_sample(folder, seed, build_image=build)
