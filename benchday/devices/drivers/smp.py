"""The driver of SMP, an open RTOS's management protocol, over a serial line or datagrams. Needs the extra ``smp``.

Two image slots: a new image is sent into the other one, marked for a trial start, started by the restart, and confirmed
only once the unit answers again and runs it. What is not confirmed goes back at the next start, by itself.
"""

from __future__ import annotations

import hashlib
from collections.abc import AsyncGenerator, AsyncIterator, Sequence
from contextlib import aclosing

import anyio
from smp.image_management import ImageState
from smp.os_management import (
    MCUMgrParametersReadRequest,
    MCUMgrParametersReadResponse,
    OSApplicationInfoReadRequest,
    OSApplicationInfoReadResponse,
    ResetWriteRequest,
    ResetWriteResponse,
)
from smp.settings_management import (
    CommitSettingsRequest,
    CommitSettingsResponse,
    ReadSettingRequest,
    ReadSettingResponse,
    SaveSettingsRequest,
    SaveSettingsResponse,
    WriteSettingRequest,
    WriteSettingResponse,
)

from benchday.devices.drivers import smp_words as words
from benchday.devices.drivers.smp_files import SmpFiles
from benchday.devices.drivers.smp_image import ImageWay, mark, may_go_back, running, send_image, states_of, waiting
from benchday.devices.drivers.smp_line import SmpLine
from benchday.devices.drivers.smp_settings import SmpSources
from benchday.devices.transfer import Monotonic, monotonic_us
from benchday.domain.errors import (
    AnotherUnit,
    DeviceError,
    Garbled,
    InputError,
    LinkError,
    LinkGone,
    LinkSilent,
    OutcomeUnknown,
    Refused,
)
from benchday.domain.permits import SpentAct, Verb, restart_covered, use_act
from benchday.domain.readings import Identity, Mode, Progress, Proof, Settings

_INFO = "info:"
UNCONFIRMED = "-unconfirmed"
"""Behind the release of a unit that goes back at its next start."""


class SmpDriver:
    """Speaks with one unit. It can identify, list recordings and tell settings only where the sources say how."""

    def __init__(self, line: SmpLine, sources: SmpSources, *, clock: Monotonic = monotonic_us) -> None:
        """Take over an open line, which this driver closes."""
        self._line, self._sources, self._clock = line, sources, clock
        self._sized = False
        self._sent: bytes | None = None
        """Hash of the image that this driver sent and had marked."""
        if sources.serial_from:
            self.identify = self._identify
        if sources.settings:
            self.settings, self.put_settings = self._settings, self._put_settings
        if sources.recordings_index:
            files = SmpFiles(line, sources.recordings_index)
            self.recordings, self.fetch = files.recordings, files.fetch

    async def aclose(self) -> None:
        """Let go of the line."""
        await self._line.aclose()

    async def _identify(self) -> Identity:
        told = self._sources
        try:
            states = await states_of(self._line)
            serial, model = await self._told(told.serial_from, "serial"), await self._told(told.model_from, "model")
            hardware = await self._told(told.hardware_from, "hardware revision") if told.hardware_from else ""
            term = await self._told(told.term_from, "support term") if told.term_from else None
        except Refused as refusal:
            raise Garbled(
                f"the unit answers, but does not tell who it is ({refusal}): is it in its boot loader?"
            ) from None
        now = running(states)
        if now is None:
            return Identity(serial, model, hardware, Mode.BOOT, None, term=term)
        # It must not pass for the release itself: the next start ends it. A person decides, a new write confirms it.
        release = words.shown(now.version) + (UNCONFIRMED if may_go_back(states) else "")
        return Identity(serial, model, hardware, Mode.RUN, release, term=term)

    async def _told(self, source: str, what: str) -> str:
        if source.startswith(_INFO):
            asked = OSApplicationInfoReadRequest(format=source.removeprefix(_INFO), sequence=self._line.number())
            said = await self._line.ask(asked, OSApplicationInfoReadResponse, f"its {what}")
            return words.text_of(said.output.encode(), what)
        return words.text_of(await self._setting(source), what)

    async def _setting(self, name: str) -> bytes:
        request = ReadSettingRequest(name=name, sequence=self._line.number())
        return (await self._line.ask(request, ReadSettingResponse, f"the setting {name}")).val

    async def _settings(self) -> Settings:
        names = self._sources.settings.split()
        return Settings({name: words.setting_text(await self._setting(name)) for name in names})

    async def _put_settings(self, act: SpentAct, settings: Settings) -> None:
        use_act(act, Verb.PUT_SETTINGS, settings.digest)
        try:
            values = {name: words.setting_bytes(text) for name, text in settings.values.items()}
        except ValueError:
            raise InputError("a setting's value begins with hex: and goes on with what is no hexadecimal") from None
        for name, value in values.items():
            request = WriteSettingRequest(name=name, val=value, sequence=self._line.number())
            await self._line.ask(request, WriteSettingResponse, f"the setting {name}")
        commit, save = (kind(sequence=self._line.number()) for kind in (CommitSettingsRequest, SaveSettingsRequest))
        await self._line.ask(commit, CommitSettingsResponse, "that settings take effect")
        await self._line.ask(save, SaveSettingsResponse, "that settings are kept")

    def write(self, act: SpentAct, image: bytes) -> AsyncIterator[Progress]:
        use_act(act, Verb.WRITE_IMAGE, hashlib.sha256(image).hexdigest())
        return self._write(image)

    async def _write(self, image: bytes) -> AsyncGenerator[Progress]:
        await self._learn_size()
        way = ImageWay(image)
        async with aclosing(send_image(self._line, way)) as sending:
            async for progress in sending:
                yield progress
        self._sent = way.held

    async def _learn_size(self) -> None:
        if self._sized:
            return
        request = MCUMgrParametersReadRequest(sequence=self._line.number())
        try:
            said = await self._line.ask(request, MCUMgrParametersReadResponse, "the size of its buffer")
        except (Refused, Garbled):
            return  # not every unit tells; the usual size stands
        self._line.may_take(said.buf_size)
        self._sized = True

    async def restart(self, act: SpentAct) -> None:
        """Restart; after a write, confirm the image that was sent once the unit runs it.

        Raises:
            LinkError, Garbled, Refused: it did not come back, or another unit answers.
            OutcomeUnknown: the new image runs, but could not be confirmed.
        """
        spent = restart_covered(act)
        states = await states_of(self._line)
        marked = waiting(states)
        wanted = bytes(marked.hash) if marked and marked.hash and spent.act.verb is Verb.WRITE_IMAGE else None
        now = running(states)
        if marked is None and now is not None and self._sent is not None and now.hash == self._sent:
            wanted = self._sent  # it has started anew already: once more would take it back to what it ran before
        else:
            states = await _Restart(self._line, wanted, self._clock).done()
        await self._same_unit(spent.unit)
        await self._confirm(running(states), wanted)

    async def _same_unit(self, serial: str) -> None:
        if not self._sources.serial_from:
            return
        answered = await self._told(self._sources.serial_from, "serial")
        if answered != serial:
            raise AnotherUnit(f"where unit {serial} was, unit {answered} answers now: was it swapped?")

    async def _confirm(self, now: ImageState | None, wanted: bytes | None) -> None:
        if wanted is None or now is None or now.hash != wanted or now.confirmed:
            return  # what else runs is for the verify to say
        try:
            confirmed = running(await mark(self._line, wanted, confirm=True))
        except DeviceError as error:
            raise _on_trial(str(error)) from error
        if confirmed is None or confirmed.hash != wanted or not confirmed.confirmed:
            raise _on_trial("the unit did not do it")

    async def prove(self, nonce: str) -> Proof | None:
        try:
            mac = words.text_of(await self._setting(f"proof/{nonce}"), "proof")
        except (Refused, Garbled):
            return None
        return Proof(nonce, mac)


