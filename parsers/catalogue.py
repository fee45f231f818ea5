"""The catalogue: every command that may be sent, its template and its facts type. It is the session's allow-list."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Literal

from parsers.facts.access_points import ApImage, ApSummary
from parsers.facts.certificates import Certificates, Trustpoint
from parsers.facts.clock import Clock, NtpStatus
from parsers.facts.core import Facts
from parsers.facts.flash import CoreDirectory, Directory, StandbyCoreDirectory, StandbyDirectory
from parsers.facts.history import ConfigurationTime, SwitchoverHistory
from parsers.facts.joining import JoinSummary
from parsers.facts.neighbours import ApLoad, ApNeighbours
from parsers.facts.redundancy import Chassis, ConfigSync, Redundancy
from parsers.facts.resources import ControlProcessors, PlatformResources
from parsers.facts.software import Boot, RomMonitorVersion, RomVariables, Version
from parsers.facts.upgrade import InstallSummary, IssuState
from parsers.facts.wireless import RadioSummary, WirelessSummary, WlanSummary

Purpose = Literal["plan", "compare", "watch"]
"""What else than a sweep asks commands: the plan of a window, the comparison after it, and the watching of it."""


@dataclass(frozen=True)
class Command:
    """One command: its text, the template that reads it, its facts type, and how long it may take (seconds).

    `asked` is False for a form that the parser reads but a sweep doesn't send. `needed_by` names what else than a sweep
    needs it: a command that has some, and isn't `asked` by a sweep, is deep: no rule rests on its answer. What a
    `momentary` one tells of a controller is over as soon as that stops answering. Those that are asked `again` are so
    after a session was lost: who answers then may have been reloaded meanwhile.
    """

    text: str
    template: str
    facts: type[Facts]
    seconds: float = 30.0
    asked: bool = True
    needed_by: frozenset[Purpose] = field(default_factory=frozenset)
    momentary: bool = False
    again: bool = False

    @property
    def deep(self) -> bool:
        """Whether it is only sent where something else than a sweep needs it."""
        return bool(self.needed_by) and not self.asked

    @property
    def sent(self) -> bool:
        """Whether a session may send it at all."""
        return self.asked or bool(self.needed_by)

    @property
    def slug(self) -> str:
        """The name of the command's file among recorded captures, without its ending."""
        return slug(self.text)


def slug(command: str) -> str:
    """The command in lower case, every run of other characters than letters and digits turned into one `_`."""
    return re.sub(r"[^a-z0-9]+", "_", command.lower()).strip("_")


_PLAN: frozenset[Purpose] = frozenset({"plan"})
_COMPARE: frozenset[Purpose] = frozenset({"compare"})
_WATCH: frozenset[Purpose] = frozenset({"watch"})

COMMANDS: tuple[Command, ...] = (
    Command("show version", "version", Version, needed_by=_WATCH, again=True),
    Command("show boot", "boot", Boot),
    Command("show rom-monitor chassis active R0", "rom_monitor", RomMonitorVersion),
    Command("show rom-monitor chassis standby R0", "rom_monitor", RomMonitorVersion),
    Command("dir bootflash:", "directory", Directory, seconds=60),
    Command("dir bootflash: | include free", "directory", Directory, asked=False),
    Command("dir stby-bootflash:", "directory", StandbyDirectory, seconds=60),
    Command("dir stby-bootflash: | include free", "directory", StandbyDirectory, asked=False),
    Command("show chassis rmi", "chassis", Chassis, needed_by=_WATCH, momentary=True, again=True),
    Command("show chassis", "chassis", Chassis, asked=False),
    Command("show redundancy", "redundancy", Redundancy, needed_by=_WATCH, momentary=True, again=True),
    Command("show romvar", "rom_variables", RomVariables),
    Command("show install summary", "install_summary", InstallSummary, needed_by=_WATCH),
    Command("show issu state detail", "issu_state", IssuState, needed_by=_WATCH),
    Command("show redundancy config-sync failures mcl", "config_sync", ConfigSync, needed_by=_WATCH),
    Command("show redundancy config-sync failures bem", "config_sync", ConfigSync),
    Command("show redundancy config-sync failures prc", "config_sync", ConfigSync),
    Command("show redundancy config-sync ignored failures mcl", "config_sync", ConfigSync),
    Command("show ap summary", "ap_summary", ApSummary, seconds=120, needed_by=_WATCH),
    Command("show ap image", "ap_image", ApImage, seconds=120),
    Command("show redundancy switchover history", "switchover_history", SwitchoverHistory, needed_by=_WATCH),
    Command("show wireless stats ap join summary", "join_summary", JoinSummary, seconds=120),
    Command("show platform software status control-processor brief", "control_processors", ControlProcessors),
    Command("show platform resources", "platform_resources", PlatformResources),
    Command("dir bootflash:core", "directory", CoreDirectory, seconds=60),
    Command("dir stby-bootflash:core", "directory", StandbyCoreDirectory, seconds=60),
    Command("show ntp status", "ntp_status", NtpStatus),
    Command("show clock", "clock", Clock, needed_by=_WATCH),
    Command("show wireless management trustpoint", "trustpoint", Trustpoint),
    Command("show crypto pki certificates", "certificates", Certificates),
    Command(
        "show running-config | include Last configuration change",
        "configuration_changed",
        ConfigurationTime,
        seconds=60,
    ),
    Command(
        "show running-config | include NVRAM config last updated", "configuration_saved", ConfigurationTime, seconds=60
    ),
    Command("show ap neighbor summary", "ap_neighbours", ApNeighbours, seconds=300, asked=False, needed_by=_PLAN),
    Command("show ap dot11 5ghz load-info", "ap_load", ApLoad, seconds=120, asked=False, needed_by=_PLAN | _COMPARE),
    Command("show ap dot11 24ghz load-info", "ap_load", ApLoad, seconds=120, asked=False, needed_by=_PLAN | _COMPARE),
    Command("show wireless summary", "wireless_summary", WirelessSummary, asked=False, needed_by=_COMPARE | _WATCH),
    Command("show wlan summary", "wlan_summary", WlanSummary, asked=False, needed_by=_COMPARE),
    Command("show ap dot11 5ghz summary", "radio_summary", RadioSummary, 120, asked=False, needed_by=_COMPARE),
    Command("show ap dot11 24ghz summary", "radio_summary", RadioSummary, 120, asked=False, needed_by=_COMPARE),
)

_BY_TEXT = {command.text.lower(): command for command in COMMANDS}


def find(text: str) -> Command | None:
    """The catalogue's row for a command, whatever its case and spacing; None where there is none."""
    return _BY_TEXT.get(" ".join(text.split()).lower())


def asked() -> tuple[Command, ...]:
    """The commands that a sweep sends, in the order in which it sends them."""
    return tuple(command for command in COMMANDS if command.asked)


def deep() -> tuple[Command, ...]:
    """The commands that no sweep sends but something else does, in the order in which they are sent."""
    return tuple(command for command in COMMANDS if command.deep)


def momentary() -> tuple[Command, ...]:
    """The commands whose answers say nothing any more of a controller that has stopped answering."""
    return tuple(command for command in COMMANDS if command.momentary)


def again() -> tuple[Command, ...]:
    """The commands that are asked once more after a session was lost, in the order in which they are sent."""
    return tuple(command for command in COMMANDS if command.again)


def needed_by(purpose: Purpose) -> tuple[Command, ...]:
    """What a purpose needs, in the order in which it is sent: a plan and a comparison also need all of a sweep's."""
    whole = purpose != "watch"
    return tuple(command for command in COMMANDS if purpose in command.needed_by or (whole and command.asked))
