"""What a pair of simulated controllers is: enough to print every command's answer on both members, consistently."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Literal

from collector.demo import EVENING

GIGABYTE = 1_000_000_000


# Eight days ago: nobody has touched the configuration since, and it was saved right away.
_CHANGED = EVENING - timedelta(days=8, minutes=79)
_SAVED = _CHANGED + timedelta(seconds=23)
# The simulated controllers let their clocks go on from when they start; the demo's sweep begins at EVENING soon after.
_ASKED = EVENING + timedelta(milliseconds=132)
_CERTIFICATE = (EVENING - timedelta(days=1127, seconds=41_849), EVENING + timedelta(days=2526, seconds=-41_849))


@dataclass(frozen=True)
class Package:
    """One row of `show install summary`."""

    type: str
    state: str
    name: str


@dataclass(frozen=True)
class File:
    """One file on flash; its size in bytes, its time as a directory prints it, else the last reload's eve."""

    name: str
    bytes: int
    dated: str | None = None


@dataclass(frozen=True)
class Core:
    """One core file; its size in bytes, its time as a directory prints it."""

    name: str
    bytes: int
    dated: str


@dataclass(frozen=True)
class Switchover:
    """One row of the history of switchovers: the chassis that was active, the one that is, why and when."""

    before: int
    after: int
    reason: str
    time: datetime


@dataclass(frozen=True)
class AccessPoint:
    """One access point; `number` makes its addresses, so no two of a fleet should share one.

    `staging` is its predownload status; with `Complete` it holds the target's image as its backup. `failure` is the
    phase that it failed in and why it left; an access point that has one hasn't joined.
    """

    name: str
    number: int
    model: str
    location: str
    address: str
    country: str = "NL"
    state: str = "Registered"
    slots: int = 2
    staging: str = "Complete"
    failure: tuple[str, str] | None = None

    @property
    def radio_mac(self) -> str:
        """The first address of its radios, locally administered."""
        number = 0x80_0000 + self.number * 16
        return f"0200.5e{number >> 16 & 0xFF:02x}.{number & 0xFFFF:04x}"


@dataclass(frozen=True)
class Controller:
    """One member of a pair, as it would describe itself.

    `release` is written plainly (17.9.4a), `build` is what the installer puts behind the padded release. `boot` is
    in boot order. `flash_total` and `flash_free` are in bytes. `refuses` holds commands that this session may not
    run. An unreachable controller has no captures at all. `uptime` is the pair's where it isn't given. `clock_ahead`
    is in seconds, `memory_used` in per cent. `peer_mac` is the chassis address that it takes for its peer's, where it
    is mistaken.
    """

    name: str
    model: str
    serial: str
    mac: str
    address: str
    link_address: str
    release: str = "17.9.4a"
    build: str = "0.6"
    install_mode: Literal["INSTALL", "BUNDLE"] = "INSTALL"
    image_file: str = "bootflash:packages.conf"
    boot: tuple[str, ...] = ("bootflash:packages.conf",)
    config_register: str = "0x102"
    rom_monitor: str = "17.12.1r"
    packages: tuple[Package, ...] | None = None
    flash_total: int = 26_458_804_224
    flash_free: int = 19_503_411_200
    files: tuple[File, ...] = ()
    link_interface: str = "GigabitEthernet3"
    priority: int = 1
    uptime: str | None = None
    reload: tuple[str, str] | None = None
    peer_mac: str | None = None
    synchronised: bool = True
    clock_ahead: float = 0
    memory_used: int = 42
    cores: tuple[Core, ...] = ()
    refuses: frozenset[str] = frozenset()
    reachable: bool = True

    @property
    def virtual(self) -> bool:
        """Whether it is a virtual machine."""
        return self.model == "WX-VC"

    @property
    def padded(self) -> str:
        """The release as headlines print it: 17.09.04a."""
        major, minor, maintenance = self.release.split(".")
        digits = maintenance.rstrip("abcdefghijklmnopqrstuvwxyz")
        return f"{major}.{int(minor):02d}.{int(digits):02d}{maintenance[len(digits) :]}"

    @property
    def installed(self) -> tuple[Package, ...]:
        """The rows of its own block of `show install summary`."""
        if self.packages is not None:
            return self.packages
        return (Package("IMG", "C", f"{self.padded}.{self.build}"),)


