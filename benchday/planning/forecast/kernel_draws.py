"""The draws compiled by numba: the same words, tables and order of every addition as in plain Python."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchday.planning.forecast.compiling import Floats, Ints, compiled, inner

Words = NDArray[np.uint32]
LEAST = 1e-6
INTERVALS = 1024
WORD = 1 << 32
LOW, HIGH = INTERVALS, INTERVALS + 64


class Laws(NamedTuple):
    """What has to be drawn, as arrays: each stage's parts, each part's table."""

    part_first: Ints
    """Of each stage; a stage without parts draws for itself."""
    lines: Floats
    """All tables of lines, one after the other: of each line where it begins and its slope."""
    table: Ints
    """Of each part, where its table begins; -1 for a fixed value."""
    offset: Floats
    cap: Floats
    above: Ints
    elapsed: Floats
    chance: Ints
    spans: Ints
    word: Ints
    """Of each part, the column of its words; -1 if it needs none."""
    comes: Ints
    """Of each part, the column of the words that say whether it comes; -1 if it always does."""


@inner
def _draw(laws: Laws, part: int, word: np.int64) -> float:
    share = laws.above[part] + ((WORD - laws.above[part]) * word >> 32) if laws.above[part] else word
    interval = share >> 22
    line = interval
    if interval == 0:
        line = LOW + (share >> 16)
    elif interval == INTERVALS - 1:
        line = HIGH + ((share & 0x3FFFFF) >> 16)
    place = laws.table[part] + 2 * line
    drawn: float = laws.lines[place] + laws.lines[place + 1] * share
    return drawn


@compiled
def draw_block(laws: Laws, words: Words, drawn: Floats) -> None:
    """Draw the durations of all stages (columns) in some replications (rows); what draws for itself is there."""
    for stage in range(len(laws.part_first) - 1):
        first, past = laws.part_first[stage], laws.part_first[stage + 1]
        if first == past:
            continue
        for row in range(len(drawn)):
            minutes, part = 0.0, first
            while part < past:
                if laws.comes[part] >= 0 and np.int64(words[laws.comes[part], row]) >= laws.chance[part]:
                    part += laws.spans[part]
                    continue
                value = laws.offset[part]
                if laws.table[part] >= 0:
                    value = _draw(laws, part, np.int64(words[laws.word[part], row]))
                minutes += min(value, laws.cap[part]) - laws.elapsed[part]
                part += 1
            drawn[row, stage] = max(minutes, LEAST)
