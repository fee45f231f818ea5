"""Who is active: what the controllers say, never what the inventory says."""

from __future__ import annotations

from typing import Literal

from collector.finding import Evidence
from collector.rules.parts import merged
from collector.snapshot import MemberSnapshot, Snapshot
from parsers.facts.redundancy import Chassis, Redundancy

Role = Literal["active", "standby"]


def claims(member: MemberSnapshot) -> dict[Role, tuple[Evidence, ...]]:
    """The roles that a member claims for itself, each with the lines that say so; two where its outputs disagree."""
    found: dict[Role, tuple[Evidence, ...]] = {}
    redundancy = member.read("show redundancy", Redundancy)
    if redundancy.facts is not None and redundancy.facts.this is not None:
        _add(found, redundancy.facts.this.state, redundancy.evidence("this.state"))
    chassis = member.read("show chassis rmi", Chassis)
    if chassis.facts is not None:
        for row in chassis.facts.members:
            if row.is_local:
                _add(found, row.role, chassis.evidence(lines=(row.at,)))
    return found


def role(snapshot: Snapshot, member: MemberSnapshot) -> Role | None:
    """A member's role: what it claims, else the opposite of what its partner claims; None where that is no answer.

    Where both claim to be active, or a member contradicts itself, nobody's role is known.
    """
    own, partner = set(claims(member)), set(claims(snapshot.other(member)))
    if len(own) > 1 or len(partner) > 1 or (own and own == partner):
        return None
    if own:
        return own.pop()
    if partner:
        return "standby" if partner == {"active"} else "active"
    return None


def told_role(snapshot: Snapshot, member: MemberSnapshot) -> Role | None:
    """A member's role where somebody says it: itself, or its partner by a peer's state or a row of the chassis.

    Unlike `role` it draws no conclusion: beside an active partner a member may be disabled, or gone.
    """
    found = role(snapshot, member)
    return found if claims(member) or _claims_of_partner(snapshot.other(member)) == {found} else None


def with_role(snapshot: Snapshot, wanted: Role) -> MemberSnapshot | None:
    """The member that has this role; None where that isn't known."""
    return next((member for member in snapshot.members if role(snapshot, member) == wanted), None)


def _claims_of_partner(speaker: MemberSnapshot) -> set[Role]:
    found: dict[Role, tuple[Evidence, ...]] = {}
    redundancy = speaker.read("show redundancy", Redundancy).facts
    if redundancy is not None and redundancy.peer is not None:
        _add(found, redundancy.peer.state, ())
    chassis = speaker.read("show chassis rmi", Chassis).facts
    others = [row.role for row in chassis.members if not row.is_local] if chassis is not None else []
    if len(others) == 1:
        _add(found, others[0], ())
    return set(found)


def _add(found: dict[Role, tuple[Evidence, ...]], printed: str | None, evidence: tuple[Evidence, ...]) -> None:
    word = (printed or "").strip().lower()
    claimed: Role | None = "active" if word == "active" else "standby" if word.startswith("standby") else None
    if claimed is not None:
        found[claimed] = merged((*found.get(claimed, ()), *evidence))
