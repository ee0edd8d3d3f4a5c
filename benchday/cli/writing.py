"""Files that commands write where they are told: whole or not at all, and never over something else."""

from __future__ import annotations

import os
import re
import stat
from pathlib import Path

from benchday.domain.errors import InputError


def mark_of(made_by: str) -> re.Pattern[bytes]:
    """Return how a picture or a page of a command is known: by the name of the command near its beginning."""
    name = re.escape(made_by.encode())
    return re.compile(b"<metadata>" + name + b'</metadata>|content="' + name + b'"')


def write_file(
    path: Path, text: str, *, option: str, what: str, ours: re.Pattern[bytes], whose: str = " of this command"
) -> None:
    """Write a file whole or not at all, over nothing but what the same command wrote before.

    Args:
        path: of the file.
        text: all of it.
        option: that names the file on the command line.
        what: the file is, in a word.
        whose: what of that kind may be replaced; nothing where any of it may.
        ours: what is found near the beginning of a file that may be replaced.

    Raises:
        InputError: something else stands there, or it cannot be written.
    """
    beside = path.with_name(f".{path.name}.part")
    try:
        if path.exists() and not path.is_file():
            raise InputError(f"{option} {path}: this is a folder, a pipe or a device; name a file")
        if path.exists() and not ours.search(_beginning(path)):
            kept = f"this file was there before and is no {what}{whose}, so it is left as it is"
            raise InputError(f"{option} {path}: {kept}; name another file")
        # It names customers: nobody else here reads it until its owner lets them. A mode that they gave it stays.
        mode = stat.S_IMODE(path.stat().st_mode) if path.exists() else 0o600
        beside.unlink(missing_ok=True)
        fd = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(fd, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
        beside.chmod(mode)
        os.replace(beside, path)  # noqa: PTH105 -- the one call that replaces on every system
    except OSError as error:
        beside.unlink(missing_ok=True)
        why = error.strerror or error
        raise InputError(
            f"the {what} cannot be written to {path}: {why}; name another file with {option} FILE"
        ) from error


def _beginning(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(20_000)
