"""The driver for a unit whose memory shows as a drive. Nothing runs before the unit is restarted, by hand."""

from __future__ import annotations

import hashlib
import os
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from dataclasses import dataclass

import anyio
from anyio.to_thread import run_sync

from benchday.devices.drivers.by_hand import Ask
from benchday.devices.drivers.by_hand_questions import Question
from benchday.devices.drivers.storage_proof import AskProof, proof_on
from benchday.devices.drivers.storage_words import LARGEST_BYTES, free_in, identity_in
from benchday.devices.links.drive import PIECE, Drive, Putting, digest_on
from benchday.domain.errors import (
    Garbled,
    InputError,
    LinkError,
    LinkNotFound,
    LinkSilent,
    OutcomeUnknown,
    Refused,
    TransferCut,
)
from benchday.domain.items import Wanted, WantedKind
from benchday.domain.permits import SpentAct, Verb, restart_covered, use_act
from benchday.domain.readings import Identity, Progress, Proof, Recording
from benchday.domain.storage import Storage

_MOST_ASKED = 5


@dataclass(frozen=True, slots=True)
class StorageLimits:
    """Real seconds."""

    appears_s: float = 20.0
    """A unit just switched on takes this long, at most, to show its drive."""
    back_s: float = 180.0
    """From the operator's word that it is up to its drive."""
    gone_s: float = 5.0
    """From the operator's word that it is unmounted until it is gone."""
    proof_s: float = 5.0
    poll_s: float = 0.1

    def __post_init__(self) -> None:
        if self.poll_s <= 0 or min(self.appears_s, self.back_s, self.gone_s, self.proof_s) < 0:
            raise InputError("limits of the driver storage are seconds, none below 0, poll_s above it")


