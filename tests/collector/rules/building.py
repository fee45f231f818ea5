"""Builds snapshots from fabricated facts: a healthy pair, of which a test changes one thing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from collector.capture import Capture, Ending
from collector.demo import EVENING
from collector.finding import Evidence
from collector.snapshot import MemberSnapshot, Reading, Snapshot
from inventory.pairs import Image, Member, Pair
from inventory.policy import Policy
from parsers.facts.core import Facts
from parsers.facts.flash import Directory, File
from parsers.facts.redundancy import Chassis, ChassisMember, ConfigSync, Processor, Redundancy
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
        files=(File(name="packages.conf", bytes=6_723, at=2),),
        at={"bytes_total": (9,), "bytes_free": (9,)},
    )
    empty = ConfigSync(empty=True, at={"empty": (3,)})
    answers: dict[str, Facts | Lost] = {
        "show version": Version(
            release="17.9.4a",
            install_mode="install",
            model="WX-9840",
            image_file="bootflash:packages.conf",
            at={"release": (1,), "install_mode": (2,), "model": (3,), "image_file": (4,)},
        ),
        "show boot": Boot(
            boot=boot,
            peer_boot=boot if number == 1 else None,
            config_register="0x102",
            manual_boot=False,
            at={"boot": (1,), "manual_boot": (4,), **({"peer_boot": (5,)} if number == 1 else {})},
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
    return answers


def changed(answers: Answers, **by_command: Facts | Lost) -> dict[str, Facts | Lost]:
    """The answers with some replaced, named as keywords with `_` for the blanks: `show_version=…`.

    For commands with other characters write `{**healthy(), "dir bootflash:": …}`.
    """
    return {**answers, **{name.replace("_", " "): value for name, value in by_command.items()}}


def member(name: str, answers: Answers) -> MemberSnapshot:
    """A member's snapshot; every reading has sixty printed lines, `<member> <command> line <n>`."""
    captures: dict[str, Capture] = {}
    readings: dict[str, Reading[Facts]] = {}
    for command, said in answers.items():
        ending = said.ending if isinstance(said, Lost) else Ending.COMPLETE
        printed = () if ending is Ending.MISSING else tuple(f"{name} {command} line {n}" for n in range(1, 61))
        captures[command] = Capture(name, command, "\n".join(printed), ending)
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
) -> Snapshot:
    """The pair quay: quay-a says `a` (default: a healthy active), quay-b says `b` (default: a healthy standby)."""
    members = (Member("quay-a", "192.0.2.11", 22), Member("quay-b", "192.0.2.12", 22))
    pair = Pair("quay", "Harbour Quay", members, target, image)
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
    }
    return Policy.model_validate({**data, **changes})


def told(evidence: tuple[Evidence, ...]) -> dict[tuple[str, str], tuple[int, ...]]:
    """The evidence as a mapping from member and command to line numbers."""
    return {(item.member, item.command): item.numbers for item in evidence}
