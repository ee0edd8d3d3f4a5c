"""What the unit's page answers, checked field by field, and turned into readings."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Annotated, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, StrictBool, StrictInt, StrictStr, TypeAdapter, ValidationError

from benchday.devices import nmea
from benchday.devices.drivers.web_session import Reply
from benchday.domain.errors import Garbled
from benchday.domain.readings import Identity, Mode, PowerReading, Recording, SelfTest, Settings, Sky

_T = TypeVar("_T")
_Percent = Annotated[StrictInt, Field(ge=0, le=100)]


class _Said(BaseModel):
    model_config = ConfigDict(frozen=True)


class PowerSaid(_Said):
    """The battery's part of the status."""

    charge_percent: _Percent
    max_error_percent: StrictInt
    full_10mwh: StrictInt
    mv: StrictInt
    ma: StrictInt
    temperature_dk: StrictInt
    external: StrictBool

    def reading(self) -> PowerReading:
        return PowerReading(
            charge_percent=self.charge_percent,
            max_error_percent=self.max_error_percent,
            full_mwh=self.full_10mwh * 10,
            temperature_dk=self.temperature_dk,
            external=self.external,
            voltage_mv=self.mv,
            current_ma=self.ma,
        )


class StatusSaid(_Said):
    """The status."""

    serial: Annotated[StrictStr, Field(min_length=1, max_length=40)]
    model: StrictStr
    hardware: StrictStr
    mode: Literal["run", "boot"]
    release: StrictStr | None = None
    options: tuple[StrictStr, ...] = ()
    term: StrictStr | None = None
    power: PowerSaid
    settings: dict[StrictStr, StrictStr] = {}  # pydantic copies it

    def identity(self) -> Identity:
        return Identity(
            serial=self.serial,
            model=self.model,
            hardware=self.hardware,
            mode=Mode(self.mode),
            release=self.release or None,
            options=tuple(sorted(self.options)),
            term=self.term or None,
        )

    def all_settings(self) -> Settings:
        return Settings(dict(self.settings))


class RecordingSaid(_Said):
    """One recording."""

    name: Annotated[StrictStr, Field(min_length=1, max_length=255, pattern=r"^[^/\\\x00-\x1f]+$")]
    bytes: Annotated[StrictInt, Field(ge=0)]
    sha256: Annotated[StrictStr, Field(pattern=r"^[0-9a-f]{64}$")]

    def reading(self) -> Recording:
        return Recording(self.name, self.bytes, self.sha256)


class ImageSaid(_Said):
    """How far the flash has come."""

    state: Literal["idle", "flashing", "done", "failed"]
    percent: _Percent = 0


class TestSaid(_Said):
    """Outcome of the self-test."""

    __test__ = False
    result: Literal["pass", "fail"]
    words: StrictStr = ""

    def reading(self) -> SelfTest:
        return SelfTest(passed=self.result == "pass", words=self.words)


class AirSaid(_Said):
    """What the receiver hears."""

    fix: Literal["none", "single", "float", "fixed"]
    base: StrictStr | None = None
    satellites: Annotated[StrictInt, Field(ge=0)]


class PositionSaid(_Said):
    """Where the receiver is."""

    gga: StrictStr


class ProofSaid(_Said):
    """The answer to a nonce."""

    mac: Annotated[StrictStr, Field(pattern=r"^[0-9a-fA-F]{64}$")]


RECORDINGS: TypeAdapter[tuple[RecordingSaid, ...]] = TypeAdapter(tuple[RecordingSaid, ...])


@cache
def _adapter(kind: type[_T]) -> TypeAdapter[_T]:
    return TypeAdapter(kind)


def said(kind: type[_T] | TypeAdapter[_T], reply: Reply) -> _T:
    """Check an answer.

    Raises:
        Garbled: naming the first field that is not as it should be.
    """
    adapter = kind if isinstance(kind, TypeAdapter) else _adapter(kind)  # type: ignore[arg-type]  # classes are hashable
    try:
        return adapter.validate_json(reply.body)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(step) for step in first["loc"]) or "all of it"
        raise Garbled(f"the unit's answer cannot be read: {where}: {first['msg']}") from error


def sky_of(air: AirSaid, position: PositionSaid | None) -> Sky:
    """Put what is heard and what is seen together."""
    sentences = nmea.scan(f"{position.gga}\r\n".encode()).sentences if position else ()
    seen = nmea.sky_of_gga(sentences[0]) if sentences else Sky("none", None, 0)
    return replace(seen, fix=air.fix, base=air.base or None, satellites=air.satellites)