def _on_trial(why: str) -> OutcomeUnknown:
    return OutcomeUnknown(
        f"the new release runs on trial and was not confirmed ({why}); at its next start it goes back to the one "
        "before: do not switch it off, have it identified anew"
    )


class _Restart:
    """One restart, until the unit answers again."""

    def __init__(self, line: SmpLine, wanted: bytes | None, clock: Monotonic) -> None:
        self._line, self._wanted, self._clock = line, wanted, clock
        self._until_us = clock() + round(line.limits.restart_s * 1e6)
        self._missing: DeviceError = LinkSilent("nothing came")
        self._again_us = 0

    async def done(self) -> Sequence[ImageState]:
        """Ask for it and return the images as they stand once the unit is up.

        Raises:
            LinkError, Garbled, Refused
        """
        await self._ask()
        if self._wanted is None:  # nothing will tell before from after
            await anyio.sleep(self._line.limits.down_s)
        while self._clock() < self._until_us:
            states = await self._look()
            if states is None:
                await anyio.sleep(self._line.limits.poll_s)
                continue
            if not self._still_waits(states):
                return states
            if self._clock() >= self._again_us:
                await self._ask()
            await anyio.sleep(self._line.limits.poll_s)
        raise LinkSilent(f"the unit did not come back in {self._line.limits.restart_s:g} s: {self._missing}")

    async def _ask(self) -> None:
        self._again_us = self._clock() + round((self._line.limits.down_s + self._line.limits.answer_s) * 1e6)
        # Once only: a request sent again might meet the unit when it is up already, and take it back to what it ran.
        request = ResetWriteRequest(sequence=self._line.number())
        try:
            await self._line.ask(request, ResetWriteResponse, "a restart", tries=1)
        except (LinkSilent, LinkGone, Garbled) as error:
            self._missing = error

    def _still_waits(self, states: Sequence[ImageState]) -> bool:
        marked = waiting(states)
        return self._wanted is not None and marked is not None and marked.hash == self._wanted

    async def _look(self) -> Sequence[ImageState] | None:
        try:
            return await states_of(self._line, limit_s=self._line.limits.look_s, tries=1)
        except LinkGone as error:
            self._missing = error
        except (LinkError, Garbled, Refused) as error:
            self._missing = error
            return None
        try:
            await self._line.open_again()
        except LinkError as error:
            self._missing = error
        return None
