"""What a unit tells of several recordings, asked one after the other: whether the answers can be to the questions."""

from __future__ import annotations

from collections.abc import Sequence

from benchday.domain.errors import Garbled
from benchday.domain.readings import Recording


def one_digest_each(told: Sequence[Recording]) -> tuple[Recording, ...]:
    """Return recordings whose digests were asked for one by one.

    An answer that names no recording and comes late, or twice, would be taken for the next one's.

    Raises:
        Garbled: recordings of several lengths have one digest.
    """
    lengths = {recording.sha256: recording.bytes for recording in told if recording.sha256}
    for recording in told:
        if lengths.get(recording.sha256 or "", recording.bytes) != recording.bytes:
            raise Garbled("the unit tells one digest for recordings of several lengths; an answer came twice")
    return tuple(told)
