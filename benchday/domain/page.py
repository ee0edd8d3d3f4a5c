"""A unit's own page as a playbook declares it: what to ask for each capability, and where the answers stand."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from benchday.domain.page_picks import Dimension, Pick, measures
from benchday.domain.page_requests import Factory, PageRefusal, Put, Request, Says, SignIn, Upload
from benchday.domain.words import Expected, FileModel

Seconds = Annotated[int, Field(ge=1, le=3600)]
"""Real seconds."""
_NOTHING: frozenset[Put] = frozenset()
_IMAGE = frozenset({Put.BYTES, Put.SHA256})


class _Picks(FileModel):
    """Values with what each measures."""

    def _measure(self, **dimensions: Dimension) -> None:
        for name in type(self).model_fields:
            pick = getattr(self, name)
            if isinstance(pick, Pick):
                measures(pick, name, dimensions.get(name))


class IdentifyPage(_Picks):
    """identify"""

    request: Request
    serial: Pick
    model: Pick
    hardware: Pick | None = None
    """Hardware revision; left out: not told."""
    mode: Pick = Pick(fixed="run")
    """Its choices end in run and boot."""
    release: Pick
    options: Pick | None = None
    """Everything that it finds is an option."""
    term: Pick | None = None
    """Last day of support (ISO 8601)."""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        self.request.may_put(_NOTHING)
        self._measure()
        means = set(self.mode.choices.values()) or ({self.mode.fixed} if self.mode.fixed is not None else {"run"})
        for meant in sorted(means - {"run", "boot"}, key=str):
            raise Expected("choices that mean run or boot", found=str(meant), at=("mode",))
        return self


class PowerPage(_Picks):
    """power"""

    request: Request
    charge: Pick
    max_error: Pick | None = None
    full: Pick | None = None
    temperature: Pick | None = None
    external: Pick
    """Its choices end in yes and no."""
    voltage: Pick | None = None
    current: Pick | None = None

    @model_validator(mode="after")
    def _fits(self) -> Self:
        self.request.may_put(_NOTHING)
        self._measure(
            charge=Dimension.PERCENT,
            max_error=Dimension.PERCENT,
            full=Dimension.ENERGY,
            temperature=Dimension.TEMPERATURE,
            voltage=Dimension.VOLTAGE,
            current=Dimension.CURRENT,
        )
        if not set(self.external.choices.values()) <= {"yes", "no"} or not self.external.choices:
            raise Expected("choices that mean yes or no", found=str(self.external.choices), at=("external", "choices"))
        return self


class RecordingsPage(_Picks):
    """recordings"""

    request: Request
    items: Pick
    """Everything that it finds is a recording; the others are picked inside of it."""
    name: Pick
    bytes: Pick | None = None
    """Exact size; left out: each is asked for its length (HEAD, RFC 9110 9.3.2)."""
    sha256: Pick | None = None

    @model_validator(mode="after")
    def _fits(self) -> Self:
        self.request.may_put(_NOTHING)
        self._measure(bytes=Dimension.SIZE)
        return self


class FetchPage(FileModel):
    """fetch"""

    request: Request

    @model_validator(mode="after")
    def _fits(self) -> Self:
        self.request.may_put(frozenset({Put.NAME}))
        return self


class SettingsPage(_Picks):
    """settings: one JSON object with all, or a list, or each by itself."""

    request: Request
    all: Pick | None = None
    """A JSON object of names and values."""
    items: Pick | None = None
    name: Pick | None = None
    value: Pick | None = None
    each: Annotated[dict[str, Pick], Field(max_length=200)] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _fits(self) -> Self:
        self.request.may_put(_NOTHING)
        self._measure()
        listed = [self.items, self.name, self.value]
        ways = [self.all is not None, any(listed), bool(self.each)]
        if sum(ways) != 1 or (any(listed) and not all(listed)):
            raise Expected("one of all, each, or items with name and value", found=f"{sum(ways)} ways")
        if self.all is not None and self.all.in_json is None:
            raise Expected("in_json for all the settings", found="another way", at=("all",))
        return self


class PutSettingsPage(FileModel):
    """put settings: one request for each setting."""

    request: Request

    @model_validator(mode="after")
    def _fits(self) -> Self:
        self.request.may_put(frozenset({Put.NAME, Put.VALUE}))
        return self


class Polled(FileModel):
    """How the unit tells how far a write is, asked again and again until it is done or failed."""

    request: Request
    state: Pick
    done: Annotated[tuple[str, ...], Field(min_length=1, max_length=20)]
    failed: Annotated[tuple[str, ...], Field(min_length=1, max_length=20)]
    busy: Annotated[tuple[str, ...], Field(min_length=1, max_length=20)]
    """Any other word is taken for none of them: the outcome is then unknown."""
    percent: Pick | None = None
    longest_s: Annotated[int, Field(ge=10, le=7200)] = 3600

    @model_validator(mode="after")
    def _fits(self) -> Self:
        self.request.may_put(_NOTHING)
        measures(self.percent, "percent", Dimension.PERCENT)
        seen: set[str] = set()
        for name, words in (("done", self.done), ("failed", self.failed), ("busy", self.busy)):
            for number, word in enumerate(words):
                if word in seen:
                    raise Expected("each word once in done, failed and busy", found=word, at=(name, number))
                seen.add(word)
        return self


class WritePage(FileModel):
    """write"""

    request: Upload
    erased_by_then: Annotated[tuple[str, ...], Field(max_length=20)] = ()
    """Codes of refusals that come after the old release was erased."""
    progress: Polled | None = None
    """Left out: the answer to the upload says that the image is whole and in place."""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        self.request.may_put(_IMAGE)
        return self


class RestartPage(FileModel):
    """restart: gone and back. It is gone when it cannot be reached, knows our sign-in no more, or runs another way."""

    request: Request
    gone_within_s: Seconds = 60
    back_within_s: Seconds = 300

    @model_validator(mode="after")
    def _fits(self) -> Self:
        self.request.may_put(_NOTHING)
        return self


class SelfTestPage(FileModel):
    """self-test"""

    request: Request
    passed: Says
    words: Pick | None = None
    longest_s: Annotated[int, Field(ge=1, le=1800)] = 180

    @model_validator(mode="after")
    def _fits(self) -> Self:
        self.request.may_put(_NOTHING)
        return self


class PositionPage(_Picks):
    """position"""

    request: Request
    fix: Pick
    """Its choices end in none, single, float and fixed."""
    base: Pick | None = None
    satellites: Pick
    gga: Pick | None = None
    """A GGA sentence (NMEA 0183) with the position."""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        self.request.may_put(_NOTHING)
        self._measure()
        return self


class ProvePage(FileModel):
    """prove; only simulated instruments can."""

    request: Request
    mac: Pick

    @model_validator(mode="after")
    def _fits(self) -> Self:
        self.request.may_put(frozenset({Put.NONCE}))
        return self


class Network(FileModel):
    """What the unit's own Wi-Fi network is called."""

    name: Annotated[str, Field(min_length=1, max_length=32, pattern=r"^[^\x00-\x1f\x7f]+$")]
    """Its whole name, or what stands before the serial's end (at most 32 octets in all, IEEE 802.11)."""
    serial_end: Annotated[int, Field(ge=0, le=20)] = 0
    """How many of the serial's last characters follow."""

    def of(self, serial: str) -> str:
        """Return the name of one unit's network."""
        return self.name + (serial[-self.serial_end :] if self.serial_end else "")


