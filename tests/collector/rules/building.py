"""Builds snapshots from fabricated facts: a healthy pair, of which a test changes one thing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from collector.capture import Capture, Ending
from collector.demo import EVENING
from collector.finding import Evidence
from collector.snapshot import MemberSnapshot, Reading, Snapshot
from inventory.pairs import Image, Member, Pair, Window
from inventory.policy import Policy
from parsers.facts.access_points import AccessPoint, ApImage, ApImageRow, ApSummary
from parsers.facts.certificates import Certificate, Certificates, Trustpoint
from parsers.facts.clock import Clock, NtpStatus
from parsers.facts.core import Facts
from parsers.facts.flash import Directory, File
from parsers.facts.history import ConfigurationTime, SwitchoverHistory
from parsers.facts.joining import JoinRecord, JoinSummary
from parsers.facts.redundancy import Chassis, ChassisMember, ConfigSync, Processor, Redundancy
from parsers.facts.resources import ControlProcessor, ControlProcessors, PlatformResources, ProcessorCore, Resource
from parsers.facts.software import Boot, RomMonitorVersion, RomVariables, Version
from parsers.facts.upgrade import InstallSummary, IssuState, Package, Scope

IMAGE = Image("wx-universal.17.12.04.bin", 1_250_000_000)


@dataclass(frozen=True)
class Lost:
    """Stands where facts would: the capture ended so, and this is the reading's problem."""

    ending: Ending = Ending.COMPLETE
    problem: str = "it isn't an answer to the command"
    refused: bool = False


REFUSED = Lost(problem="the controller refused it: % Invalid input detected at '^' marker.", refused=True)
CUT_OFF = Lost(Ending.CUT_OFF, "the answer was cut off")
UNREADABLE = Lost()
MISSING = Lost(Ending.MISSING, "there is no capture of it")

Answers = Mapping[str, Facts | Lost]


def healthy(number: int = 1) -> dict[str, Facts | Lost]:
    """What a healthy physical member says; number 1 is the active one, 2 the standby."""
    roles = ("ACTIVE", "STANDBY HOT")
    boot = ("bootflash:packages.conf",)
    this, peer = (Processor(location=f"slot {n}", state=roles[n - 1], release="17.9.4a", boot=boot) for n in (1, 2))
    if number == 2:
        this, peer = peer, this
    rows = tuple(
        ChassisMember(
            number=n,
            role=("Active", "Standby")[n - 1],
            state="Ready",
            mac=f"0200.5e00.530{n}",
            priority=2,
            hw_version="V02",
            ip=f"198.51.100.{n}",
            rmi_ip=f"192.0.2.{n}",
            is_local=n == number,
            at=4 + n,
        )
        for n in (1, 2)
    )
    directory = Directory(
        bytes_total=26_458_804_224,
        bytes_free=19_503_411_200,
        files=(
            File(name="packages.conf", bytes=6_723, at=2),
            File(name=IMAGE.file, bytes=IMAGE.bytes, modified=datetime(2027, 2, 4, 10, 0), at=3),
        ),
        at={"bytes_total": (9,), "bytes_free": (9,)},
    )
    empty = ConfigSync(empty=True, at={"empty": (3,)})
    answers: dict[str, Facts | Lost] = {
        "show version": Version(
            release="17.9.4a",
            install_mode="install",
            model="WX-9840",
            image_file="bootflash:packages.conf",
            uptime_seconds=90 * 86_400,
            last_reload_reason="Image Install",
            at={
                "release": (1,),
                "install_mode": (2,),
                "model": (3,),
                "image_file": (4,),
                "uptime_seconds": (5,),
                "last_reload_reason": (6,),
            },
        ),
        "show boot": Boot(
            boot=boot,
            peer_boot=boot if number == 1 else None,
            config_register="0x102",
            peer_config_register="0x102" if number == 1 else None,
            manual_boot=False,
            at={
                "boot": (1,),
                "config_register": (3,),
                "manual_boot": (4,),
                **({"peer_boot": (5,), "peer_config_register": (7,)} if number == 1 else {}),
            },
        ),
        "show rom-monitor chassis active R0": RomMonitorVersion(version="17.12.1r", at={"version": (1,)}),
        "show rom-monitor chassis standby R0": RomMonitorVersion(version="17.12.1r", at={"version": (1,)}),
        "dir bootflash:": directory,
        "dir stby-bootflash:": directory if number == 1 else REFUSED,
        "show chassis rmi": Chassis(members=rows, at={"members": (5, 6)}),
        "show redundancy": Redundancy(
            hardware_mode="Duplex",
            configured_mode="sso",
            operating_mode="sso",
            communications="up",
            switchovers=0,
            standby_failures=0,
            this=this,
            peer=peer,
            at={
                "hardware_mode": (5,),
                "configured_mode": (6,),
                "operating_mode": (7,),
                "communications": (8,),
                "switchovers": (9,),
                "standby_failures": (10,),
                "this.state": (11,),
                "this.release": (12,),
                "this.boot": (13,),
                "peer.state": (21,),
                "peer.release": (22,),
                "peer.boot": (23,),
            },
        ),
        "show romvar": RomVariables(variables={"SWITCH_NUMBER": str(number)}),
        "show install summary": InstallSummary(
            scopes=(
                Scope(
                    locations=("1", "2"), packages=(Package(type="IMG", state="C", name="17.09.04a.0.6", at=6),), at=1
                ),
            ),
            auto_abort="inactive",
            at={"auto_abort": (8,)},
        ),
        "show issu state detail": IssuState(in_progress=False, at={"in_progress": (2,)}),
    }
    for what in ("failures mcl", "failures bem", "failures prc", "ignored failures mcl"):
        answers[f"show redundancy config-sync {what}"] = empty
    return {**answers, **_access_points(number), **_processors(), **_clock(), **_certificates(), **_past(number)}


