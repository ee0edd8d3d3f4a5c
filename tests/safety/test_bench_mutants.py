"""The proofs can fail: each deliberate mistake in the safety code of the bench is noticed by the test that is for it.

The way to make a mistake in a copy of the package is that of the house's own mutants.
"""

from __future__ import annotations

import pytest

from tests.house.mutants import Mutant
from tests.house.mutating import Copy
from tests.house.test_mutants import copy
from tests.house.test_mutants import test_a_mistake_is_noticed as notice

__all__ = ["copy"]

PROMISES = "safety/test_bench_promises.py"
LOSSES = "safety/test_losses.py"


def _promise(test: str) -> tuple[str, ...]:
    return (f"{PROMISES}::test_{test}",)


MUTANTS = (
    Mutant(
        "an act that is spent after the write",
        "bench/steps/write.py",
        """    act = await spend(at, permit, Verb.WRITE_IMAGE, hashlib.sha256(at.image_bytes).hexdigest())
    # From here the unit must not be left alone half way: a stop of the day waits for the end of this.
    with at.undisturbed():
        async with at.tools.pc.inhibit_sleep(f"unit {at.unit} is being written"):
            await _send(at, driver, act, permit)
""",
        """    import benchday.domain.permits as p
    act = p.mint_spent_act(permit, 0)
    with at.undisturbed():
        async with at.tools.pc.inhibit_sleep(f"unit {at.unit} is being written"):
            await _send(at, driver, act, permit)
    await spend(at, permit, Verb.WRITE_IMAGE, hashlib.sha256(at.image_bytes).hexdigest())
""",
        _promise("intent_write_and_end_stand_in_order"),
    ),
    Mutant(
        "an end that nobody records",
        "bench/steps/write.py",
        "    await at.record(*drafts)\n",
        "    drafts.clear()\n",
        _promise("intent_write_and_end_stand_in_order"),
    ),
    Mutant(
        "a unit that is not what was confirmed",
        "bench/spending.py",
        "        serial=found.serial,\n",
        "        serial=permit.unit,\n",
        _promise("a_unit_swapped_after_the_confirmation_is_not_written"),
    ),
    Mutant(
        "a recovery that forgets to hold",
        "bench/recovery.py",
        "s.state in NO_SAFE_STOP or _half_set(s)",
        "_half_set(s)",
        _promise("a_write_that_was_cut_is_held_by_whoever_starts_next"),
    ),
    Mutant(
        "confirmations that outlive a restart",
        "bench/recovery.py",
        "if state.item.kind is ItemKind.CONFIRM:",
        "if False:",
        _promise("a_confirmation_from_before_a_restart_is_withdrawn"),
    ),
    Mutant(
        "an order to begin a write that outlives the program",
        "bench/recovery.py",
        "        await queue.void_for(story.serial, why)\n",
        "",
        ("bench/test_by_hand.py::test_killed_while_somebody_is_told_to_begin_nobody_is_told_so_any_more",),
    ),
    Mutant(
        "a confirmation on any label",
        "bench/permit_desk.py",
        "if typed in (wanted.casefold(), serial.casefold()):",
        "if True:",
        _promise("only_the_units_own_label_confirms"),
    ),
    Mutant(
        "a confirmation by anybody",
        "bench/queue.py",
        "if not self.may(operator, item):",
        "if False:",
        _promise("only_who_may_confirm_confirms"),
    ),
    Mutant(
        "a copy whose digest is not compared",
        "bench/steps/preserve.py",
        "if recording.sha256 is not None and digest != recording.sha256:",
        "if False:",
        _promise("a_copy_that_is_not_what_the_unit_says_is_none"),
    ),
    Mutant(
        "a battery that is not read again",
        "bench/steps/confirm.py",
        " or await _power_fell(at, recordings)",
        "",
        ("bench/test_unknown_charge.py::test_the_battery_is_read_again_once_it_is_confirmed",),
    ),
    Mutant(
        "a charge that nobody knows, waved through",
        "planning/all_checks.py",
        " or (finding.check is Check.POWER and finding.answer is Answer.ASK)",
        "",
        ("bench/test_unknown_charge.py::test_what_is_not_known_is_cleared_by_external_power_and_never_waved_through",),
    ),
    Mutant(
        "a lost frequency that anybody accepts",
        "planning/survival.py",
        "may = change.field in playbook.ask_if_changed",
        "may = True",
        ("bench/test_survival.py::test_a_lost_frequency_fails_the_verify_and_stops_the_line_unasked",),
    ),
    Mutant(
        "losses that were not shown",
        "bench/steps/confirm.py",
        " or await _more_to_lose(at, permit)",
        "",
        (f"{LOSSES}::test_a_recording_made_while_the_confirmation_is_open_is_copied_first",),
    ),
    Mutant(
        "an old copy that counts for a recording that grew",
        "bench/gathering.py",
        'return bool(kept["bytes"] == recording.bytes) and',
        "return",
        (f"{LOSSES}::test_a_recording_whose_digest_is_not_told_is_copied_anew_when_it_grew",),
    ),
    Mutant(
        "the first of its kind ignored",
        "planning/gates.py",
        "if not plan.day.policy.first_off or key in state.verified:",
        "if True:",
        _promise("the_first_of_its_kind_is_verified_before_a_second_is_begun"),
    ),
    Mutant(
        "a write that was cut and stops no line",
        "domain/recovery.py",
        "_CUT = replace(_HALF, stops_line=True)",
        "_CUT = _HALF",
        ("bench/test_recovery.py::test_every_cut_write_and_every_failed_verify_stops_the_line",),
    ),
    Mutant(
        "a half-written unit that is sent off",
        "bench/station.py",
        "            if at.story.half_written:\n",
        "            if False:\n",
        ("bench/test_recovery.py::test_a_half_written_unit_is_not_sent_off_when_closing_is_near",),
    ),
    Mutant(
        "a stopped line ignored",
        "bench/steps/confirm.py",
        '    if key in state.lines_stopped or (story.model, story.target or "") in state.lines_stopped:\n'
        "        return True\n",
        "",
        _promise("a_stopped_line_offers_no_write"),
    ),
)


def test_every_proof_passes_on_the_copy(copy: Copy) -> None:
    """Without a mistake all of them pass: what fails below fails for the mistake."""
    done = copy.run(*sorted({f"tests/{test}" for mutant in MUTANTS for test in mutant.tests}))
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.name)
def test_a_mistake_is_noticed(mutant: Mutant, copy: Copy) -> None:
    """Make one mistake in the copy; its test fails."""
    notice(mutant, copy)
