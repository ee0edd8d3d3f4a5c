"""The report of a fault of ours: a file with the traceback, so that the screen stays readable."""

from __future__ import annotations

import os
import sys
import traceback
from datetime import UTC, datetime
from pathlib import Path

import platformdirs

from benchday import __version__


def save_report(raised: BaseException) -> str:
    """Save the traceback and return a sentence that says where; it holds no values of variables, so no secrets."""
    folder = Path(platformdirs.user_state_dir("benchday", appauthor=False)) / "reports"
    now = datetime.now(UTC)
    path = folder / f"{now:%Y%m%dT%H%M%S}-{now.microsecond:06d}.txt"
    head = f"benchday {__version__}, Python {sys.version.split()[0]}, {sys.platform}, {now.isoformat()}\n\n"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(fd, "w", encoding="utf-8", errors="backslashreplace") as file:
            file.write(head + "".join(traceback.format_exception(raised)))
    except OSError as error:
        return f"The report could not be saved to {folder}: {error.strerror or error}."
    return f"A report is in {path}; please send it with what you did."
