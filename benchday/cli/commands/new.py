"""new: a sample day to begin from."""

from __future__ import annotations

from pathlib import Path

from benchday.cli.exits import Exit
from benchday.cli.output import print_document
from benchday.demo.sample_day import write_sample_day


def new(folder: Path, seed: int, *, as_json: bool) -> int:
    """Write a sample day and say what to do next."""
    write_sample_day(folder, seed)
    files = sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file())
    if as_json:
        print_document("new", {"folder": str(folder), "files": files})
        return Exit.DONE
    print(f"A sample day with simulated instruments is in {folder} ({len(files)} files).")
    print(f"Look at it:  {folder / 'day.yaml'}, bench.yaml, roster.csv, images/images.yaml")
    print(f"Check it:    benchday validate {folder}")
    print(f'Know it:     cd {folder}; benchday units --import units.csv --operator "Ines Halloran"; benchday targets .')
    print(f'Run it:      benchday run {folder} --operator "Ines Halloran" --speed 60')
    return Exit.DONE
