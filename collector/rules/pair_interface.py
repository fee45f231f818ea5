"""pair-interface: do both virtual controllers use the same redundancy interface?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from collector.finding import Answer, Evidence, Status
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.sessions import lack, unknown
from collector.snapshot import MemberSnapshot, Snapshot
from inventory.policy import Policy
from parsers.facts.software import RomVariables, Version

_VARIABLE = "CHASSIS_HA_IFNAME"
_ADDRESS = "CHASSIS_HA_LOCAL_IP"
_DO_NOT_PROCEED = (
    "Do not proceed with the upgrade: a member that comes back with another redundancy interface may not find its "
    "partner, and both may become active. Have the interfaces made the same by the vendor's procedure. It reloads a "
    "controller and can drop clients: agree it through your change process and, where lives depend on the network, "
    "with the people who run the ward."
)


@dataclass(frozen=True)
class _Controller:
    """What one member says of its kind and its redundancy interface; None where that isn't known, and why."""

    name: str
    kind: Literal["physical", "virtual"] | None
    kind_clause: str
    interface: str | None
    lack: str
    evidence: tuple[Evidence, ...]
    kind_evidence: tuple[Evidence, ...]


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """Interfaces that differ block wherever both are told, unless both members are known to be physical."""
    both = [_controller(member, policy) for member in snapshot.members]
    if all(item.kind == "physical" for item in both):
        clause = f"both members are physical controllers: {'; '.join(item.kind_clause for item in both)}"
        evidence = tuple(line for item in both for line in item.kind_evidence)
        return answer([Part(Status.NOT_APPLICABLE, clause, evidence)])
    return answer([*_kinds(both), *_interfaces(both), *_borrowed(snapshot), _compared(both)])


def _controller(member: MemberSnapshot, policy: Policy) -> _Controller:
    version = member.read("show version", Version)
    model = version.facts.model if version.facts is not None else None
    hardware = policy.hardware_of(model) if model else None
    if not model:
        clause = f"whether {member.name} is a virtual controller isn't known: {lack(member, version)}"
    elif hardware is None:
        clause = f"whether {member.name} is a virtual controller isn't known: the policy doesn't list its model {model}"
    else:
        clause = f"{member.name} is a {hardware.kind} controller ({model})"
    variables = member.read("show romvar", RomVariables)
    interface = (variables.facts.variables or {}).get(_VARIABLE) if variables.facts is not None else None
    return _Controller(
        name=member.name,
        kind=hardware.kind if hardware is not None else None,
        kind_clause=clause,
        interface=(interface or "").strip() or None,
        lack=lack(member, variables) if variables.facts is None else "",
        evidence=variables.evidence(f"variables.{_VARIABLE}") or variables.evidence("variables"),
        kind_evidence=version.evidence("model"),
    )


def _compared(both: Sequence[_Controller]) -> Part:
    first, second = both
    evidence = (*first.evidence, *second.evidence)
    if first.interface is None or second.interface is None:
        # Why it isn't known stands in the other parts.
        return unknown("")
    if first.interface.lower() != second.interface.lower():
        clause = (
            f"the redundancy interfaces differ: {_VARIABLE} is {first.interface} on {first.name} "
            f"and {second.interface} on {second.name}"
        )
        return Part(Status.BLOCK, clause, evidence, _DO_NOT_PROCEED)
    clause = f"{first.name} and {second.name} both use {first.interface} as redundancy interface ({_VARIABLE})"
    return Part(Status.PASS, clause, evidence)


def _borrowed(snapshot: Snapshot) -> list[Part]:
    """That both answers give one and the same address as their own: one of them isn't its own member's."""
    readings = [member.read("show romvar", RomVariables) for member in snapshot.members]
    told = [(reading.facts.variables or {}).get(_ADDRESS, "") if reading.facts else "" for reading in readings]
    if not told[0].strip() or told[0].strip() != told[1].strip():
        return []
    first, second = (member.name for member in snapshot.members)
    clause = f"{first} and {second} both have {told[0].strip()} for their own address ({_ADDRESS})"
    evidence = tuple(line for reading in readings for line in reading.evidence(f"variables.{_ADDRESS}"))
    return [unknown(f"{clause}, so one of the answers isn't its own member's", evidence)]


def _kinds(both: Sequence[_Controller]) -> list[Part]:
    parts = [unknown(item.kind_clause, item.kind_evidence) for item in both if item.kind is None]
    if {item.kind for item in both} == {"physical", "virtual"}:
        clause = f"{both[0].kind_clause} but {both[1].kind_clause}"
        parts.append(unknown(clause, tuple(line for item in both for line in item.kind_evidence)))
    return parts


def _interfaces(both: Sequence[_Controller]) -> list[Part]:
    return [unknown(_silence(item)) for item in both if item.interface is None and item.kind == "virtual"]


def _silence(item: _Controller) -> str:
    if item.lack:
        return f"the redundancy interface of {item.name} isn't known: {item.lack}"
    return (
        f"`show romvar` on {item.name} shows no {_VARIABLE}, "
        "which may mean that its redundancy isn't configured with an interface"
    )


RULE = Rule(
    id="pair-interface",
    title="Do both virtual controllers use the same redundancy interface?",
    why="A virtual controller that reloads with another redundancy interface loses its partner on the way.",
    good="CHASSIS_HA_IFNAME = GigabitEthernet3 on both members",
    bad="CHASSIS_HA_IFNAME = GigabitEthernet2 on quay-a, CHASSIS_HA_IFNAME = GigabitEthernet3 on quay-b",
    needs=("show version", "show romvar"),
    judge=judge,
)
