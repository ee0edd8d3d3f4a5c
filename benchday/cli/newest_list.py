"""The newest image list that the record of a day has seen, for comparing before a day is begun."""

from __future__ import annotations

from pathlib import Path

from benchday.cli.reading import opened, source_of
from benchday.domain.errors import InputError, RecordError
from benchday.domain.image_lists import NOTHING_SEEN, SeenList, newest_seen
from benchday.inputs.outcome import Notice
from benchday.record.reading import is_begun


def newest_in_record(folder: Path) -> tuple[SeenList, tuple[Notice, ...]]:
    """Return the newest list that any bench of the day's record has used; nothing where there is no record yet.

    A record that cannot be read is a notice: beginning the day will tell, and refuse, what matters.
    """
    try:
        source = source_of(folder, None)
    except InputError:
        return NOTHING_SEEN, ()  # told with the other mistakes of day.yaml
    try:
        if not is_begun(source.record):
            return NOTHING_SEEN, ()
        with opened(source) as (reader, _):
            return newest_seen(e for bench in reader.benches() for e in reader.read(bench)), ()
    except RecordError as error:
        said = f"the number of the image list was compared with nothing: {error}"
        return NOTHING_SEEN, (Notice(str(source.record), 0, said),)
