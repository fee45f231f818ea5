"""The access points' tables: whose they are to tell, whether they are whole, and how much of them to show.

They are the active one's: it is whom the access points talk to. What a standby prints is a copy that may lag behind,
be empty or be missing, all without trouble, so it is not heard: were it heard, nobody could tell its loss from a
standby that has none, and the loss would make trouble good.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TypeVar

from collector.finding import Evidence
from collector.rules.parts import Part
from collector.rules.roles import claims, with_role
from collector.rules.sessions import unknown
from collector.snapshot import MemberSnapshot, Reading, Snapshot
from parsers.facts.access_points import ApImage, ApSummary
from parsers.facts.joining import JoinSummary

T = TypeVar("T", ApSummary, ApImage, JoinSummary)

NO_ACCESS_POINTS = "no access points"
ROLES = ("show redundancy", "show chassis rmi")
"""The commands that say whose the tables are: every rule about access points needs them."""

TABLES = ("show ap summary", "show ap image")
"""The tables with a row for each access point that has joined."""

# A site has thousands: more names or lines than these tell nobody more.
_NAMES, _LINES = 10, 20


def tellers(snapshot: Snapshot, question: str) -> tuple[tuple[MemberSnapshot, ...], list[Part]]:
    """The members whose tables count: the active one, which the access points talk to.

    Where it isn't certain who that is, both are heard for the trouble that they tell, beside the part which says so.
    `question` is what then isn't known (`whether …`).
    """
    active = with_role(snapshot, "active")
    if active is not None and roles_are_certain(snapshot):
        return (active,), []
    return snapshot.members, [unknown(f"it isn't certain which member is active, so {question} isn't known")]


def roles_are_certain(snapshot: Snapshot) -> bool:
    """Whether no lost answer could have contradicted what the others say of the roles."""
    return all(_says_its_role(member, command) for member in snapshot.members for command in ROLES)


def lost(member: MemberSnapshot, reading: Reading[T], what: str) -> str:
    """Why the access points in a table aren't all known, as a clause; empty where they are."""
    facts = reading.facts
    if facts is None:
        return ""
    counted = facts.total if isinstance(facts, ApImage) else facts.count
    if counted is None and not facts.aps:
        return f"`{reading.command}` on {member.name} doesn't say how many {what} there are"
    if counted is not None and counted != len(facts.aps):
        return f"`{reading.command}` on {member.name} counts {counted} {what} and lists {len(facts.aps)}"
    if counted is None and (more := _listed_elsewhere(member, len(facts.aps))):
        return f"`{reading.command}` on {member.name} doesn't say how many {what} there are, and {more}"
    return ""


def _listed_elsewhere(member: MemberSnapshot, number: int) -> str:
    """Which other table of joined access points has more of them; empty where none has."""
    tables = (member.read("show ap summary", ApSummary).facts, member.read("show ap image", ApImage).facts)
    for command, table in zip(TABLES, tables, strict=True):
        if table is not None and len(table.aps) > number:
            return f"`{command}` lists {len(table.aps)} where it lists {number}"
    return ""


def named(names: Sequence[str]) -> str:
    """The first ten names, and how many more there are."""
    shown, more = names[:_NAMES], len(names) - _NAMES
    return ", ".join(shown) + (f" and {more:,} more" if more > 0 else "")


def counted(number: int) -> str:
    """So many access points, in words."""
    return f"{number:,} access point{'' if number == 1 else 's'}"


def rows(reading: Reading[T], numbers: Iterable[int], *fields: str) -> tuple[Evidence, ...]:
    """The lines of the first rows among these, behind those of the fields: never a whole table of thousands."""
    first = sorted(set(numbers))[:_LINES]
    return capped(reading.evidence(*fields, lines=tuple(first)))


def capped(evidence: Iterable[Evidence]) -> tuple[Evidence, ...]:
    """The evidence with at most twenty lines of each capture."""
    return tuple(replace(item, numbers=item.numbers[:_LINES], lines=item.lines[:_LINES]) for item in evidence)


def _says_its_role(member: MemberSnapshot, command: str) -> bool:
    """Whether an answer claims a role for the member, or couldn't be had from it at all.

    A lost answer could have contradicted the others, so without it nobody's role is certain.
    """
    reading = member.readings.get(command)
    if not member.reached or (reading is not None and reading.refused):
        return True
    return reading is not None and bool(claims(replace(member, readings={command: reading})))