def _access_points(number: int) -> dict[str, Facts | Lost]:
    """Three access points that hold the target image, told by the active one alone."""
    commands = ("show ap summary", "show wireless stats ap join summary", "show ap image")
    if number == 2:
        return dict.fromkeys(commands, REFUSED)
    addresses = [(f"0200.5e10.000{n}", f"0200.5e80.00{n}0") for n in (1, 2, 3)]
    aps = tuple(
        AccessPoint(
            name=f"quay-hall-0{n}",
            model="WX-AP20",
            ethernet_mac=ethernet,
            radio_mac=radio,
            location="Hall",
            state="Registered",
            at=4 + n,
        )
        for n, (ethernet, radio) in enumerate(addresses, 1)
    )
    records = tuple(
        JoinRecord(base_mac=radio, ethernet_mac=ethernet, name=f"quay-hall-0{n}", status="Joined", at=4 + n)
        for n, (ethernet, radio) in enumerate(addresses, 1)
    )
    images = tuple(
        ApImageRow(
            name=f"quay-hall-0{n}",
            primary="17.9.4.27",
            backup="17.12.4.22",
            status="Complete",
            version="17.12.4.22",
            at=14 + n,
        )
        for n in (1, 2, 3)
    )
    summary, joins, image = commands
    return {
        summary: ApSummary(count=3, aps=aps, at={"count": (1,), "aps": (5, 6, 7)}),
        joins: JoinSummary(count=3, aps=records, at={"count": (1,), "aps": (5, 6, 7)}),
        image: ApImage(total=3, aps=images, at={"total": (1,), "aps": (15, 16, 17)}),
    }


def _processors() -> dict[str, Facts | Lost]:
    processor = ControlProcessor(
        slot="RP0",
        status="Healthy",
        load_1_minute=0.24,
        load_5_minutes=0.31,
        load_15_minutes=0.29,
        memory_status="Healthy",
        memory_used_percent=42,
        memory_committed_percent=43,
        at=(3, 7),
    )
    cores = tuple(ProcessorCore(slot="RP0", number=n, idle_percent=97.6, at=11 + n) for n in (0, 1))
    rows = (("Control Processor", 3.5, 5), ("DRAM", 42.0, 6))
    return {
        "show platform software status control-processor brief": ControlProcessors(
            processors=(processor,), cores=cores
        ),
        "show platform resources": PlatformResources(
            resources=tuple(
                Resource(component="RP0 (ok, active)", name=name, usage_percent=usage, state="H", at=at)
                for name, usage, at in rows
            )
        ),
    }


def _clock() -> dict[str, Facts | Lost]:
    return {
        "show ntp status": NtpStatus(synchronised=True, stratum=3, at={"synchronised": (1,), "stratum": (1,)}),
        "show clock": Clock(
            time=EVENING.replace(tzinfo=None), zone="CET", mark="", at={"time": (1,), "zone": (1,), "mark": (1,)}
        ),
    }


def _past(number: int) -> dict[str, Facts | Lost]:
    """No switchover and no crash since it came up, and the configuration saved after its last change."""
    changed, saved = (
        f"show running-config | include {what}" for what in ("Last configuration change", "NVRAM config last updated")
    )
    noon = datetime(2027, 1, 28, 12, 0)
    no_files = Directory(bytes_total=26_458_804_224, bytes_free=19_503_411_200, files=(), at={"bytes_free": (9,)})
    return {
        "show redundancy switchover history": SwitchoverHistory(at={"switchovers": (1, 2, 3)}),
        changed: ConfigurationTime(time=noon, zone="CET", by="ops", at={"time": (1,), "zone": (1,), "by": (1,)}),
        saved: ConfigurationTime(
            time=noon + timedelta(minutes=1), zone="CET", by="ops", at={"time": (1,), "zone": (1,), "by": (1,)}
        ),
        "dir bootflash:core": no_files,
        "dir stby-bootflash:core": no_files if number == 1 else REFUSED,
    }


