"""How a host reaches a unit whose memory shows as a drive: a folder that appears and vanishes as a mount does."""

import asyncio
import json
import shutil
from pathlib import Path

from .image_intake import ImageIntake
from .images import LONGEST_HEADER, BadHeader, header_length, read_header
from .unit import Refused, Unit

LOOK_EVERY_S = 0.05
PIECE = 65_536
DRIVE, OFF, NEW = "drive", ".drive.off", ".drive.new"
JOBS, UPDATE, PROOF = "JOBS", "UPDATE", "PROOF"
IMAGE = "SLUICEPAD.FEN"
ADDRESS = "127.0.0.1"
NONCE_LETTERS = 32
MEMORY_BYTES = 268_435_456
"""what there is for recordings and an image"""
FULL_BYTES = 4096
"""what is left of it on a full drive"""
ASK_LIMIT_S = 10.0


class DriveFace:
    """The drive of one unit."""

    def __init__(self, unit: Unit, link: Path | None, beneath: Path | None = None) -> None:
        """The drive shows as a folder beneath another one; in the unit's own, if none is named."""
        self._unit = unit
        self._link = link
        self._drive = (beneath or unit.directory).resolve() / DRIVE
        self._asked: asyncio.Server | None = None
        self._off = self._drive.with_name(OFF)
        self._pulled = False
        self._unmounted = False
        self._up = False
        self._met = False
        self._refused = ""
        """with what code the next image is refused"""
        self._shown: set[str] = set()
        """the recordings on it"""

    async def attach(self) -> dict[str, str]:
        """Say where the drive appears; gives that."""
        self._hide()
        if self._asked is None:
            self._asked = await asyncio.start_server(self._ask, ADDRESS, 0, limit=2 * NONCE_LETTERS)
        where = {"url": f"storage:{self._drive}", "proof": f"{ADDRESS}:{self._asked.sockets[0].getsockname()[1]}"}
        if self._link is not None:
            fresh = self._link.with_name(f".{self._link.name}.new")
            fresh.write_text(json.dumps(where), encoding="utf-8")
            fresh.replace(self._link)
        return where

    async def session(self) -> None:
        """Show the drive until a restart is asked for, then take what was put on it."""
        self._unit.restart_asked.clear()
        self._unit.unmount_asked.clear()
        self._unmounted = False
        self._up = True
        if not self._pulled:
            await self._meet("recordings")
            self._show()
        while not self._unit.restart_asked.is_set():
            await self._look()
            await asyncio.sleep(LOOK_EVERY_S)
        self._up = False
        self._hide()
        await self._take()

    async def rest(self) -> None:
        """The unit boots or is off."""
        self._up = False
        self._hide()

    def detach(self) -> None:
        """Vanish."""
        self._up = False
        self._hide()
        if self._asked is not None:
            self._asked.close()
            self._asked = None
        if self._link is not None:
            self._link.unlink(missing_ok=True)

    def pull_cable(self, seconds: float) -> None:
        """Let the drive vanish in the middle of whatever is done on it; it comes back after some real seconds."""
        self._pulled = True
        self._hide()
        self._unit.later(seconds, self._plug_in)

    def _plug_in(self) -> None:
        self._pulled = False
        if self._up and not self._unit.unmount_asked.is_set():
            self._show()

    async def _look(self) -> None:
        if self._unit.unmount_asked.is_set() and self._drive.exists():
            self._hide()
            self._unmounted = True
            self._unit.be("idle", "unmounted: restart takes what was put on")
            self._unit.save()
        elif self._unmounted and not self._unit.unmount_asked.is_set() and not self._pulled:
            self._unmounted = False
            self._show()
            self._unit.be("idle")
            self._unit.save()
        try:
            await self._look_at_drive()
        except OSError:
            return  # a drive can be pulled from a host while it is looked at

    async def _look_at_drive(self) -> None:
        if not (self._drive / UPDATE).is_dir():
            return
        kept = {recording.name for recording in self._unit.state.recordings}
        for name in self._shown - kept:
            (self._drive / JOBS / name).unlink(missing_ok=True)
        self._shown &= kept
        put = [one.stat().st_size for one in (self._drive / UPDATE).iterdir() if one.is_file()]
        if not self._met and put:
            self._met = True
            await self._meet("image")
        if put:
            await self._meet("image", max(put))

    async def _meet(self, when: str, moved: int | None = None) -> None:
        """Meet a moment of which nobody is told anything: what is refused is refused by the restart."""
        try:
            if moved is None:
                await self._unit.meet(when)
            else:
                await self._unit.meet(when, self._percent(moved), begin=False, moved=moved)
        except Refused as refusal:
            self._refused = refusal.code

    def _percent(self, moved: int) -> float:
        """Say how much of an image is on the drive, as far as its header tells its size."""
        for one in (self._drive / UPDATE).iterdir():
            try:
                with one.open("rb") as put:
                    head = put.read(LONGEST_HEADER)
                length = header_length(head)
                if length is not None:
                    return min(100.0, 100 * moved / (length + read_header(head[:length]).payload_bytes))
            except (OSError, BadHeader):
                continue
        return 0.0

    def _show(self) -> None:
        """Build the drive beside, then let it appear at once."""
        unit, new = self._unit, self._drive.with_name(NEW)
        shutil.rmtree(new, ignore_errors=True)
        for folder in (JOBS, UPDATE, PROOF):
            (new / folder).mkdir(parents=True)
        if (self._off / UPDATE).is_dir():
            for left in (self._off / UPDATE).iterdir():
                left.rename(new / UPDATE / left.name)
        # What is shown anew takes the room of what was shown before.
        shutil.rmtree(self._off, ignore_errors=True)
        for recording in unit.state.recordings:
            (new / JOBS / recording.name).write_bytes(unit.recorded_bytes(recording))
        self._shown = {recording.name for recording in unit.state.recordings}
        (new / "ABOUT.TXT").write_text(self._about(), encoding="utf-8")
        new.rename(self._drive)

    def _about(self) -> str:
        state = self._unit.state
        told = {
            "serial": state.identity(),
            "model": state.model,
            "hardware": state.hardware,
            "release": state.release if state.mode == "run" else "",
            "options": ";".join(state.options),
            "term": state.term,
            "free": str(self._free()),
        }
        return "".join(f"{name}: {value}\n" for name, value in told.items())

    def _free(self) -> int:
        """Say how many bytes there is room for."""
        if "drive full" in self._unit.armed:
            return FULL_BYTES
        return max(0, MEMORY_BYTES - sum(recording.bytes for recording in self._unit.state.recordings))

    def _hide(self) -> None:
        if self._drive.exists():
            shutil.rmtree(self._off, ignore_errors=True)
            self._drive.rename(self._off)

    async def _ask(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Hear a nonce on a connection of its own, and answer it on the drive: nobody else puts anything there."""
        try:
            async with asyncio.timeout(ASK_LIMIT_S):
                nonce = (await reader.readline()).decode("ascii").strip()
                writer.write(b"answered\n" if self._answer(nonce) else b"not answered\n")
                await writer.drain()
        except (OSError, ValueError, TimeoutError):
            return
        finally:
            writer.close()

    def _answer(self, nonce: str) -> bool:
        folder = self._drive / PROOF
        if len(nonce) != NONCE_LETTERS:
            return False
        try:
            fresh = folder / ".answer"
            fresh.write_text(json.dumps({"nonce": nonce, "mac": self._unit.prove(nonce)}), encoding="ascii")
            fresh.replace(folder / "answer.json")
        except (OSError, Refused):
            return False
        return True

    # The restart takes the image

    async def _take(self) -> None:
        self._met = False
        refused, self._refused = self._refused, ""
        image = self._off / UPDATE / IMAGE
        if not image.is_file():
            return
        data = image.read_bytes()[: self._free()]  # what found no room is lost
        image.unlink()
        self._unit.suffers("drive full")
        if not self._unit.power_suffices():
            refused = refused or "power"
        elif not _whole(data):
            refused = refused or "size"
        if refused:
            self._unit.log.write("refused", request="image", code=refused)
            return
        intake = ImageIntake(self._unit, len(data))
        try:
            for begin in range(0, len(data), PIECE):
                await intake.feed(data[begin : begin + PIECE])
            intake.finish()
            await intake.flash(_unseen)
        except Refused:
            return
        finally:
            intake.cut()
            intake.flash_ended()


def _whole(data: bytes) -> bool:
    """Say whether an image is as long as its header says; what has no header is for the intake to refuse."""
    try:
        length = header_length(data[:LONGEST_HEADER])
        return length is None or len(data) == length + read_header(data[:length]).payload_bytes
    except BadHeader:
        return True


async def _unseen(_: int) -> None:
    """Nobody but the display is told."""
