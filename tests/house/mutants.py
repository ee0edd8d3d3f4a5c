"""Deliberate mistakes in the safety code, each with the tests that must notice it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Mutant:
    """One mistake: a text of a file, what it is replaced by, and where the mistake shows."""

    name: str
    file: str
    """Below benchday/."""
    old: str
    """Stands in the file exactly once."""
    new: str
    tests: tuple[str, ...]
    """Below tests/."""


PERMITS = "domain/test_permits.py"
JOURNALS = "contracts/test_journals.py"
SURFACE = "devices/test_only_spent_acts_write.py"

MUTANTS = (
    Mutant(
        "a permit that never expires",
        "domain/permits.py",
        "if mono_us > permit.expires_mono_us:",
        "if False:",
        (f"{PERMITS}::test_it_expires",),
    ),
    Mutant(
        "a permit for any unit",
        "domain/permits.py",
        '("serial", permit.unit, reading.serial),',
        "",
        (f"{PERMITS}::test_each_binding_refuses",),
    ),
    Mutant(
        "a permit for any image",
        "domain/permits.py",
        '("digest", act.digest, reading.digest),',
        "",
        (f"{PERMITS}::test_each_binding_refuses",),
    ),
    Mutant(
        "a voided permit that still holds",
        "domain/permits.py",
        "if standing.voided is not None:",
        "if standing.voided is not None and standing.spent:",
        (f"{PERMITS}::test_each_binding_refuses",),
    ),
    Mutant(
        "a stopped line that writes on",
        "domain/permits.py",
        "if standing.line_stopped is not None:",
        "if False:",
        (f"{PERMITS}::test_each_binding_refuses",),
    ),
    Mutant(
        "the pipe as good as a person",
        "domain/permits.py",
        "if permit.confirmed_by is ConfirmedBy.PERSON:",
        "if permit.confirmed_by is not ConfirmedBy.SIMULATED:",
        (f"{PERMITS}::test_without_a_person_the_unit_must_prove_itself",),
    ),
    Mutant(
        "an act used twice",
        "domain/permits.py",
        "        self._used = True\n",
        "",
        (f"{PERMITS}::test_an_act_is_used_once",),
    ),
    Mutant(
        "an act that anybody makes",
        "domain/permits.py",
        "if mint is not _MINT:",
        "if mint is None:",
        (f"{PERMITS}::test_nobody_outside_makes_a_spent_act",),
    ),
    Mutant(
        "a second edge into write",
        "domain/steps.py",
        "    (State.CHECK, Move.VERIFY): State.VERIFY,\n",
        "    (State.CHECK, Move.VERIFY): State.VERIFY,\n    (State.CHECK, Move.WRITE): State.WRITE,\n",
        ("domain/test_steps.py::test_one_edge_leads_into_write_and_it_leaves_confirm",),
    ),
    Mutant(
        "the neighbour's last four characters",
        "domain/units.py",
        "return serial if shared or len(serial) <= 4 else tail",
        "return serial if len(serial) <= 4 else tail",
        ("domain/test_units.py",),
    ),
    Mutant(
        "an act handed out before its intent is committed",
        "record/journal.py",
        'self._writing.execute("COMMIT")',
        'self._writing.execute("ROLLBACK")',
        (JOURNALS,),
    ),
    Mutant(
        "an act spent that nobody wrote down",
        "record/spending.py",
        'write((_intent(permit, number, simulated_proof=proved),), (f"act:{permit.id}:{number}",))',
        "_intent(permit, number, simulated_proof=proved)",
        (JOURNALS,),
    ),
    Mutant(
        "commits that are not synced",
        "record/database.py",
        '("journal_mode=WAL", "synchronous=FULL")',
        '("journal_mode=WAL", "synchronous=NORMAL")',
        ("record/test_journal.py::test_every_commit_is_synced",),
    ),
    Mutant(
        "permits that outlive a restart",
        "record/journal.py",
        "self._standings.add(chain.read_lines(writing, bench))",
        "self._standings.add(chain.read(writing, bench, 0))",
        ("record/test_journal.py::test_a_restart_voids_permits",),
    ),
    Mutant(
        "a held unit whose permit still holds",
        "record/standing.py",
        "    UNIT_HELD: Standings._unit_held,\n",
        "",
        (JOURNALS,),
    ),
    Mutant(
        "a copy that is not read again",
        "record/archive.py",
        "if not _is_whole(self._path, sha256):",
        "if False:",
        ("record/test_archive.py::test_a_disk_that_gives_back_something_else_is_told",),
    ),
    Mutant(
        "a write that asks for no act",
        "devices/drivers/console.py",
        "use_act(act, Verb.WRITE_IMAGE, hashlib.sha256(image).hexdigest())",
        "pass",
        (SURFACE,),
    ),
    Mutant(
        "a block whose sum is not looked at",
        "devices/xmodem_blocks.py",
        "if check_of(content, crc=True) != buffer[3 + size : whole]:",
        "if False:",
        ("devices/test_xmodem.py",),
    ),
)