def _certificates() -> dict[str, Facts | Lost]:
    own = Certificate(
        kind="certificate",
        status="Available",
        serial="02",
        subject="cn=quay_join",
        issuer="cn=CA-quay",
        start=datetime(2024, 1, 5, 22, 0),
        end=datetime(2034, 1, 4, 22, 0),
        trustpoints=("quay_join",),
        at=(1, 2, 3),
    )
    return {
        "show wireless management trustpoint": Trustpoint(
            name="quay_join",
            certificate_available=True,
            certificate_type="SSC",
            private_key_available=True,
            at={"name": (1,), "certificate_available": (2,), "private_key_available": (5,)},
        ),
        "show crypto pki certificates": Certificates(certificates=(own,)),
    }


def changed(answers: Answers, **by_command: Facts | Lost) -> dict[str, Facts | Lost]:
    """The answers with some replaced, named as keywords with `_` for the blanks: `show_version=…`.

    For commands with other characters write `{**healthy(), "dir bootflash:": …}`.
    """
    return {**answers, **{name.replace("_", " "): value for name, value in by_command.items()}}


def member(name: str, answers: Answers) -> MemberSnapshot:
    """A member's snapshot; every reading has sixty printed lines, `<member> <command> line <n>`.

    Every capture was taken on the demo's evening, within a tenth of a second.
    """
    captures: dict[str, Capture] = {}
    readings: dict[str, Reading[Facts]] = {}
    for command, said in answers.items():
        ending = said.ending if isinstance(said, Lost) else Ending.COMPLETE
        printed = () if ending is Ending.MISSING else tuple(f"{name} {command} line {n}" for n in range(1, 61))
        captures[command] = Capture(name, command, "\n".join(printed), ending, started=EVENING, seconds=0.1)
        if isinstance(said, Lost):
            readings[command] = Reading(name, command, None, said.problem, printed, said.refused)
        else:
            readings[command] = Reading(name, command, said, "", printed)
    return MemberSnapshot(name, captures, readings)


def unreached() -> dict[str, Facts | Lost]:
    """What is known of a member that couldn't be reached: every capture is missing, for one reason."""
    return {command: Lost(Ending.MISSING, "it couldn't be reached: no answer") for command in healthy()}


def snapshot(
    a: Answers | None = None,
    b: Answers | None = None,
    *,
    target: str = "17.12.4",
    image: Image | None = IMAGE,
    moment: datetime = EVENING,
    window: Window | None = None,
) -> Snapshot:
    """The pair quay: quay-a says `a` (default: a healthy active), quay-b says `b` (default: a healthy standby)."""
    members = (Member("quay-a", "192.0.2.11", 22), Member("quay-b", "192.0.2.12", 22))
    pair = Pair("quay", "Harbour Quay", members, target, image, window)
    return Snapshot(
        pair,
        (
            member("quay-a", healthy(1) if a is None else a),
            member("quay-b", healthy(2) if b is None else b),
        ),
        moment,
    )


def policy(**changes: Any) -> Policy:
    """The policy that the healthy pair satisfies, with some keys replaced."""
    data: dict[str, Any] = {
        "hardware": {
            "WX-9840": {"kind": "physical", "in_service_upgrade": True, "rom_monitor_minimum": "16.12(3r)"},
            "WX-9880": {"kind": "physical", "in_service_upgrade": True},
            "WX-9100": {"kind": "physical", "in_service_upgrade": False},
            "WX-VC": {"kind": "virtual", "in_service_upgrade": True},
        },
        "trains": {
            "17.3": {"long_lived": True},
            "17.6": {"long_lived": True},
            "17.9": {"long_lived": True},
            "17.12": {"long_lived": True},
            "17.13": {"long_lived": False},
        },
        "minimum_release": "17.3.1",
        "recommended_release": "17.12.4",
        "upgrade_paths": [{"from": "17.9", "to": "17.12", "direct": True}],
        "images_to_hold": 3,
        "access_points": {"WX-AP20": {"first_release": "17.3.1"}},
    }
    return Policy.model_validate({**data, **changes})


def told(evidence: tuple[Evidence, ...]) -> dict[tuple[str, str], tuple[int, ...]]:
    """The evidence as a mapping from member and command to line numbers."""
    return {(item.member, item.command): item.numbers for item in evidence}