class StorageDriver:
    """Copies off and on; has a person unmount and restart. It cannot tell who the unit is: a person says."""

    def __init__(
        self,
        drive: Drive,
        find: Callable[[], Drive],
        storage: Storage,
        ask: Ask,
        *,
        unit: str,
        limits: StorageLimits,
        ask_proof: AskProof | None = None,
    ) -> None:
        """Take a drive.

        Args:
            drive: as it is mounted now.
            find: opens it again after it was away.
            storage: the playbook's section.
            ask: puts a question to an operator.
            unit: serial as checked in, for what is asked.
            limits: how long is waited.
            ask_proof: reaches the simulator beside its drive, where the unit is one.
        """
        self._drive, self._find, self._storage, self._ask = drive, find, storage, ask
        self._unit, self._limits, self._ask_proof = unit, limits, ask_proof
        self._put = ""
        """SHA-256 of the image that this driver has put on the drive."""

    async def aclose(self) -> None:
        """Nothing is kept open."""

    async def recordings(self) -> tuple[Recording, ...]:
        """List the recordings in the declared folders, none of them through a link."""
        return await run_sync(self._recordings)

    def _recordings(self) -> tuple[Recording, ...]:
        self._drive.check_there()
        found: list[Recording] = []
        for kept in self._storage.recordings:
            left = self._storage.most_files - len(found)
            found += (Recording(f.path, f.bytes) for f in self._drive.files(kept.folder, kept.suffixes, left))
        total = sum(r.bytes for r in found)
        if total > self._storage.most_bytes:
            raise Garbled(f"the drive lists {total} bytes of recordings, more than {self._storage.most_bytes}")
        return tuple(found)

    async def fetch(self, recording: Recording, sink: Callable[[bytes], Awaitable[None]]) -> AsyncIterator[Progress]:
        """Copy one recording off."""
        drive, done = self._drive, 0
        drive.check_there()
        fd = await run_sync(drive.open, recording.name)
        try:
            while piece := await run_sync(drive.read, fd):
                done += len(piece)
                if done > recording.bytes:
                    break
                await sink(piece)
                yield Progress(done, recording.bytes, "fetching")
        finally:
            os.close(fd)
        drive.check_there()
        if done != recording.bytes:
            raise Garbled(
                f"{recording.name} holds {done} bytes or more, {recording.bytes} were listed; is it still recorded?"
            )

    def write(self, act: SpentAct, image: bytes) -> AsyncIterator[Progress]:
        """Copy the image on, under the name that the unit expects, and read it back."""
        use_act(act, Verb.WRITE_IMAGE, hashlib.sha256(image).hexdigest())
        return self._write(image)

    async def _write(self, image: bytes) -> AsyncIterator[Progress]:
        await run_sync(self._check_room, len(image))
        putting = await run_sync(Putting, self._drive, self._storage.image)
        try:
            yield Progress(0, len(image), "sending")
            for start in range(0, len(image), PIECE):
                await run_sync(putting.add, image[start : start + PIECE])
                yield Progress(putting.sent, len(image), "sending")
            digest = hashlib.sha256(image).hexdigest()
            await run_sync(putting.finish, digest)
            self._put = digest
        finally:
            with anyio.CancelScope(shield=True):
                await run_sync(putting.abandon)

    def _check_room(self, size: int) -> None:
        self._drive.check_there()
        free, needed = self._drive.free_bytes(), size + self._storage.spare_bytes
        told = self._told_free()
        if min(free, free if told is None else told) >= needed:
            return
        whose = "free on the drive" if told is None or free <= told else "free by the unit's own word"
        words = f"{min(free, free if told is None else told)} bytes are {whose}, {needed} are needed"
        raise Refused("write", "full", f"{words}; nothing was written")

    def _told_free(self) -> int | None:
        about = self._storage.about
        if about is None or about.names.free is None:
            return None
        return free_in(self._drive.read_small(about.file, LARGEST_BYTES), about)

    async def restart(self, act: SpentAct) -> None:
        """Have the drive unmounted and the unit restarted; return when its drive shows again."""
        spent = restart_covered(act)
        if self._put == spent.act.digest:
            await self._check_not_gone()
            await run_sync(self._check_put)
        await self._unmounted()
        text = (
            f"Restart unit {self._unit} and let it take what was put on its drive: do not switch it off meanwhile. "
            "When it is up, let its drive be mounted again."
        )
        answer = await self._hand("restart", text, Wanted("up", "Is it up again?", WantedKind.FLAG))
        if answer.get("up") is not True:
            raise Refused("restart", "not up", "the operator says that the unit did not come up again")
        self._drive = await found_within(self._find, self._limits.back_s, self._limits.poll_s)

    def _check_put(self) -> None:
        """Look once more that what the unit is about to take is what was put there: it may have lost the end of it."""
        if self._drive.there() and digest_on(self._drive, self._storage.image) != self._put:
            raise TransferCut("what is on the drive is no longer the image put there; the unit was not restarted", 0)

    async def _check_not_gone(self) -> None:
        """Have it told whether a drive that is away was ejected: its power may have gone before it kept the image.

        Raises:
            OutcomeUnknown: nobody ejected it.
        """
        if self._drive.there():
            return
        text = (
            f"The drive of unit {self._unit} went away before anybody was asked to unmount it. Did you eject it "
            "yourself, after the copy had ended, and is the unit still on?"
        )
        answer = await self._hand(
            "drive gone", text, Wanted("ejected", "Ejected by hand, and it is on?", WantedKind.FLAG)
        )
        if answer.get("ejected") is not True:
            raise OutcomeUnknown(
                "its drive went away after the image was copied onto it and before it was unmounted: whether the unit "
                "kept all of it is not known, and nobody was asked to restart it"
            )

    async def _unmounted(self) -> None:
        text = f"Unmount the drive of unit {self._unit} (eject it on the bench PC), and leave its cable in."
        asked = text
        for _ in range(_MOST_ASKED):
            if not self._drive.there():
                return
            await self._hand("unmount", asked, Wanted("unmounted", "Is it unmounted?", WantedKind.FLAG))
            if await self._gone():
                return
            asked = f"{text}\nIt is still mounted at {self._drive.root}."
        raise LinkSilent(f"the drive of unit {self._unit} is still mounted at {self._drive.root}; the image is on it")

    async def _gone(self) -> bool:
        for _ in range(max(round(self._limits.gone_s / self._limits.poll_s), 1)):
            if not await run_sync(self._drive.there):
                return True
            await anyio.sleep(self._limits.poll_s)
        return not self._drive.there()

    async def _hand(self, capability: str, text: str, *wanted: Wanted) -> Mapping[str, object]:
        return await self._ask(Question(capability, text, wanted))

    async def prove(self, nonce: str) -> Proof | None:
        """Have a simulated unit asked for its proof and read the answer off its drive; nothing is put there."""
        folder = self._storage.proof
        if folder is None or self._ask_proof is None or not await self._ask_proof(nonce):
            return None
        return await run_sync(proof_on, self._drive, folder, nonce)


class TellingStorageDriver(StorageDriver):
    """One whose unit says on its drive who it is."""

    async def identify(self) -> Identity:
        """Read the unit's own file."""
        return await run_sync(self._identity)

    def _identity(self) -> Identity:
        about = self._storage.about
        if about is None:
            raise InputError("the playbook names no file on the drive that says who the unit is")
        self._drive.check_there()
        data = self._drive.read_small(about.file, LARGEST_BYTES)
        self._drive.check_there()
        return identity_in(data, about)


async def found_within(find: Callable[[], Drive], within_s: float, poll_s: float) -> Drive:
    """Find a drive that may not have shown up yet; after a while the last refusal stands.

    Raises:
        LinkNotFound, LinkForbidden
    """
    for _ in range(round(within_s / poll_s)):
        try:
            return await run_sync(find)
        except LinkError:
            await anyio.sleep(poll_s)
    return await run_sync(find)


def standing(drive: Drive, storage: Storage) -> Drive:
    """Return a drive if it is one: a mount, or a folder that holds the unit's own file.

    Raises:
        LinkNotFound: it is neither; the drive may be away, and its folder left behind.
    """
    told = storage.about is not None and drive.place(storage.about.file).is_file()
    if not told and not os.path.ismount(drive.root):
        raise LinkNotFound(f"nothing is mounted at {drive.root}: is the unit on, plugged in, and its drive mounted?")
    return drive