class Page(FileModel):
    """A unit's own page."""

    scheme: Literal["http", "https"]
    port: Annotated[int, Field(ge=1, le=65535)] | None = None
    """Left out: 80 or 443; an address that names one has its own."""
    network: Network | None = None
    sign_in: SignIn = SignIn(way="none")
    factory: Factory | None = None
    refusal: PageRefusal = PageRefusal(statuses=(409,))
    """How the unit says no, to whatever it is asked."""
    identify: IdentifyPage
    power: PowerPage | None = None
    recordings: RecordingsPage | None = None
    fetch: FetchPage | None = None
    settings: SettingsPage | None = None
    put_settings: PutSettingsPage | None = None
    write: WritePage | None = None
    restart: RestartPage | None = None
    self_test: SelfTestPage | None = None
    position: PositionPage | None = None
    prove: ProvePage | None = None

    @model_validator(mode="after")
    def _together(self) -> Self:
        if self.fetch is not None and self.recordings is None:
            raise Expected("recordings beside fetch", found="none", at=("fetch",))
        if self.recordings is not None and self.recordings.bytes is None and self.fetch is None:
            raise Expected("bytes of a recording, or fetch to ask for its length", found="neither", at=("recordings",))
        if self.write is not None and self.restart is None:
            raise Expected("restart beside write", found="none", at=("write",))
        if self.factory is not None and self.sign_in.way == "none":
            raise Expected("a way to sign in for the factory's password", found="none", at=("factory",))
        return self
