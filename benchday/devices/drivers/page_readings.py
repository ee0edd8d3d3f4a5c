"""Readings off a declared page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import cast

import anyio
import httpx

from benchday.devices import nmea
from benchday.devices.drivers.page_answer import MOST_ITEMS, Answer
from benchday.devices.drivers.page_asking import asked_of, built
from benchday.devices.drivers.page_session import PageSession
from benchday.domain.errors import Garbled, LinkSilent
from benchday.domain.page import IdentifyPage, PositionPage, PowerPage, RecordingsPage, SettingsPage
from benchday.domain.page_picks import Dimension, Pick
from benchday.domain.page_requests import Put, Request
from benchday.domain.readings import Identity, Mode, PowerReading, Recording, Settings, Sky

_MOST_NAME = 255
_MOST_SERIAL = 40


class Values:
    """The values of one reading, from its own page and from the others that its picks name."""

    def __init__(self, session: PageSession, answer: Answer) -> None:
        self._session, self._answer = session, answer
        self._pages: dict[str, Answer] = {}

    @classmethod
    async def asked(cls, session: PageSession, request: Request) -> Values:
        """Ask for a reading."""
        return cls(session, await session.read(request))

    async def of(self, pick: Pick) -> Answer:
        """Return the page that a pick looks at."""
        if pick.page is None:
            return self._answer
        if pick.page not in self._pages:
            self._pages[pick.page] = await self._session.read(asked_of(pick.page))
        return self._pages[pick.page]

    async def text(self, pick: Pick, name: str) -> str:
        """Return a value that must be there; empty only if the pick is optional."""
        answer = await self.of(pick)
        return (answer.maybe(pick, name) or "") if pick.optional else answer.text(pick, name)

    async def maybe(self, pick: Pick | None, name: str) -> str | None:
        """Return a value, None where the page does not tell it or is not asked for it."""
        if pick is None:
            return None
        answer = await self.of(pick)
        return answer.maybe(pick, name) if pick.optional else answer.text(pick, name)

    async def whole(self, pick: Pick | None, name: str, dimension: Dimension) -> int | None:
        """Return a number in our unit."""
        if pick is None:
            return None
        found = (await self.of(pick)).whole(pick, name, dimension)
        if found is None and not pick.optional:
            raise Garbled(f"the unit's page does not tell {name} where the playbook says")
        return found

    async def must(self, pick: Pick, name: str, dimension: Dimension) -> int:
        """Return a number that must be there."""
        found = await self.whole(pick, name, dimension)
        if found is None:
            raise Garbled(f"the unit's page does not tell {name} where the playbook says")
        return found


async def identity(session: PageSession, page: IdentifyPage) -> Identity:
    """Read who the unit says it is."""
    told = await Values.asked(session, page.request)
    serial, mode = await told.text(page.serial, "the serial"), await told.text(page.mode, "the mode")
    if not 0 < len(serial) <= _MOST_SERIAL or not serial.isprintable():
        raise Garbled(f"the unit's page says {serial[:80]!r} for the serial, which can be none")
    if mode not in (Mode.RUN.value, Mode.BOOT.value):
        raise Garbled(f"the unit's page says {mode[:80]!r} for the mode, which the playbook does not explain")
    in_boot = mode == Mode.BOOT.value
    options = (await told.of(page.options)).texts(page.options) if page.options is not None else []
    if len(set(options)) < len(options):
        raise Garbled("the unit's page lists one option twice")
    # In its boot loader a unit runs no release, whatever its page still shows.
    release = None if in_boot else await told.text(page.release, "the release")
    return Identity(
        serial=serial,
        model=await told.text(page.model, "the model"),
        hardware=await told.maybe(page.hardware, "the hardware revision") or "",
        mode=Mode(mode),
        release=release or None,
        options=tuple(sorted(options)),
        term=await told.maybe(page.term, "the support term") or None,
    )


async def power(session: PageSession, page: PowerPage) -> PowerReading:
    """Read the battery."""
    told = await Values.asked(session, page.request)
    charge = await told.must(page.charge, "the charge", Dimension.PERCENT)
    if not 0 <= charge <= 100:
        raise Garbled(f"the unit's page says {charge} for the charge; expected 0 to 100 percent")
    return PowerReading(
        charge_percent=charge,
        max_error_percent=await told.whole(page.max_error, "the greatest error", Dimension.PERCENT),
        full_mwh=await told.whole(page.full, "the full charge", Dimension.ENERGY),
        temperature_dk=await told.whole(page.temperature, "the temperature", Dimension.TEMPERATURE),
        external=await told.text(page.external, "external power") == "yes",
        voltage_mv=await told.whole(page.voltage, "the voltage", Dimension.VOLTAGE),
        current_ma=await told.whole(page.current, "the current", Dimension.CURRENT),
    )


async def recordings(session: PageSession, page: RecordingsPage, fetch: Request | None) -> tuple[Recording, ...]:
    """List the recordings; where the list tells no exact size, each is asked for its length."""
    listed = (await session.read(page.request)).items(page.items)
    found = []
    for item in listed:
        name = item.text(page.name, "a recording's name")
        if not 0 < len(name) <= _MOST_NAME or not name.isprintable() or set(name) & set("/\\"):
            raise Garbled(f"the unit speaks of a recording called {name[:80]!r}, which can be no file")
        size = item.whole(page.bytes, f"the size of {name}", Dimension.SIZE)
        if size is None and fetch is not None and page.bytes is None:
            size = await length_of(session, fetch, name)
        if size is None or size < 0:
            raise Garbled(f"the unit's page does not tell the size of {name}")
        sha256 = (item.maybe(page.sha256, f"the digest of {name}") or "").lower()
        if sha256 and (len(sha256) != 64 or set(sha256) - set("0123456789abcdef")):
            raise Garbled(f"the unit's page says {sha256[:80]!r} for the digest of {name}")
        found.append(Recording(name, size, sha256 or None))
    if len({recording.name for recording in found}) < len(found):
        raise Garbled("the unit lists two recordings of one name")
    return tuple(found)


async def length_of(session: PageSession, fetch: Request, name: str) -> int:
    """Ask for the length of a recording without its bytes (HEAD, RFC 9110 9.3.2)."""
    asked = fetch.model_copy(update={"method": "HEAD"})
    for _ in range(2):
        with anyio.move_on_after(session.way.limits.answer_s):
            async with session.opened(built(session.client, session.base, asked, {Put.NAME: name}, {})) as response:
                session.own_redirect(response, asked)
                length = response.headers.get("content-length", "")
                if response.status_code != httpx.codes.UNAUTHORIZED:
                    if (
                        response.status_code != httpx.codes.OK
                        or not length.isascii()
                        or not length.isdigit()
                        or len(length) > 15
                    ):
                        raise Garbled(f"the unit does not tell the length of {name} (answer {response.status_code})")
                    return int(length)
            await session.sign_in()
    raise LinkSilent(f"{session.where} does not tell the length of {name} in time")


async def settings(session: PageSession, page: SettingsPage) -> Settings:
    """Read the settings."""
    told = await Values.asked(session, page.request)
    if page.all is not None:
        values: Mapping[str, str] = (await told.of(page.all)).object(page.all)
    elif page.each:
        values = {name: await told.text(pick, name) for name, pick in page.each.items()}
    else:
        items, name, value = (cast("Pick", pick) for pick in (page.items, page.name, page.value))
        listed = (await told.of(items)).items(items)
        values = {one.text(name, "a setting's name"): one.maybe(value, "a setting") or "" for one in listed}
    if len(values) > MOST_ITEMS or not all(name and name.isprintable() for name in values):
        raise Garbled("the unit's page has settings whose names cannot be read")
    return Settings(dict(values))


async def sky(session: PageSession, page: PositionPage) -> Sky:
    """Read what the receiver sees."""
    told = await Values.asked(session, page.request)
    fix = await told.text(page.fix, "the fix")
    if fix not in ("none", "single", "float", "fixed"):
        raise Garbled(f"the unit's page says {fix[:80]!r} for the fix, which the playbook does not explain")
    gga = await told.maybe(page.gga, "the position")
    sentences = nmea.scan(f"{gga}\r\n".encode()).sentences if gga else ()
    seen = nmea.sky_of_gga(sentences[0]) if sentences else Sky("none", None, 0)
    return replace(
        seen,
        fix=fix,
        base=await told.maybe(page.base, "the base heard") or None,
        satellites=await told.must(page.satellites, "the satellites", Dimension.COUNT),
    )
