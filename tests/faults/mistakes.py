"""Mistakes that are put into a copy of the program, and which cases of the campaign must notice them."""

from __future__ import annotations

from tests.faults.campaign import Order, cell_of
from tests.faults.cases import BESIDE_ACTS
from tests.faults.matrix import Cell, cells
from tests.house.mutants import Mutant

SEED = 7
OLD_VERSION = Cell("Millrace", "old version", "image")


def _case(kind: str, number: int) -> tuple[str, ...]:
    return ("--seed", str(SEED), "--kind", kind, "--number", str(number))


def _number_of(cell: Cell) -> int:
    return next(n for n in range(len(cells())) if cell_of(Order(SEED, "matrix", n)) == cell)


MISTAKES = (
    Mutant(
        "a write without its act",
        "bench/steps/write.py",
        "    act = await spend(at, permit, Verb.WRITE_IMAGE, hashlib.sha256(at.image_bytes).hexdigest())\n",
        "    import benchday.domain.permits as p\n    act = p.mint_spent_act(permit, 0)\n",
        campaign=_case("clean", 0),
        says="an image began with no act spent before",
    ),
    Mutant(
        "a copy that is recorded before it is kept",
        "bench/steps/preserve.py",
        "        digest = await incoming.finish()\n",
        '        digest = recording.sha256 or ""\n'
        "        await at.record(at.draft(RecordingPreserved(name=recording.name, bytes=recording.bytes, "
        "sha256=digest)))\n"
        "        digest = await incoming.finish()\n",
        campaign=_case("recovery", BESIDE_ACTS.index("before file")),
        says="is recorded as preserved and is not whole in the archive",
    ),
    Mutant(
        "a verify that does not look at the release",
        "bench/steps/verify.py",
        "    if happening is None:\n        return []\n",
        "    if True:\n        return []\n",
        campaign=_case("matrix", _number_of(OLD_VERSION)),
        says="is verified, entry",
    ),
    Mutant(
        "a recovery that forgets to hold",
        "bench/recovery.py",
        "cut = [s for s in book.state.units.values() if s.state in NO_SAFE_STOP or _half_set(s)]",
        "cut = [s for s in book.state.units.values() if s.state in ()]",
        campaign=_case("recovery", BESIDE_ACTS.index("after spend")),
        says="ended as write",
    ),
)
