"""A pair's state of one night: what its captures tell of the facts that drift looks at, and how the store keeps it.

Nothing that moves by itself is in it: no uptime, no free bytes, no counters, no times. What wasn't known for certain
is None, so that the loss of a capture makes a fact unknown and never another one. A member's facts are from its own
session; its partner's word stands in only where the member refused the command or wasn't reached at all, as in
collector/rules/witnesses.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, TypeVar

from collector.finding import Finding, Status, Verdict
from collector.nights.night import CertificateEnd, MemberState, PairState, RuleState
from collector.result import PairResult
from collector.rules.ap_tables import lost, roles_are_certain
from collector.rules.certificates import joined_with
from collector.rules.install_state import controllers_of, file_of, numbers_of
from collector.rules.roles import Role, role, told_role, with_role
from collector.snapshot import MemberSnapshot, Reading, Snapshot
from parsers.facts.access_points import ApSummary
from parsers.facts.certificates import Certificate
from parsers.facts.core import Facts
from parsers.facts.redundancy import Chassis, ChassisMember, Redundancy
from parsers.facts.software import Boot, RomMonitorVersion, Version
from parsers.facts.upgrade import InstallSummary

F = TypeVar("F", bound=Facts)
V = TypeVar("V")

_IN_ORDER = ("ACTIVE", "STANDBY HOT")
_SEVERAL = ("packages", "boot", "neighbours")


def pair_state(snapshot: Snapshot, result: PairResult) -> PairState:
    """What drift compares of a judged pair."""
    return PairState(
        verdict=result.verdict,
        target_release=result.target_release,
        rules={finding.rule: _rule_state(finding) for finding in sorted(result.findings, key=lambda each: each.rule)},
        members={member.name: member_state(snapshot, member) for member in snapshot.members},
    )


def member_state(snapshot: Snapshot, member: MemberSnapshot) -> MemberState:
    """One member's facts, as far as they are known for certain."""
    certain = told_role(snapshot, member) if roles_are_certain(snapshot) else None
    version = member.read("show version", Version)
    return MemberState(
        reached=member.reached,
        role=certain,
        release=_release(snapshot, member, version),
        install_mode=version.facts.install_mode if version.facts is not None else None,
        packages=_packages(snapshot, member),
        boot=_boot(snapshot, member),
        rom_monitor=_rom_monitor(snapshot, member),
        neighbours=_neighbours(member),
        certificates=_certificates(member),
    )


def ap_names(snapshot: Snapshot) -> tuple[str, ...] | None:
    """The names of the pair's access points, sorted, each once; None where they aren't all known for certain.

    They are known where it is certain who is active, and its table of access points was read to its end.
    """
    active = with_role(snapshot, "active")
    if active is None or not roles_are_certain(snapshot):
        return None
    reading = active.read("show ap summary", ApSummary)
    if reading.facts is None or lost(active, reading, "access points"):
        return None
    if reading.facts.count is None and not reading.whole:
        return None
    return tuple(sorted({ap.name for ap in reading.facts.aps}))


def plain(state: PairState) -> dict[str, Any]:
    """The state as JSON-ready data in one order: equal states give equal data. What isn't known is left out."""
    return {
        "members": {name: _plain_member(state.members[name]) for name in sorted(state.members)},
        "rules": {id: _plain_rule(state.rules[id]) for id in sorted(state.rules)},
        "target_release": state.target_release,
        "verdict": state.verdict.value,
    }


def restored(data: Mapping[str, Any]) -> PairState:
    """The state that `plain` gave.

    Keys that this version doesn't know are passed over: a later one may keep more facts, and those that both know are
    comparable. A verdict or a status that it doesn't know raises ValueError, since nothing could stand for it.
    """
    return PairState(
        verdict=Verdict(data["verdict"]),
        target_release=data["target_release"],
        rules={id: _restored_rule(rule) for id, rule in data["rules"].items()},
        members={name: _restored_member(member) for name, member in data["members"].items()},
    )


def _rule_state(finding: Finding) -> RuleState:
    return RuleState(finding.status, finding.decides, waived=finding.waiver is not None)


def _heard(
    member: MemberSnapshot, reading: Reading[F], value: Callable[[F], V | None], partners: Callable[[], V | None]
) -> V | None:
    """The member's own word, and its partner's where the member couldn't say it."""
    if reading.facts is not None:
        return value(reading.facts)
    return partners() if reading.refused or not member.reached else None


def _release(snapshot: Snapshot, member: MemberSnapshot, version: Reading[Version]) -> str | None:
    def told() -> str | None:
        redundancy = snapshot.other(member).read("show redundancy", Redundancy).facts
        return redundancy.peer.release if redundancy is not None and redundancy.peer is not None else None

    return _heard(member, version, lambda facts: facts.release, told)


def _packages(snapshot: Snapshot, member: MemberSnapshot) -> tuple[str, ...] | None:
    numbers = numbers_of(snapshot)

    def by(speaker: MemberSnapshot) -> tuple[str, ...] | None:
        reading = speaker.read("show install summary", InstallSummary)
        # Without the timer behind it or the session's own word, nobody knows that the list is whole.
        if reading.facts is None or (reading.facts.auto_abort is None and not reading.whole):
            return None
        scopes = [
            scope for scope in reading.facts.scopes if member.name in controllers_of(scope, speaker.name, numbers)
        ]
        rows = {f"{row.type} {row.state} {file_of(row.name)}" for scope in scopes for row in scope.packages}
        return tuple(sorted(rows)) if scopes else None

    own = member.read("show install summary", InstallSummary)
    return _heard(member, own, lambda _: by(member), lambda: by(snapshot.other(member)))


