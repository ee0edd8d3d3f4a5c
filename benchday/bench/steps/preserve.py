"""preserve: each recording is copied off and its copy proved whole, or its owner lets it go."""

from __future__ import annotations

from dataclasses import dataclass

from benchday.bench.gathering import is_copy_of, list_recordings
from benchday.bench.holds import Met
from benchday.bench.serving import Serving
from benchday.domain.errors import DeviceError, RecordDamaged, TransferCut
from benchday.domain.happenings import Happening, Stage, of_error
from benchday.domain.items import ItemKind, Wanted, WantedKind
from benchday.domain.kinds import RecordingFailed, RecordingPreserved, RecordingsLetGo
from benchday.domain.playbook import StepName
from benchday.domain.readings import Recording
from benchday.domain.recovery import Own, row_for
from benchday.domain.seams import Incoming
from benchday.domain.units import Ability


async def preserve(at: Serving) -> StepName:
    """Copy what is not yet preserved; then nothing is on the unit that has no whole copy and was not let go."""
    for told in at.story.recordings:
        recording = Recording(told["name"], told["bytes"], told["sha256"])
        while not await _settled(at, recording):
            await _decide(at, recording)
    return StepName.CONFIRM


async def _settled(at: Serving, recording: Recording) -> bool:
    """Tell whether a recording is preserved or let go, copying it if need be."""
    story = at.story
    gone = story.let_go.get(recording.name)
    if gone is not None and gone["bytes"] == recording.bytes:
        return True
    kept = story.preserved.get(recording.name)
    # A copy that has gone bad since is made again while the recording is still there.
    if kept is not None and is_copy_of(kept, recording) and await at.tools.archive.holds(kept["sha256"]):
        return True
    if not story.checked_in.get("consent_copy"):
        return False
    why = ""
    for _ in range(at.playbook.step(StepName.PRESERVE).tries):
        why = await _copy(at, recording)
        if not why:
            return True
    if "recordings" not in (await at.line()).by_hand:
        # What is not on the unit any more is no copy that failed.
        there = {r.name for r in await list_recordings(at)}
        if recording.name not in there:
            # It was gone, and its owner let it go.
            return True
    await at.record(at.draft(RecordingFailed(name=recording.name, bytes=recording.bytes, why=why)))
    return False


async def _copy(at: Serving, recording: Recording) -> str:
    """Copy one recording; return why it failed, or nothing.

    Raises:
        LinkError: the line failed; the unit is identified anew.
        RecordFull: no room; nothing is left behind.
    """
    driver = await at.line()
    incoming = await at.tools.archive.begin()
    listed = _Listed(recording, incoming)
    try:
        await at.follow(StepName.PRESERVE, driver.fetch(recording, listed.add))
        listed.check_whole()
        digest = await incoming.finish()
    except (DeviceError, RecordDamaged) as failed:
        await incoming.abandon()
        if row_for(Stage.PRESERVE, of_error(failed)).own is not Own.COPY_AGAIN:
            raise
        return str(failed)
    except BaseException:
        await incoming.abandon()
        raise
    if recording.sha256 is not None and digest != recording.sha256:
        return f"the copy's digest {digest[:16]}... is not the unit's {recording.sha256[:16]}..."
    await at.record(at.draft(RecordingPreserved(name=recording.name, bytes=recording.bytes, sha256=digest)))
    return ""


@dataclass(slots=True)
class _Listed:
    """A recording on its way into the archive: all that the unit lists of it, and not a byte more."""

    recording: Recording
    incoming: Incoming
    came_bytes: int = 0

    async def add(self, data: bytes) -> None:
        """Take the next bytes.

        Raises:
            TransferCut: more come than the unit lists; the disk is not the unit's to fill.
        """
        self.came_bytes += len(data)
        if self.came_bytes > self.recording.bytes:
            raise TransferCut(f"more than the {self.recording.bytes} bytes that the unit lists come", self.came_bytes)
        await self.incoming.add(data)

    def check_whole(self) -> None:
        """Do nothing if all of it has come.

        Raises:
            TransferCut
        """
        if self.came_bytes < self.recording.bytes:
            text = f"{self.came_bytes} bytes came of the {self.recording.bytes} that the unit lists"
            raise TransferCut(text, self.came_bytes)


async def _decide(at: Serving, recording: Recording) -> None:
    """Have the owner decide what becomes of a recording that cannot be copied; it is not the operator's to decide."""
    why = at.story.failed_copies.get(recording.name, "the owner did not agree to copying")
    answered = await at.ask(
        ItemKind.DECIDE,
        f"recording {recording.name}",
        f"Recording {recording.name} ({recording.bytes} bytes) of unit {at.unit} has no whole copy: {why}. "
        f"If it is still on the unit, the write would erase it for good. Ask its owner ({at.story.customer}).",
        Wanted("answer", "try again, let go, or hold", WantedKind.CHOICE, ("try again", "let go", "hold")),
        Wanted("owner", "who of the owner's said so", required=False, personal=True),
        Wanted("how", "how they said it: in person, by telephone, in writing", required=False),
        ability=Ability.PRESERVE,
    )
    if answered.text("answer") == "hold":
        raise Met(Happening.NOT_COPIED, f"recording {recording.name} has no whole copy: {why}")
    if answered.text("answer") == "let go":
        if not answered.text("owner"):
            return
        facts = RecordingsLetGo(
            recordings=[{"name": recording.name, "bytes": recording.bytes, "sha256": recording.sha256}],
            owner_ref=answered.text("owner"),
            how=answered.text("how"),
        )
        await at.record(at.draft(facts, operator=answered.operator))
