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
    tests: tuple[str, ...] = ()
    """Below tests/."""
    campaign: tuple[str, ...] = ()
    """Words for the campaign, if that is what must notice it."""
    says: str = ""
    """What its alarm says."""

    @property
    def layer(self) -> str:
        """What notices it."""
        if self.campaign:
            return "campaign and checker"
        return "test of the bench" if self.tests[0].split("/")[0] in ("safety", "bench") else "test of a part"


PERMITS = "domain/test_permits.py"
JOURNALS = "contracts/test_journals.py"
SURFACE = "devices/test_only_spent_acts_write.py"
STORAGE = "devices/test_storage.py"
SIGNING = "inputs/test_image_signing.py"

MUTANTS = (
    Mutant(
        "entries that are not chained",
        "record/chain.py",
        "        prev = entries[-1].digest\n",
        "",
        (JOURNALS,),
    ),
    Mutant(
        "a copy that has its name before it is on the disk",
        "record/archive.py",
        "        os.fsync(self._fd)\n",
        "",
        ("record/test_archive.py::test_it_is_on_the_disk_before_it_has_its_name",),
    ),
    Mutant(
        "a name that is not on the disk",
        "record/archive.py",
        "            sync_folder(folder)\n",
        "            assert folder\n",
        ("record/test_archive.py::test_it_is_on_the_disk_before_it_has_its_name",),
    ),
    Mutant(
        "half a record taken for one",
        "record/reading.py",
        'return bool(made) and connection.execute("SELECT 1 FROM record").fetchone() is not None',
        "return made >= 0",
        ("record/test_kill.py::test_a_record_whose_making_was_killed_is_made_anew",),
    ),
    Mutant(
        "a page that answers 200 to everything is believed",
        "devices/drivers/web_session.py",
        "if reply.status != done:",
        "if False:",
        ("devices/test_endless.py::test_only_the_right_status_says_that_something_was_done",),
    ),
    Mutant(
        "a plug-in that fails in a write is told as a reading that failed",
        "devices/drivers/guarded.py",
        "if capability in _CHANGES:",
        "if False:",
        ("devices/test_plug_ins.py::test_what_a_plug_in_raises_becomes_an_error_of_a_unit",),
    ),
    Mutant(
        "a refusal believed whose acknowledgement may have been lost",
        "devices/drivers/last_word.py",
        "if sender.nothing_taken:",
        "if sender.done_bytes == 0:",
        ("devices/test_last_word.py::test_no",),
    ),
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
        '("journal_mode=WAL", "synchronous=FULL", _SHORTLY)',
        '("journal_mode=WAL", "synchronous=NORMAL", _SHORTLY)',
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
        "a chain that lost its end goes on",
        "record/verifying.py",
        "[*_broken_links(connection), *cut_off(connection, noted)] if begun",
        "[*_broken_links(connection)] if begun",
        ("record/test_journal.py::test_a_broken_chain_is_found_at_opening",),
    ),
    Mutant(
        "a damaged record that takes the place of a good copy",
        "record/copying.py",
        "            if faults:\n",
        "            if False:\n",
        ("record/test_copying.py::test_a_broken_record_leaves_the_copy_as_it_is",),
    ),
    Mutant(
        "a copy that takes the place of a newer record",
        "record/restoring.py",
        "if end.seq > held.seq:",
        "if False:",
        ("record/test_restoring.py::test_a_record_that_is_whole_and_newer_is_never_replaced",),
    ),
    Mutant(
        "copies that nobody reads again before the write",
        "bench/steps/confirm.py",
        "if x.sha256 is not None and not await at.tools.archive.holds(x.sha256)",
        "if False",
        ("bench/test_preserving.py::test_a_copy_that_went_bad_while_the_confirmation_was_waited_for",),
    ),
    Mutant(
        "a copy that is not read again",
        "record/archive.py",
        "if not is_whole(self._path, sha256):",
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
        "a write by SMP that asks for no act",
        "devices/drivers/smp.py",
        "use_act(act, Verb.WRITE_IMAGE, hashlib.sha256(image).hexdigest())",
        "pass",
        (SURFACE,),
    ),
    Mutant(
        "an image confirmed on another unit",
        "devices/drivers/smp.py",
        "if answered != serial:",
        "if False:",
        ("devices/test_smp.py::test_a_swapped_unit_is_not_confirmed",),
    ),
    Mutant(
        "an image begun anew under the same act",
        "devices/drivers/smp_image.py",
        "    if wanted == 0:",
        "    if False:",
        ("devices/test_smp.py::test_each_failure_has_its_own_word",),
    ),
    Mutant(
        "an image whose sum the unit says differs",
        "devices/drivers/smp_image.py",
        "if way.match is False:",
        "if False:",
        ("devices/test_smp.py::test_a_sum_that_differs_is_believed",),
    ),
    Mutant(
        "an unconfirmed release that passes for confirmed",
        "devices/drivers/smp.py",
        '(UNCONFIRMED if may_go_back(states) else "")',
        '""',
        ("devices/test_smp.py::test_an_unconfirmed_release_is_not_told_as_the_release_itself",),
    ),
    Mutant(
        "a declared write that asks for no act",
        "devices/drivers/dialogue.py",
        "use_act(act, Verb.WRITE_IMAGE, hashlib.sha256(image).hexdigest())",
        "act",
        (SURFACE,),
    ),
    Mutant(
        "a value with control characters said on a line",
        "domain/patterns.py",
        "if not value.isprintable() or not value.isascii():",
        "if False:",
        ("domain/test_patterns.py::test_nothing_is_smuggled_into_what_is_said",),
    ),
    Mutant(
        "a block whose sum is not looked at",
        "devices/xmodem_blocks.py",
        "if check_of(content, crc=True) != buffer[3 + size : whole]:",
        "if False:",
        ("devices/test_xmodem.py",),
    ),
    Mutant(
        "a second answer that acknowledges the next block",
        "devices/xmodem.py",
        "        self._repeated = repeats\n",
        "        self._repeated = False\n",
        ("devices/test_xmodem.py::test_a_receiver_that_asks_late_acknowledges_one_block",),
    ),
    Mutant(
        "more content than was announced",
        "devices/xmodem_receiver.py",
        "return self.done_bytes >= self._length and bool(content.strip(bytes((x.PAD,))))",
        "return False",
        ("devices/test_ymodem.py::test_more_than_was_announced_is_never_whole",),
    ),
    Mutant(
        "a received name with its path",
        "devices/file_head.py",
        'decode("utf-8", "replace"))[-1]',
        'decode("utf-8", "replace"))[0]',
        ("devices/test_ymodem.py::test_names_are_made_safe",),
    ),
    Mutant(
        "a list that is signed by too few",
        "inputs/image_signing.py",
        "if len(mine) < bench.image_signatures:",
        "if False:",
        (f"{SIGNING}::test_too_few_signatures",),
    ),
    Mutant(
        "a signature that does not fit and does not matter",
        "inputs/image_signing.py",
        "        if key.name not in good:\n",
        "        if not good:\n",
        (f"{SIGNING}::test_a_wrong_signature_of_a_known_key_stops_even_where_others_are_enough",),
    ),
    Mutant(
        "a signature made for something else",
        "inputs/image_signing.py",
        "bytes.fromhex(signature), SIGNED_FOR + data)",
        "bytes.fromhex(signature), data)",
        (f"{SIGNING}::test_what_is_signed_begins_with_words_of_its_own",),
    ),
    Mutant(
        "an expired list that is used",
        "inputs/image_signing.py",
        "images.expires < on:",
        "False:",
        (f"{SIGNING}::test_an_expired_list_is_refused_by_the_first_date_of_the_day",),
    ),
    Mutant(
        "a day begun on an older list",
        "bench/beginning.py",
        "        _refuse_older_images(book, plan, others)\n",
        "",
        ("safety/test_update_safety.py::test_04_a_list_older_than_the_newest_seen_is_refused",),
    ),
    Mutant(
        "a list that keeps its number and changes",
        "domain/image_lists.py",
        "and sha256 in seen.digests)",
        ")",
        ("domain/test_image_lists.py",),
    ),
    Mutant(
        "a certificate that may change",
        "devices/drivers/page_wire.py",
        "if self.fingerprint is not None and shown != self.fingerprint:",
        "if False:",
        ("devices/test_page_wire.py::test_a_certificate_is_kept_at_first_sight_and_held_to",),
    ),
    Mutant(
        "a redirect followed anywhere",
        "devices/drivers/page_session.py",
        "if _origin(onward) != _origin(self.base):",
        "if False:",
        ("devices/test_bad_pages.py::test_a_redirect_to_another_address",),
    ),
    Mutant(
        "any address connected to",
        "devices/drivers/page_wire.py",
        "if (host, port) != self._only:",
        "if False:",
        ("devices/test_page_wire.py::test_no_other_address_is_ever_connected_to",),
    ),
    Mutant(
        "another unit asked on",
        "devices/drivers/page.py",
        "            if self._unit and found.serial != self._unit:\n",
        "            if False:\n",
        ("devices/test_bad_pages.py::test_another_serial",),
    ),
    Mutant(
        "another unit written to",
        "devices/drivers/page.py",
        "        if found.serial != serial:\n",
        "        if False:\n",
        ("devices/test_bad_pages.py::test_another_serial",),
    ),
    Mutant(
        "a 200 with an error text taken for a yes",
        "devices/drivers/page_session.py",
        "    if code or reply.status in page.refusal.statuses:",
        "    if reply.status in page.refusal.statuses:",
        ("devices/test_bad_pages.py::test_a_200_with_an_error_text",),
    ),
    Mutant(
        "an image replaced in silence",
        "inputs/image_adding.py",
        '!= sha256:\n        raise InputError(\n            f"{path} is another file',
        '!= sha256 and False:\n        raise InputError(\n            f"{path} is another file',
        ("inputs/test_image_adding.py::test_a_file_of_that_name_with_other_bytes_is_never_replaced",),
    ),
    Mutant(
        "a drive that is written without an act",
        "devices/drivers/storage.py",
        "use_act(act, Verb.WRITE_IMAGE, hashlib.sha256(image).hexdigest())",
        "assert act is not use_act",
        (f"{STORAGE}::test_nothing_is_put_there_without_an_act",),
    ),
    Mutant(
        "an empty mount point taken for the drive",
        "devices/links/drive.py",
        "return (found.st_dev, found.st_ino) == self._is",
        "return True",
        (f"{STORAGE}::test_a_drive_that_is_pulled_is_no_success",),
    ),
    Mutant(
        "an image that is not read back",
        "devices/links/drive.py",
        "if found != sha256:",
        "if False:",
        (f"{STORAGE}::test_a_drive_that_does_not_give_back_what_it_was_given",),
    ),
    Mutant(
        "a restart into an image that was lost on the drive",
        "devices/drivers/storage.py",
        "if self._put == spent.act.digest:",
        "if False:",
        ("devices/test_storage_beside.py::test_an_image_that_was_lost_on_the_drive_is_not_restarted_into",),
    ),
    Mutant(
        "a proof that anybody may be asked for",
        "devices/drivers/storage_proof.py",
        "if host != ADDRESS or not port.isdigit():",
        "if not port.isdigit():",
        ("devices/test_storage_beside.py::test_no_question_for_a_proof_is_put_on_a_drive",),
    ),
    Mutant(
        "a write by hand of which nobody can tell, taken for not begun",
        "devices/drivers/by_hand.py",
        'raise OutcomeUnknown(f"nobody could tell how far the write came ({error}); read the unit back") from error',
        "raise",
        ("devices/test_by_hand.py::test_a_write_of_which_nobody_can_tell_is_no_write_not_begun",),
    ),
    Mutant(
        "one digest for recordings of several lengths",
        "devices/drivers/digests.py",
        "!= recording.bytes:",
        "!= recording.bytes and False:",
        ("devices/test_endless.py",),
    ),
)