def _boot(snapshot: Snapshot, member: MemberSnapshot) -> tuple[str, ...] | None:
    def told() -> tuple[str, ...] | None:
        partner = snapshot.other(member)
        boot = partner.read("show boot", Boot)
        if boot.facts is None and not boot.refused:
            return None
        shown = boot.facts.peer_boot if boot.facts is not None and role(snapshot, partner) != "standby" else None
        redundancy = partner.read("show redundancy", Redundancy).facts
        peer = redundancy.peer.boot if redundancy is not None and redundancy.peer is not None else None
        # An empty list there is what is printed of a processor that isn't ready: it says nothing.
        return shown or peer or None

    entries = _heard(member, member.read("show boot", Boot), lambda facts: facts.boot, told)
    return None if entries is None else tuple(re.sub(r"^flash:/?", "bootflash:", entry.strip()) for entry in entries)


def _rom_monitor(snapshot: Snapshot, member: MemberSnapshot) -> str | None:
    chassis: Role | None = role(snapshot, member) if roles_are_certain(snapshot) else None
    if chassis is None:
        return None
    command = f"show rom-monitor chassis {chassis} R0"

    def told() -> str | None:
        facts = snapshot.other(member).read(command, RomMonitorVersion).facts
        return facts.version if facts is not None else None

    return _heard(member, member.read(command, RomMonitorVersion), lambda facts: facts.version, told)


def _neighbours(member: MemberSnapshot) -> tuple[str, ...] | None:
    """What the member sees over the redundancy link, without roles, which a switchover moves; None where it isn't all.

    While communications are down there is nothing to see but that, whatever the tables still show of a lost peer.
    """
    redundancy = member.read("show redundancy", Redundancy).facts
    if redundancy is None or redundancy.communications is None:
        return None
    if redundancy.communications == "down":
        return ("communications down",)
    peer = " ".join((redundancy.peer.state or "").upper().split()) if redundancy.peer is not None else ""
    table = member.read("show chassis rmi", Chassis).facts
    rows = table.members if table is not None else ()
    if not peer or len(rows) != 2 or sum(row.is_local for row in rows) != 1:
        return None
    seen = "communications up" if peer in _IN_ORDER else f"communications up, peer {peer}"
    return tuple(sorted((seen, *map(_chassis, rows))))


def _chassis(row: ChassisMember) -> str:
    addresses = [row.ip] if row.ip else []
    rmi = [f"RMI {row.rmi_ip}"] if row.rmi_ip else []
    return ", ".join((f"chassis {row.number} {row.mac}", *addresses, *rmi, row.state))


def _certificates(member: MemberSnapshot) -> tuple[CertificateEnd, ...] | None:
    held = [certificate for _, certificate in joined_with(member)]
    ends = {CertificateEnd(_label(each), each.end) for each in held if each.end is not None}
    if not held or any(each.end is None for each in held):
        return None
    return tuple(sorted(ends, key=lambda each: (each.label, each.end)))


def _label(certificate: Certificate) -> str:
    serial = f" (serial {certificate.serial.strip()})" if certificate.serial else ""
    return f"{', '.join(sorted(certificate.trustpoints))}{serial}"


def _plain_rule(rule: RuleState) -> dict[str, Any]:
    return {"decides": rule.decides, "status": rule.status.value, "waived": rule.waived}


def _restored_rule(data: Mapping[str, Any]) -> RuleState:
    return RuleState(Status(data["status"]), data["decides"], data["waived"])


def _plain_member(member: MemberState) -> dict[str, Any]:
    known: dict[str, Any] = {
        "boot": _list(member.boot),
        "certificates": _ends(member.certificates),
        "install_mode": member.install_mode,
        "neighbours": _list(member.neighbours),
        "packages": _list(member.packages),
        "reached": member.reached,
        "release": member.release,
        "role": member.role,
        "rom_monitor": member.rom_monitor,
    }
    return {key: value for key, value in known.items() if value is not None}


def _list(texts: tuple[str, ...] | None) -> list[str] | None:
    return None if texts is None else list(texts)


def _ends(certificates: tuple[CertificateEnd, ...] | None) -> list[dict[str, str]] | None:
    if certificates is None:
        return None
    return [{"end": each.end.isoformat(), "label": each.label} for each in certificates]


def _restored_member(data: Mapping[str, Any]) -> MemberState:
    several = {key: tuple(data[key]) if key in data else None for key in _SEVERAL}
    ends = data.get("certificates")
    return MemberState(
        reached=data.get("reached", True),
        role=data.get("role"),
        release=data.get("release"),
        install_mode=data.get("install_mode"),
        packages=several["packages"],
        boot=several["boot"],
        rom_monitor=data.get("rom_monitor"),
        neighbours=several["neighbours"],
        certificates=None
        if ends is None
        else tuple(CertificateEnd(each["label"], datetime.fromisoformat(each["end"])) for each in ends),
    )
