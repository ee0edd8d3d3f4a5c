"""benchday drivers: what is installed, and what is broken."""

from __future__ import annotations

import json

import pytest

from benchday.cli.commands import drivers as command
from benchday.cli.documents import DOCUMENTS
from benchday.cli.exits import Exit
from benchday.devices.drivers import DRIVERS
from benchday.domain.drivers import DriverKnown

BROKEN = DriverKnown("heron", "heron-driver", "1.0", "heron:make", problem="importing \x1b[31mheron:make failed")
MUTE = DriverKnown("egret", "egret-driver", None, "egret:make")
PARTLY = DriverKnown("ibis", "ibis-driver", "2.1", "ibis:make", capabilities=("identify", "write"), settings={})


def test_the_built_in_ones_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    """Each with what it does; all of them can be used."""
    assert command.drivers(as_json=True) == Exit.DONE
    document = json.loads(capsys.readouterr().out)
    DOCUMENTS["drivers"].model_validate(document)
    assert [driver["name"] for driver in document["drivers"]][: len(DRIVERS)] == list(DRIVERS)
    able = {driver["name"]: driver["capabilities"] for driver in document["drivers"]}
    assert all("identify" in able[name] for name in ("console", "web", "by-hand"))
    assert able["dialogue"] is None, "its playbook says what it can do"


def test_plug_ins_are_told_in_words(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Source, entry point, what a person does instead; a broken one with its error, cleaned, and status 3."""
    monkeypatch.setattr(command, "installed_drivers", lambda: (PARTLY, MUTE, BROKEN))
    assert command.drivers(as_json=False) == Exit.HELD
    assert capsys.readouterr().out.splitlines() == [
        "ibis (ibis-driver 2.1, ibis:make)",
        "  does: identify, write",
        "  by hand: power, recordings, fetch, settings, put settings, restart, self-test, position",
        "egret (egret-driver, egret:make)",
        "  its maker does not say what it makes: asked when it is opened",
        "heron (heron-driver 1.0, heron:make)",
        "  cannot be used: importing \\x1b[31mheron:make failed",
    ]


def test_an_extra_left_out_is_no_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is told, and the status stays 0."""
    left_out = DriverKnown("smp", "benchday", "1", None, problem='smp not installed: pip install "benchday[smp]"')
    monkeypatch.setattr(command, "installed_drivers", lambda: (left_out,))
    assert command.drivers(as_json=True) == Exit.DONE
