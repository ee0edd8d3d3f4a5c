"""The by-hand driver, its questions, and drivers completed by hand."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from benchday.devices.completed import completed
from benchday.devices.drivers import Place, make_driver
from benchday.devices.drivers import by_hand_questions as ask_for
from benchday.devices.drivers.by_hand import ByHandDriver, InHand
from benchday.devices.drivers.console import ConsoleDriver
from benchday.domain.errors import Garbled, LinkSilent, OurFault, OutcomeUnknown, Refused, TransferCut
from benchday.domain.permits import Verb
from benchday.domain.readings import Identity, Mode, PowerReading, Recording, Settings, Sky
from benchday.domain.seams import CAPABILITIES, capabilities
from tests.devices.acts import spent, write_act
from tests.devices.scripted import ScriptedOperator
from tests.simulators.stranger import SERIAL, unit

IDENTITY = {"serial": "0074", "model": "Tiller", "mode": "run", "release": "2.1"}


@pytest.fixture
def operator(tmp_path: Path) -> ScriptedOperator:
    """An operator with two recordings copied."""
    (tmp_path / "a.rnx").write_bytes(b"abc")
    (tmp_path / "b.rnx").write_bytes(bytes(600_000))
    return ScriptedOperator("0074", tmp_path, 2, "9.9")


def test_it_can_do_everything_but_prove(operator: ScriptedOperator) -> None:
    """No person can prove that a unit is simulated."""
    assert set(capabilities(ByHandDriver(operator))) == set(CAPABILITIES) - {"prove"}


@pytest.mark.parametrize(
    ("question", "answer", "problems"),
    [
        (ask_for.IDENTIFY, IDENTITY, 0),
        (ask_for.IDENTIFY, {**IDENTITY, "release": None}, 1),
        (ask_for.IDENTIFY, {**IDENTITY, "mode": "boot", "release": None}, 0),
        (ask_for.IDENTIFY, {}, 3),
        (ask_for.IDENTIFY, {**IDENTITY, "serial": "00 74", "term": "31.12.2026", "colour": "red"}, 3),
        (ask_for.POWER, {"charge_percent": 101, "external": "maybe"}, 2),
        (ask_for.POWER, {"charge_percent": True, "external": True}, 1),
        (ask_for.SETTINGS, {"settings": "role"}, 1),
        (ask_for.SETTINGS, {"settings": "role=base; mask_deg=10"}, 0),
        (ask_for.POSITION, {"fix": "good", "satellites": -1, "latitude": "12 N"}, 3),
    ],
)
def test_evidence_is_checked(question: ask_for.Question, answer: Mapping[str, object], problems: int) -> None:
    """Everything that is wrong is told at once, by the label that the person reads."""
    told = ask_for.check_evidence(question, answer)
    assert len(told) == problems, told


@pytest.mark.asyncio
async def test_readings(operator: ScriptedOperator) -> None:
    """What was typed becomes readings in whole units."""
    driver = ByHandDriver(operator)
    assert await driver.identify() == Identity("0074", "Tiller", "E", Mode.RUN, "1.0", ("remote", "tracking"))
    assert await driver.power() == PowerReading(80, None, 24_000, 2942, external=False)
    assert await driver.settings() == Settings({"edm_mode": "prism", "angle_unit": "gon"})
    assert await driver.sky() == Sky("none", None, 0, -125_000_000, 232_500_000)


@pytest.mark.asyncio
@pytest.mark.parametrize("typed", [{"begun": "perhaps"}, {"begun": "yes", "outcome": "good enough"}])
async def test_a_write_of_which_nobody_can_tell_is_no_write_not_begun(
    operator: ScriptedOperator, typed: Mapping[str, object]
) -> None:
    operator.said = {"write": typed}
    with pytest.raises(OutcomeUnknown, match="nobody could tell how far the write came"):
        _ = [told async for told in ByHandDriver(operator).write(write_act("0074", b"image"), b"image")]


@pytest.mark.asyncio
async def test_copies_that_never_match_the_count_end_the_step(operator: ScriptedOperator) -> None:
    operator.said = {"recordings": {"count": 3, "done": True}}
    with pytest.raises(Garbled, match=r"the unit listed 3 recordings, 2 could be copied off it"):
        await ByHandDriver(operator).recordings()


@pytest.mark.asyncio
async def test_no_settings_are_said_and_not_left_out(operator: ScriptedOperator) -> None:
    operator.said = {"settings": {"settings": "-"}}
    assert await ByHandDriver(operator).settings() == Settings({})
    operator.said = {"settings": {"settings": ""}}
    with pytest.raises(Garbled, match="Settings: a value is needed"):
        await ByHandDriver(operator).settings()


@pytest.mark.asyncio
async def test_a_height_off_the_display(operator: ScriptedOperator) -> None:
    operator.said = {"position": {"fix": "fixed", "satellites": 9, "height": "-12.3456"}}
    assert (await ByHandDriver(operator).sky()).height_mm == -12_345
    operator.said = {"position": {"fix": "fixed", "satellites": 9, "height": "12 m"}}
    with pytest.raises(Garbled, match="Height above the ellipsoid"):
        await ByHandDriver(operator).sky()


@pytest.mark.asyncio
async def test_unusable_answers_are_asked_again_and_then_given_up(operator: ScriptedOperator) -> None:
    """The person is told what was wrong; after five tries it is given up."""
    operator.said = {"power": {"charge_percent": "lots"}}
    with pytest.raises(Garbled, match="no usable answer to power after 5 tries: Charge: expected a whole number"):
        await ByHandDriver(operator).power()
    assert len(operator.asked) == 5
    assert "Not usable so far: Charge: expected a whole number of %, got 'lots'" in operator.asked[-1].text


@pytest.mark.asyncio
async def test_recordings_are_read_from_the_folder(operator: ScriptedOperator) -> None:
    """The files that were copied are the recordings."""
    driver = ByHandDriver(operator)
    listed = await driver.recordings()
    assert listed == (Recording("a.rnx", 3), Recording("b.rnx", 600_000))
    got = bytearray()

    async def sink(piece: bytes) -> None:
        got.extend(piece)

    progress = [p.done async for p in driver.fetch(listed[1], sink)]
    assert (bytes(got), progress[-1]) == (bytes(600_000), 600_000)


@pytest.mark.asyncio
async def test_a_missing_copy_is_noticed(operator: ScriptedOperator, tmp_path: Path) -> None:
    """The unit lists three, the folder holds two: asked again until it does."""
    operator.said = {"recordings": {"count": 3, "done": True}}

    class Copying(ByHandDriver):
        """The operator copies the third when told."""

    async def ask(question: ask_for.Question) -> Mapping[str, object]:
        if "not whole" in question.text:
            (tmp_path / "c.rnx").write_bytes(b"c")
        return await operator(question)

    assert len(await Copying(ask).recordings()) == 3
    assert any("the unit lists 3 recordings" in q.text and "holds 2 files" in q.text for q in operator.asked)


@pytest.mark.asyncio
async def test_a_folder_that_is_not_there(operator: ScriptedOperator) -> None:
    """Told, asked again, given up."""
    operator.said = {"fetch": {"folder": "/nowhere"}}
    with pytest.raises(Garbled, match="no readable folder"):
        await ByHandDriver(operator).recordings()
    assert "/nowhere cannot be read: No such file or directory" in operator.asked[-1].text


@pytest.mark.asyncio
@pytest.mark.parametrize("size", [0, 2, 4])
async def test_a_copy_that_changed(size: int, operator: ScriptedOperator, tmp_path: Path) -> None:
    """A file that is not as long as it was is no whole copy."""
    driver = ByHandDriver(operator)
    (first, _) = await driver.recordings()
    (tmp_path / "a.rnx").write_bytes(bytes(size))
    with pytest.raises(Garbled, match=f"holds {size} bytes, 3 were expected"):
        async for _p in driver.fetch(first, _forget):
            pass
    (tmp_path / "a.rnx").unlink()
    with pytest.raises(Garbled, match="not there any more"):
        async for _p in driver.fetch(first, _forget):
            pass


async def _forget(_: bytes) -> None:
    """Take what comes."""


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("said", "error"),
    [
        ({"begun": False}, Refused),
        ({"begun": True, "outcome": "failed"}, TransferCut),
        ({"begun": True, "outcome": "unclear"}, OutcomeUnknown),
    ],
)
async def test_writes_that_do_not_end_well(
    said: Mapping[str, object], error: type[Exception], operator: ScriptedOperator
) -> None:
    """What the person saw is what is raised."""
    operator.said = {"write": said}
    with pytest.raises(error):
        async for _p in ByHandDriver(operator).write(write_act("0074", b"image"), b"image"):
            pass
    assert operator.asked[0].figures["image_bytes"] == 5


@pytest.mark.asyncio
async def test_not_done_is_refused(operator: ScriptedOperator) -> None:
    """Settings not set, a unit that does not come up."""
    operator.said = {"put settings": {"done": False}, "restart": {"up": False}}
    driver, settings = ByHandDriver(operator), Settings({"a": "b"})
    with pytest.raises(Refused, match="did not set all"):
        await driver.put_settings(spent("0074", Verb.PUT_SETTINGS, settings.digest, 1), settings)
    with pytest.raises(Refused, match="did not come up"):
        await driver.restart(spent("0074", Verb.RESTART, "0" * 64, 0))


class Half:
    """A driver that can say who the unit is, and can be closed."""

    closed = False

    async def identify(self) -> Identity:
        return Identity("7", "Half", "", Mode.RUN, "1.0")

    async def aclose(self) -> None:
        self.closed = True


@pytest.mark.asyncio
async def test_completed(operator: ScriptedOperator) -> None:
    """What the driver can do it does, the rest is asked for; who does what is told."""
    half = Half()
    whole = completed(half, ByHandDriver(operator))
    assert set(capabilities(whole)) == set(CAPABILITIES) - {"prove"}
    assert whole.sources["identify"] == "driver"
    assert {source for name, source in whole.sources.items() if name != "identify"} == {"by hand"}
    assert (await whole.identify()).serial == "7"  # type: ignore[attr-defined]  # had from the driver
    assert operator.asked == []
    await whole.aclose()
    assert half.closed


@pytest.mark.asyncio
async def test_made_by_name(operator: ScriptedOperator) -> None:
    """The maker needs somebody to ask."""
    assert isinstance(await make_driver("by-hand", Place("", ask=operator)), ByHandDriver)
    with pytest.raises(OurFault, match="without a way to ask"):
        await make_driver("by-hand", Place(""))


class OnlyIdentifies:
    """The console driver with one of its capabilities."""

    def __init__(self, console: ConsoleDriver) -> None:
        self.identify = console.identify
        self.aclose = console.aclose


@pytest.mark.asyncio
async def test_identified_over_the_cable_whatever_is_said_of_a_write_by_hand(tmp_path: Path) -> None:
    """The operator says that the write is whole; the unit, asked over its own line, says that it is not."""
    operator = ScriptedOperator(SERIAL, tmp_path, 0, "9.9")
    with unit("Millrace", tmp_path / SERIAL) as process:
        console = await make_driver("console", Place(str(process.link), {"poll_s": 0.05}))
        assert isinstance(console, ConsoleDriver)
        whole: Any = completed(OnlyIdentifies(console), ByHandDriver(operator))
        assert whole.by_hand == set(CAPABILITIES) - {"prove", "identify"}
        before = await whole.identify()
        act = write_act(SERIAL, b"image")
        assert [(p.done, p.what) async for p in whole.write(act, b"image")] == [(0, "writing"), (100, "writing")]
        await whole.restart(act)
        assert (await whole.identify()).release == before.release != "9.9"
        assert "identify" not in {q.capability for q in operator.asked}
        await whole.aclose()


@pytest.mark.asyncio
async def test_a_dark_display_is_silence(operator: ScriptedOperator) -> None:
    """It is no other unit, and nobody is asked to read it again character by character."""
    operator.said = {"identify": {"serial": "-", "model": "Tiller", "mode": "boot"}}
    with pytest.raises(LinkSilent, match="sees nothing on it"):
        await ByHandDriver(operator, InHand("TL7730A")).identify()
