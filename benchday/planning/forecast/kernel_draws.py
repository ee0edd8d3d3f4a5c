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
LOW, HIGH = INTERVALS + 1, INTERVALS + 64 + 2


class Laws(NamedTuple):
    """What has to be drawn, as arrays: each stage's parts, each part's table."""

    part_first: Ints
    """Of each stage; a stage without parts draws for itself."""
    nodes: Floats
    """All tables, one after the other."""
    table: Ints
    """Of each part, where its table begins; -1 for a fixed value."""
    offset: Floats
    factor: Floats
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
    if interval == 0:
        place, on = LOW + (share >> 16), ((share & 0xFFFF) + 0.5) * 2.0**-16
    elif interval == INTERVALS - 1:
        place, on = HIGH + ((share & 0x3FFFFF) >> 16), ((share & 0xFFFF) + 0.5) * 2.0**-16
    else:
        place, on = interval, ((share & 0x3FFFFF) + 0.5) * 2.0**-22
    node = laws.nodes[laws.table[part] + place]
    step = laws.nodes[laws.table[part] + place + 1] - node
    drawn: float = laws.offset[part] + laws.factor[part] * (node + step * on)
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
