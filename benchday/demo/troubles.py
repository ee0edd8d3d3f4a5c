"""What befalls the demo's instruments: the scenario's trouble, and a file of more, read before anything starts."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from benchday.domain.errors import InputError, Mistake, MistakesFound
from benchday.domain.scenario import Scenario
from benchday.inputs.outcome import nearest
from benchday.inputs.playbook_files import shipped_folder

TROUBLE, MORE = "trouble.yaml", "more-trouble.yaml"


def named(wanted: Path) -> Path:
    """Return the file that is meant: one that is there, or a shipped one by its name.

    Raises:
        InputError: there is neither.
    """
    if wanted.is_file():
        return wanted
    folder = Path(str(shipped_folder() / "troubles"))
    shipped = {file.stem: file for file in sorted(folder.glob("*.yaml"))}
    if str(wanted) in shipped:
        return shipped[str(wanted)]
    near = nearest(str(wanted), shipped)
    hint = f" (did you mean {near}?)" if near else ""
    names = ", ".join(shipped)
    raise InputError(
        f"--trouble {wanted}: there is no such file, and none of the shipped ones has that name: {names}{hint}"
    )


def checked(file: Path, units: Mapping[str, str]) -> list[object]:
    """Return the entries of a file of trouble as plain data.

    Args:
        file: where it is.
        units: serial to model of the day's units.

    Raises:
        MistakesFound: all of them.
    """
    from benchday_simulators.trouble_file import Script  # noqa: PLC0415 - only the demo needs it
    from benchday_simulators.trouble_words import BadTrouble  # noqa: PLC0415

    try:
        script = Script(file)
        script.check(units)
    except BadTrouble as bad:
        told = (Mistake(m.file, m.line, m.column, m.expected, m.found, m.nearest or None) for m in bad.mistakes)
        raise MistakesFound(tuple(told)) from bad
    return script.as_data()


def laid_out(folder: Path, scenario: Scenario, more: Path | None) -> Path:
    """Write down what befalls the instruments of a day and return the file; a day that has begun keeps its own.

    Raises:
        InputError: the day was begun with other trouble, or the file cannot be used.
    """
    from benchday.inputs.yaml_writing import yaml_lines  # noqa: PLC0415 - only the demo writes

    path = folder / TROUBLE
    kept = folder / MORE
    told: list[object] = [t.model_dump(mode="json", exclude_defaults=True) for t in scenario.trouble]
    if more is not None:
        asked = checked(named(more), {u.serial: u.model for u in scenario.units})
        text = "\n".join(yaml_lines(asked)) + "\n" if asked else "[]\n"
        if path.exists() and (not kept.exists() or kept.read_text(encoding="utf-8") != text):
            raise InputError(
                f"--trouble {more}: the day in {folder.parent} was begun with other trouble, or with none; "
                "go on without --trouble, or begin in another folder"
            )
        folder.mkdir(parents=True, exist_ok=True)
        kept.write_text(text, encoding="utf-8")
    if kept.exists():
        told += checked(kept, {u.serial: u.model for u in scenario.units})
    folder.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(yaml_lines(told)) + "\n" if told else "[]\n", encoding="utf-8")
    return path
