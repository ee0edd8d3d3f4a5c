"""Job files of a field controller: points with their codes, an invented text format."""

import random


def job_file(serial: str, seed: str, size: int) -> bytes:
    """Draw a job of about so many bytes."""
    draw = random.Random(seed)
    lines = ["FENJOB 1", f"controller: {serial}", "grid: local", ""]
    length = sum(len(line) + 1 for line in lines)
    number = 0
    while length < size:
        number += 1
        east, north, height = draw.uniform(1000, 3000), draw.uniform(5000, 7000), draw.uniform(20, 90)
        code = draw.choice(("bank", "sluice", "post", "edge", "level"))
        lines.append(f"{number},{east:.3f},{north:.3f},{height:.3f},{code}")
        length += len(lines[-1]) + 1
    return ("\n".join(lines) + "\n").encode("ascii")
