"""The SMP driver against a stranger that loses, repeats, misnumbers, forgets and refuses."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace

import anyio
import pytest

from benchday.devices.drivers import Place, make_driver, makers
from benchday.devices.drivers.smp import SmpDriver
from benchday.devices.drivers.smp_line import Carrier, LineCarrier, SmpLine
from benchday.devices.drivers.smp_settings import SmpLimits, SmpSources
from benchday.devices.links.memory import memory_pair
from benchday.domain.errors import (
    DeviceError,
    Garbled,
    InputError,
    LinkGone,
    LinkNotFound,
    LinkSilent,
    OutcomeUnknown,
    Refused,
    TransferCut,
)
from benchday.domain.permits import SpentAct, Verb
from benchday.domain.readings import Mode, Progress, Recording, Settings
from benchday.domain.releases import Version
from benchday.domain.seams import CAPABILITIES, capabilities
from tests.devices.acts import spent, write_act
from tests.devices.slot_images import slot_image
from tests.devices.smp_peer import HASH, IMAGE, OLD, Peer

QUICK = SmpLimits(answer_s=0.2, erase_s=0.2, tries=3, restart_s=3.0, down_s=0.05, poll_s=0.02)
PIECES = -(-len(IMAGE) // (512 - 4 - 26)) + 1
"""About how many uploads the image takes."""
SOURCES = SmpSources(serial_from="unit/serial", settings="a b", recordings_index="/rec/index.txt")


@asynccontextmanager
async def talking(sources: SmpSources = SOURCES, limits: SmpLimits = QUICK) -> AsyncIterator[tuple[SmpDriver, Peer]]:
    """A driver and a stranger at the other end of a line in memory."""
    ours, far = memory_pair()

    async def gone() -> Carrier:
        raise LinkNotFound("it does not come back")

    driver, peer = SmpDriver(SmpLine(LineCarrier(ours), gone, limits), sources), Peer(far)
    async with anyio.create_task_group() as serving:
        serving.start_soon(peer.serve)
        yield driver, peer
        await driver.aclose()
        serving.cancel_scope.cancel()


async def write(driver: SmpDriver, image: bytes = IMAGE) -> tuple[SpentAct, list[Progress]]:
    """Write an image; gives the act and the progress."""
    act = write_act("1", image)
    progress = [told async for told in driver.write(act, image)]
    done = [told.done for told in progress]
    assert done == sorted(done)
    return act, progress


@pytest.mark.asyncio
@pytest.mark.parametrize(
    "faults",
    [
        {},
        {"lose": {1, 2, 5, 6, PIECES + 4}},
        {"double": True},
        {"misnumber": {1, 3, 4}},
        {"noise": b"<inf> log\n\x06\x09AAAA\n\x04\x14!!\nhalf a log"},
        {"match": None},
        {"buffer": 100_000},
    ],
    ids=str,
)
async def test_an_image_goes_in_whole_and_is_marked(faults: dict[str, object]) -> None:
    async with talking() as (driver, peer):
        for name, value in faults.items():
            setattr(peer, name, value)
        _, progress = await write(driver)
        assert peer.whole == IMAGE
        assert peer.marked
        assert peer.confirms == peer.resets == 0
        assert progress[-1].done == len(IMAGE)
        assert peer.largest <= min(peer.buffer - 4, QUICK.message_bytes)
        assert peer.largest > min(peer.buffer - 4, QUICK.message_bytes) - 4


@pytest.mark.asyncio
async def test_a_cut_write_is_resumed_by_the_next_one() -> None:
    async with talking() as (driver, peer):
        peer.silent_from = 20
        with pytest.raises(TransferCut, match="fell silent") as cut:
            await write(driver)
        came = cut.value.sent_bytes
        assert 0 < came < len(IMAGE)
        peer.silent_from, before = 10**9, peer.uploads
        await write(driver)
        assert peer.whole == IMAGE
        assert peer.uploads - before < PIECES - 10


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("faults", "error", "words"),
    [
        ({"silent_from": 1}, TransferCut, "fell silent"),
        ({"silent_from": 10}, TransferCut, "half written, what runs was not touched"),
        ({"vanish_at": 10}, TransferCut, "on its way"),
        ({"forget_at": 9}, TransferCut, "knows of no transfer: it never heard of it, or was off"),
        ({"lose_end": True}, OutcomeUnknown, "last piece was sent"),
        ({"match": False}, TransferCut, "its sum of it differs"),
        ({"refuse": {(2, 1, 1): {"err": {"group": 1, "rc": 9}}}}, Refused, "other slot is in use"),
        ({"refuse": {(2, 1, 1): {"rc": 10}}}, Refused, "busy"),
        ({"refuse": {(2, 1, 1): {"off": -1}}}, TransferCut, "makes no sense"),
        ({"refuse": {(2, 1, 1): {"off": 10**7}}}, TransferCut, "makes no sense"),
        ({"refuse": {(2, 1, 1): {}}}, TransferCut, "makes no sense"),
        ({"refuse": {(2, 1, 1): {"off": 0}}}, TransferCut, "stays at byte 0"),
        ({"refuse": {(2, 1, 1): {"off": "far"}}}, TransferCut, "says it wrongly"),
        ({"refuse": {(2, 1, 0): {"err": {"group": 1, "rc": 33}}}}, TransferCut, "cannot be marked"),
        ({"refuse": {(2, 1, 0): {"images": []}}}, TransferCut, "did not mark it"),
        ({"refuse": {(0, 1, 0): {"rc": 8}}}, Refused, "does not know that request"),
    ],
    ids=str,
)
async def test_each_failure_has_its_own_word(faults: dict[str, object], error: type[DeviceError], words: str) -> None:
    async with talking() as (driver, peer):
        for name, value in faults.items():
            setattr(peer, name, value)
        with pytest.raises(error, match=words):
            await write(driver)
        assert peer.running == ("1.0.0", OLD, True)


@pytest.mark.asyncio
async def test_a_sum_that_differs_is_believed() -> None:
    """Even of a unit that lists the image all the same."""
    async with talking() as (driver, peer):
        peer.match, peer.lists_all = False, True
        with pytest.raises(TransferCut, match="its sum of it differs"):
            await write(driver)
        assert not peer.marked


@pytest.mark.asyncio
async def test_a_refusal_after_a_lost_answer_is_no_plain_refusal() -> None:
    """The first try may have erased the slot before its answer was lost."""
    async with talking() as (driver, peer):
        peer.lose = {1}
        told = peer._told
        peer._told = lambda asked, request: (  # type: ignore[method-assign]
            {"rc": 6} if (asked.group_id, asked.command_id) == (1, 1) and peer.uploads > 1 else told(asked, request)
        )
        with pytest.raises(TransferCut, match="refused a piece"):
            await write(driver)


@pytest.mark.asyncio
@pytest.mark.parametrize(("after", "known"), [(b"", True), (bytes(1000), False)])
async def test_a_unit_that_forgets_a_finished_transfer_is_read_back(after: bytes, known: bool) -> None:
    """Only a hash that the last piece brought shows that it came."""
    image, digest = slot_image(after=after)
    async with talking() as (driver, peer):
        peer.forgets_end = True
        pieces = 2 + -(-(len(image) - (512 - 4 - 73)) // (512 - 4 - 26))
        peer.lose = {pieces - 1}
        if known:
            await write(driver, image)
            assert peer.marked
            assert peer.other == ("9.9.0", digest)
        else:
            with pytest.raises(OutcomeUnknown, match="knows of no transfer"):
                await write(driver, image)


@pytest.mark.asyncio
async def test_what_runs_already_is_not_sent() -> None:
    async with talking() as (driver, peer):
        peer.running = ("9.9.0", HASH, True)
        with pytest.raises(Refused, match="runs already"):
            await write(driver)
        assert peer.uploads == 0


@pytest.mark.asyncio
async def test_what_is_marked_already_is_not_sent_again() -> None:
    async with talking() as (driver, peer):
        await write(driver)
        sent = peer.uploads
        act, _ = await write(driver)
        assert peer.uploads == sent
        await driver.restart(act)
        assert peer.running == ("9.9.0", HASH, True)


@pytest.mark.asyncio
async def test_an_image_of_another_format_is_known_by_the_units_sum() -> None:
    async with talking() as (driver, peer):
        act, _ = await write(driver, b"of another format" * 100)
        assert peer.marked
        await driver.restart(act)
        assert peer.running == ("9.9.0", b"\x09" * 32, True)


@pytest.mark.asyncio
async def test_without_a_sum_an_image_of_another_format_is_not_taken_for_whole() -> None:
    async with talking() as (driver, peer):
        peer.match = None
        with pytest.raises(TransferCut, match="does not list it"):
            await write(driver, b"of another format" * 100)


@pytest.mark.asyncio
@pytest.mark.parametrize("ignored", [0, 1])
async def test_a_restart_confirms_what_runs_then(ignored: int) -> None:
    async with talking() as (driver, peer):
        act, _ = await write(driver)
        peer.ignore_resets = ignored
        await driver.restart(act)
        assert peer.running == ("9.9.0", HASH, True)
        assert (peer.resets, peer.confirms) == (1 + ignored, 1)


@pytest.mark.asyncio
async def test_a_second_restart_does_not_take_the_trial_back() -> None:
    """The first one ended before it could confirm; the unit is on trial, and a start more would end that."""
    async with talking() as (driver, peer):
        act, _ = await write(driver)
        peer.refuse = {(2, 1, 0): {"rc": 10}}
        with pytest.raises(OutcomeUnknown, match="goes back to the one before"):
            await driver.restart(act)
        peer.refuse = {}
        await driver.restart(act)
        assert peer.running == ("9.9.0", HASH, True)
        assert peer.resets == 1


@pytest.mark.asyncio
async def test_an_unconfirmed_release_is_not_told_as_the_release_itself() -> None:
    """It would go back in the field. A new write of it sends nothing, and its restart only confirms."""
    async with talking() as (driver, peer):
        act, _ = await write(driver)
        peer.refuse = {(2, 1, 0): {"rc": 10}}
        with pytest.raises(OutcomeUnknown, match="do not switch it off"):
            await driver.restart(act)
        peer.refuse, sent = {}, peer.uploads
        told = (await driver.identify()).release
        assert told == "9.9.0-unconfirmed"
        assert Version(told).suffix
        again, _ = await write(driver)
        await driver.restart(again)
        assert (peer.running, peer.resets, peer.uploads) == (("9.9.0", HASH, True), 1, sent)
        assert (await driver.identify()).release == "9.9.0"


@pytest.mark.asyncio
async def test_what_the_boot_loader_does_not_take_is_left_to_the_verify() -> None:
    async with talking() as (driver, peer):
        act, _ = await write(driver)
        peer.takes = False
        await driver.restart(act)
        assert peer.confirms == 0
        assert (await driver.identify()).release == "1.0.0"


@pytest.mark.asyncio
async def test_a_swapped_unit_is_not_confirmed() -> None:
    async with talking() as (driver, peer):
        act, _ = await write(driver)
        peer.settings["unit/serial"] = b"2"
        with pytest.raises(LinkGone, match="was it swapped"):
            await driver.restart(act)
        assert peer.confirms == 0


@pytest.mark.asyncio
async def test_a_restart_of_its_own_confirms_nothing() -> None:
    async with talking() as (driver, peer):
        await driver.restart(spent("1", Verb.RESTART, "0" * 64, 1))
        assert (peer.resets, peer.confirms) == (1, 0)


@pytest.mark.asyncio
async def test_a_unit_that_does_not_come_back_is_told() -> None:
    async with talking(limits=replace(QUICK, restart_s=0.5)) as (driver, peer):
        act, _ = await write(driver)
        peer.refuse = {(2, 0, 5): {}}
        with pytest.raises(LinkSilent, match="did not come back"):
            await driver.restart(act)


@pytest.mark.asyncio
async def test_who_it_is() -> None:
    async with talking() as (driver, peer):
        who = await driver.identify()
        assert (who.serial, who.model, who.hardware, who.mode, who.release) == ("1", "Stranger", "", Mode.RUN, "1.0.0")
        peer.refuse = {(0, 1, 0): {"images": [{"slot": 0, "version": "1.0.0"}]}}
        assert (await driver.identify()).mode is Mode.BOOT
        peer.settings = {}
        with pytest.raises(Garbled, match="in its boot loader"):
            await driver.identify()
        peer.settings, peer.refuse = {"unit/serial": b"1"}, {(0, 1, 0): {"rc": 8}}
        with pytest.raises(Garbled, match="does not know that request"):
            await driver.identify()
        peer.settings, peer.refuse = {"unit/serial": b"\x1b[2J"}, {}
        with pytest.raises(Garbled, match="no text that can be shown"):
            await driver.identify()


@pytest.mark.asyncio
async def test_it_can_do_what_its_sources_say() -> None:
    always = {"write", "restart", "prove"}
    async with talking(SmpSources()) as (driver, _):
        assert set(capabilities(driver)) == always
    async with talking() as (driver, _):
        assert set(capabilities(driver)) == set(CAPABILITIES) - {"power", "self-test", "position"}


@pytest.mark.asyncio
async def test_settings_are_put_as_they_were_told() -> None:
    async with talking() as (driver, peer):
        peer.settings |= {"a": b"12500", "b": b"\x01\xff"}
        told = await driver.settings()
        assert told.values == {"a": "12500", "b": "hex:01ff"}
        peer.settings |= {"a": b"", "b": b""}
        await driver.put_settings(spent("1", Verb.PUT_SETTINGS, told.digest, 1), told)
        assert (peer.settings["a"], peer.settings["b"]) == (b"12500", b"\x01\xff")
        wrong = Settings({"a": "hex:zz"})
        with pytest.raises(InputError, match="hexadecimal"):
            await driver.put_settings(spent("1", Verb.PUT_SETTINGS, wrong.digest, 1), wrong)


@pytest.mark.asyncio
async def test_recordings_are_what_the_index_says() -> None:
    async with talking() as (driver, peer):
        peer.files = {"/rec/index.txt": b"A.rnx\r\nB.raw\n\n", "/rec/A.rnx": bytes(250), "/rec/B.raw": b""}
        listed = await driver.recordings()
        assert listed == (Recording("A.rnx", 250), Recording("B.raw", 0, hashlib.sha256().hexdigest()))
        got: list[bytes] = []

        async def sink(piece: bytes) -> None:
            got.append(piece)

        assert [p.done async for p in driver.fetch(listed[0], sink)] == [100, 200, 250]
        peer.files["/rec/A.rnx"] = bytes(120)
        with pytest.raises(TransferCut, match="fetch it again"):
            _ = [p async for p in driver.fetch(listed[0], sink)]
        del peer.files["/rec/A.rnx"]
        with pytest.raises(TransferCut, match="file not found"):
            _ = [p async for p in driver.fetch(listed[0], sink)]


@pytest.mark.asyncio
@pytest.mark.parametrize(
    "name", [b"../../etc/passwd", b"/boot", b".hidden", b"a/b", b"\x1b[2J", b"\xff", b"x" * 70_000]
)
async def test_an_index_cannot_name_what_lies_elsewhere(name: bytes) -> None:
    async with talking() as (driver, peer):
        peer.files = {"/rec/index.txt": name}
        with pytest.raises(Garbled, match=r"index\.txt"):
            await driver.recordings()


@pytest.mark.asyncio
async def test_numbers_beyond_everything_and_lists_without_end_are_not_believed() -> None:
    """CBOR knows whole numbers of any length (RFC 8949, 3.4.3); Python does not even print them all."""
    huge = 10**5000
    async with talking() as (driver, peer):
        peer.files = {"/rec/index.txt": b"a\n" * 1001}
        with pytest.raises(Garbled, match="lists 1001 files"):
            await driver.recordings()
        for told, error in (({"rc": huge}, Refused), ({"len": huge}, Garbled), ({"len": -huge}, Garbled)):
            peer.refuse = {(0, 8, 1): told}
            with pytest.raises(error, match="cannot be r") as said:
                await driver.recordings()
            assert len(str(said.value)) < 400


@pytest.mark.asyncio
async def test_a_missing_extra_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(makers, "_is_there", lambda module: module != "smp")
    with pytest.raises(InputError, match=r'smp not installed: pip install "benchday\[smp\]"'):
        await make_driver("smp", Place("/dev/null"))


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("name", "value"), [("tries", 0), ("message_bytes", 64), ("serial_form", "x"), ("baud", "fast")]
)
async def test_wrong_settings_are_refused(name: str, value: object) -> None:
    with pytest.raises(InputError, match=name):
        await make_driver("smp", Place("udp://127.0.0.1:9", {name: value}))
