"""What a unit says, held to what an entry can hold."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchday.domain.errors import DeviceError, Garbled, Refused, TransferCut
from benchday.domain.readings import Identity, Mode, PowerReading, Proof, Recording, SelfTest, Settings, Sky
from benchday.domain.recordable import LONGEST_TEXT, LONGEST_WORD, MOST_LISTED, MOST_WHOLE, recordable

WHO = Identity("7", "Millrace", "B", Mode.RUN, "2.9", ("radio",), "2027-01-31")
POWER = PowerReading(80, 2, 24_000, 2931, external=True)
A = Recording("a.obs", 5)
GOOD = (WHO, POWER, (A, Recording("A.OBS", 5), Recording("../a.obs", 5)), Settings({"role": "base"}), SelfTest(True))


@pytest.mark.parametrize("told", [*GOOD, Sky("fixed", "7", 12), Proof("00" * 16, "ab" * 32)], ids=repr)
def test_what_an_instrument_says_passes_as_it_is(told: object) -> None:
    """Names that differ in case only are two recordings; a name that looks like a path is a name, never a path."""
    assert recordable(told) is told


@pytest.mark.parametrize(
    "told",
    [
        replace(WHO, serial="7" * (LONGEST_WORD + 1)),
        replace(WHO, model="\ud800"),
        replace(WHO, options=("o",) * (MOST_LISTED + 1)),
        replace(POWER, full_mwh=MOST_WHOLE + 1),
        replace(POWER, voltage_mv=-(10**5000)),
        (Recording("a", MOST_WHOLE + 1),),
        (Recording("a", -1),),
        (Recording("n" * 300, 1),),
        (A, A),
        (A, Recording("a.obs", 7, "ab" * 32)),
        tuple(Recording(str(n), 1) for n in range(MOST_LISTED + 1)),
        Settings({"a": "v" * (LONGEST_TEXT + 1)}),
        Settings({str(n): "v" * 9_000 for n in range(200)}),
        Settings({"a": "\udcff"}),
        SelfTest(False, "w" * (LONGEST_TEXT + 1)),
        Sky("fixed", None, 10**20),
        Proof("00" * 16, "é" * 64),
    ],
)
def test_what_no_entry_could_hold_was_garbled(told: object) -> None:
    """And what it is told as is short, and can be shown."""
    with pytest.raises(Garbled) as garbled:
        recordable(told)
    assert str(garbled.value).isprintable()
    assert len(str(garbled.value)) < 400


def test_words_of_a_unit_in_an_error_neither_steer_nor_go_on_without_end() -> None:
    """They end up in entries, on screens and in logs."""
    said = "\x1b[2J\x1b]0;x\x07\n\u202e\ud800\x9b" + "w" * 1_000_000
    for error in (DeviceError(said), Garbled(said), TransferCut(said, 3), Refused("write", said, said)):
        assert str(error).isprintable()
        assert len(str(error)) < 3_000
        str(error).encode()
    refused = Refused("write", said, said)
    assert (refused.code + refused.words).isprintable()
