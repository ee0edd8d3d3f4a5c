"""The invented families: what each model is, draws and can do."""

from dataclasses import dataclass
from typing import Literal

LineKind = Literal["serial", "usb", "wifi", "page", "drive", "none", "smp"]


@dataclass(frozen=True)
class Draws:
    """How much power a unit takes from its battery, by what it does."""

    idle_mw: int
    """switched on, satellites tracked, nothing asked"""
    transfer_mw: int
    """sending recordings or taking an image"""
    flash_mw: int
    """erasing and flashing"""


@dataclass(frozen=True)
class Model:
    """One invented model, as its maker would describe it."""

    name: str
    family: str
    role: str
    """base, rover, either or none"""
    line: LineKind
    hardware: tuple[str, ...]
    """revisions that were sold"""
    options: tuple[str, ...]
    releases: tuple[str, ...]
    """releases that units are found with, oldest first"""
    full_mwh: int
    """capacity of a new pack"""
    charge_mw: int
    """what external power puts into the pack beside running the unit"""
    draws: Draws
    settings: tuple[tuple[str, str], ...]
    """settings as the factory leaves them"""
    baud: int = 115_200
    speaks: Literal["sentences", "prompts"] = "sentences"
    """over a serial line"""

    def factory_settings(self) -> dict[str, str]:
        """Give the settings as the factory leaves them."""
        return dict(self.settings)


def _radio(role: str, transmit: str) -> tuple[tuple[str, str], ...]:
    return (
        ("frequency_khz", "461025"),
        ("bandwidth_hz", "12500"),
        ("role", role),
        ("transmit", transmit),
        ("elevation_mask_deg", "10"),
    )


MODELS: dict[str, Model] = {
    model.name: model
    for model in (
        Model(
            name="Millrace",
            family="receiver",
            role="either",
            line="serial",
            hardware=("A", "B", "C"),
            options=("dual", "radio", "tilt"),
            releases=("2.4", "2.6", "2.9"),
            full_mwh=24_000,
            charge_mw=18_000,
            draws=Draws(idle_mw=3_200, transfer_mw=3_800, flash_mw=5_000),
            settings=_radio("rover", "off"),
        ),
        Model(
            name="Weirstone",
            family="reference receiver",
            role="base",
            line="usb",
            hardware=("A", "B"),
            options=("dual", "radio", "events"),
            releases=("4.1", "4.2"),
            full_mwh=62_000,
            charge_mw=30_000,
            draws=Draws(idle_mw=4_500, transfer_mw=5_200, flash_mw=6_500),
            settings=_radio("base", "on"),
        ),
        Model(
            name="Osier",
            family="receiver",
            role="rover",
            line="wifi",
            hardware=("C", "D"),
            options=("dual", "radio"),
            releases=("2.4", "2.6", "2.9"),
            full_mwh=16_800,
            charge_mw=12_000,
            draws=Draws(idle_mw=2_600, transfer_mw=3_600, flash_mw=4_000),
            settings=_radio("rover", "off"),
        ),
        Model(
            name="Tiller",
            family="total station",
            role="none",
            line="none",
            hardware=("E",),
            options=("reflectorless", "servo"),
            releases=("7.0", "7.2"),
            full_mwh=40_000,
            charge_mw=24_000,
            draws=Draws(idle_mw=6_000, transfer_mw=6_500, flash_mw=7_500),
            settings=(("edm_mode", "prism"), ("compensator", "on"), ("angle_unit", "gon")),
        ),
        Model(
            name="Wherry",
            family="small receiver",
            role="rover",
            line="smp",
            hardware=("A", "B"),
            options=(),
            releases=("1.2.0", "1.3.1"),
            full_mwh=9_600,
            charge_mw=7_500,
            draws=Draws(idle_mw=1_400, transfer_mw=1_700, flash_mw=2_000),
            settings=_radio("rover", "off"),
        ),
        Model(
            name="Gantry",
            family="total station",
            role="none",
            line="serial",
            hardware=("F", "G"),
            options=("reflectorless", "servo"),
            releases=("3.1", "3.4"),
            full_mwh=40_000,
            charge_mw=24_000,
            draws=Draws(idle_mw=5_500, transfer_mw=6_000, flash_mw=7_000),
            settings=(("edm_mode", "prism"), ("compensator", "on"), ("angle_unit", "gon"), ("search", "off")),
            baud=19_200,
            speaks="prompts",
        ),
        Model(
            name="Fenbook",
            family="field controller",
            role="none",
            line="page",
            hardware=("H", "J"),
            options=("modem", "stakeout"),
            releases=("1.4", "1.6"),
            full_mwh=36_000,
            charge_mw=20_000,
            draws=Draws(idle_mw=4_000, transfer_mw=4_600, flash_mw=6_000),
            settings=(("receiver_channel", "461025"), ("grid", "local"), ("keypad", "standard")),
        ),
        Model(
            name="Sluicepad",
            family="field controller",
            role="none",
            line="drive",
            hardware=("F", "G"),
            options=("camera", "mobile"),
            releases=("1.3", "1.4"),
            full_mwh=22_000,
            charge_mw=15_000,
            draws=Draws(idle_mw=2_800, transfer_mw=3_000, flash_mw=4_200),
            settings=(("coordinate_system", "local grid"), ("units", "metres"), ("backlight_percent", "60")),
        ),
    )
}