@dataclass(frozen=True)
class Dress:
    """How a member's outputs are printed, where trains and terminals differ and the meaning doesn't.

    `syslog` maps a command to lines that break in, each with the number of the line that it follows.
    `scopes` is how `show install summary` names what it is about: `[ Chassis 1 2 ]`, `[ Chassis 1/R0 2/R0 ]`, `[ R0 ]`.
    """

    load_line: bool = False
    time_line: bool = False
    carriage_returns: bool = False
    doubled_blanks: bool = False
    indented: bool = False
    trailing_blanks: bool = False
    hardware_version: bool = True
    manual_boot_line: bool = True
    wrapped_image: bool = False
    spelled_mode: bool = False
    scopes: Literal["chassis", "slots", "R0"] = "chassis"
    timer: Literal["once", "each", "never"] = "each"
    system_checks: bool = False
    access_point_columns: Literal["address first", "country first"] = "address first"
    heading_every: int = 0
    quoted_variables: bool = False
    tight_variables: bool = False
    processor_layout: Literal["tables", "tables of both", "blocks"] = "tables"
    syslog: Mapping[str, tuple[tuple[int, str], ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class PairDescription:
    """A pair: its two members in the inventory's order, what is between them, and what is planned.

    `active` is the index of the active member. `peer_lost` says that the active one has no peer any more.
    `mismatched`, `best_effort`, `parser_return` and `ignored` are the offending lines of the four lists.
    `upgrade` holds the lines of an in-service upgrade in progress, where there is one. `auto_abort` is the time left
    on the rollback timer, where it runs. `split` says that both members claim to be active and see no peer.
    `history` lists the switchovers, `certificate` when the one that access points join with begins and ends, `changed`
    and `saved` when the configuration was. The controllers' clocks show the time `asked` in their `zone`: CET or UTC
    all year, or an IANA zone.
    """

    name: str
    site: str
    members: tuple[Controller, Controller]
    active: int = 0
    standby_state: str = "STANDBY HOT"
    operating_mode: str = "sso"
    peer_lost: bool = False
    split: bool = False
    switchovers: int = 0
    last_switchover_reason: str = "none"
    history: tuple[Switchover, ...] = ()
    standby_failures: int = 0
    state_uptime: str | None = None
    auto_abort: str | None = None
    upgrade: tuple[str, ...] = ()
    mismatched: tuple[str, ...] = ()
    best_effort: tuple[str, ...] = ()
    parser_return: tuple[str, ...] = ()
    ignored: tuple[str, ...] = ()
    standby_boot_told: bool = True
    access_points: tuple[AccessPoint, ...] = ()
    uptime: str = "31 weeks, 2 days, 4 hours, 12 minutes"
    reload: tuple[str, str] = ("Reload Command", "17:48:07 CET Wed Jul 1 2026")
    certificate: tuple[datetime, datetime] = _CERTIFICATE
    changed: datetime = _CHANGED
    saved: datetime = _SAVED
    asked: datetime = _ASKED
    zone: str = "CET"
    dress: Dress = field(default_factory=Dress)
    standby_dress: Dress | None = None
    target_release: str = "17.12.4"
    image_file: str = "wx-universal.17.12.04.bin"
    image_bytes: int = 1_250_000_000
    window: str = "2027-02-06T23:00:00+01:00"
    window_minutes: int = 240

    def dress_of(self, member: Controller) -> Dress:
        """How this member's outputs are printed."""
        if self.is_active(member) or self.standby_dress is None:
            return self.dress
        return self.standby_dress

    def is_active(self, member: Controller) -> bool:
        """Whether this member is the active one."""
        return self.members[self.active].name == member.name

    def number(self, member: Controller) -> int:
        """The member's chassis number: its place in the inventory."""
        return 1 if self.members[0].name == member.name else 2

    def seen_by(self, member: Controller) -> PairDescription:
        """The pair as this member takes it to be: where it is split, each is active, alone with its access points."""
        if not self.split:
            return self
        place = self.number(member) - 1
        own = self.access_points[place::2]
        return replace(self, split=False, active=place, peer_lost=True, access_points=own)

    @property
    def active_member(self) -> Controller:
        """The active member."""
        return self.members[self.active]

    @property
    def standby_member(self) -> Controller:
        """The other one."""
        return self.members[1 - self.active]
