"""A seeded mutator: old input changed in a few places, now and then spliced, or drawn anew."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

LONGEST = 4096
TELLING = (
    b"\x00",
    b"\xff",
    b"\x18\x18",
    b"\x01\x00\xff",
    b"..",
    b"/",
    b"\\",
    b"%s",
    b"9" * 20,
    b"-1",
    b",",
    b"*",
    b"\x1b[2J",
)


def inputs(seeds: tuple[bytes, ...], count: int, seed: int) -> Iterator[bytes]:
    """Yield so many inputs; equal seeds give equal inputs."""
    random = Random(seed)
    pool = list(seeds)
    yield from pool[:count]
    for _ in range(count - len(pool[:count])):
        data = random.randbytes(random.randrange(200)) if random.random() < 0.1 else bytearray(random.choice(pool))
        data = bytearray(data)
        for _ in range(random.randrange(1, 6)):
            _change(random, data, pool)
        if random.random() < 0.01:
            pool[random.randrange(len(pool)) if len(pool) > 200 else len(pool) :][:1] = [bytes(data)]
        yield bytes(data[:LONGEST])


def _change(random: Random, data: bytearray, pool: list[bytes]) -> None:
    at = random.randrange(len(data) + 1)
    kind = random.randrange(6)
    if kind == 0 and at < len(data):
        data[at] ^= 1 << random.randrange(8)
    elif kind == 1 and at < len(data):
        data[at] = random.randrange(256)
    elif kind == 2:
        del data[at : at + random.randrange(1, 9)]
    elif kind == 3:
        data[at:at] = random.choice(TELLING)
    elif kind == 4:
        data[at:at] = data[at : at + random.randrange(1, 33)] * random.randrange(1, 5)
    else:
        data[at:] = random.choice(pool)[random.randrange(8) :]
