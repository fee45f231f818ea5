"""Whom the two addresses of a pair lead to: one controller by both, or two that aren't each other's partners.

A wrong address makes two good controllers look like a pair in the worst of states, so it is told before that state is.
It is told of nothing but what each shows of itself, and only where nothing that is known of it says otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator

from collector.finding import Evidence, Status
from collector.rules.parts import Part, merged
from collector.snapshot import MemberSnapshot, Snapshot
from parsers.facts.redundancy import Chassis, ChassisMember
from parsers.facts.software import Version

_ADDRESS = (
    "Find out what {each} in the inventory leads to (an address of the active one's that moves with a switchover, the "
    "wrong host, a forwarded port), put it right, and check the pair again: until then nothing is known of {lost}."
)
_SERIAL = "serial number"
_Sign = tuple[str, str, str, tuple[Evidence, ...]]


def same_controller(snapshot: Snapshot) -> Part | None:
    """The block that both addresses lead to one controller; None where they don't, or nobody can tell.

    The serial number must be the same, and so must the own chassis where both show it: two controllers that are both
    active for one network are never to be taken for one.
    """
    first, second = snapshot.members
    signs = list(_signs(first, second))
    if not any(name == _SERIAL for name, *_ in signs) or any(one != other for _, one, other, _ in signs):
        return None
    what = " and ".join(f"{name} {one}" for name, one, _, _ in signs)
    clause = (
        f"both addresses lead to the same controller: {first.name} and {second.name} show one and the same {what}, "
        "so the other controller wasn't asked"
    )
    remedy = _ADDRESS.format(each=f"each of the addresses of {first.name} and {second.name}", lost="the other one")
    return Part(Status.BLOCK, clause, merged(line for *_, lines in signs for line in lines), remedy, replan=True)


def strangers(snapshot: Snapshot) -> Part | None:
    """The block that the two aren't each other's partners; None where one has the other's chassis, or nobody tells.

    A partner whose chassis shows no address of its own (a removed one) tells nothing.
    """
    told = [_partner(snapshot, member) for member in snapshot.members]
    found = [item for item in told if item is not None]
    if not found or any(one == other for _, one, other, _ in found):
        return None
    first, second = (member.name for member in snapshot.members)
    whose = ", and ".join(f"{name}'s partner is the chassis {one}, not {other}" for name, one, other, _ in found)
    clause = f"{first} and {second} aren't partners: {whose}, so an address may lead to a controller of another pair"
    remedy = _ADDRESS.format(each=f"each of the addresses of {first} and {second}", lost="this pair as a whole")
    return Part(Status.BLOCK, clause, merged(line for *_, lines in found for line in lines), remedy)


def borrowed(snapshot: Snapshot) -> Part | None:
    """That one of two different controllers shows the other's serial number: an answer that isn't its own.

    Which of the two it is nobody can tell, nor what that one would have said itself.
    """
    first, second = snapshot.members
    signs = {name: (one, other, lines) for name, one, other, lines in _signs(first, second)}
    if _SERIAL not in signs or "chassis" not in signs or signs["chassis"][0] == signs["chassis"][1]:
        return None
    one, other, evidence = signs[_SERIAL]
    if one != other:
        return None
    clause = (
        f"{first.name} and {second.name} show one and the same {_SERIAL} {one}, though their chassis are two, so one "
        "answer to `show version` isn't its own member's, or one controller is a copy of the other"
    )
    remedy = "Check the pair again, and look at `show version` on both members by hand if they still show it."
    return Part(Status.UNKNOWN, clause, evidence, remedy)


def _signs(first: MemberSnapshot, second: MemberSnapshot) -> Iterator[_Sign]:
    """What both show of themselves, by name: the first one's, the second one's, and the lines."""
    versions = [member.read("show version", Version) for member in (first, second)]
    serials = [(reading.facts.serial or "").strip() if reading.facts else "" for reading in versions]
    if all(serials):
        yield _SERIAL, serials[0], serials[1], tuple(e for r in versions for e in r.evidence("serial"))
    tables = [member.read("show chassis rmi", Chassis) for member in (first, second)]
    rows = [_row(member, local=True) for member in (first, second)]
    if rows[0] is not None and rows[1] is not None:
        lines = (
            line for table, row in zip(tables, rows, strict=True) if row for line in table.evidence(lines=(row.at,))
        )
        yield "chassis", _mac(rows[0]), _mac(rows[1]), tuple(lines)


def _partner(snapshot: Snapshot, member: MemberSnapshot) -> _Sign | None:
    """The chassis that a member has for its partner, and the one that the other member is."""
    other = snapshot.other(member)
    known, own = _row(member, local=False), _row(other, local=True)
    if known is None or own is None:
        return None
    evidence = (
        *member.read("show chassis rmi", Chassis).evidence(lines=(known.at,)),
        *other.read("show chassis rmi", Chassis).evidence(lines=(own.at,)),
    )
    return member.name, _mac(known), _mac(own), evidence


def _row(member: MemberSnapshot, *, local: bool) -> ChassisMember | None:
    """The only row of the member's own chassis, or of its partner's; None where it has no address."""
    table = member.read("show chassis rmi", Chassis).facts
    found = [row for row in table.members if row.is_local is local] if table is not None else []
    return found[0] if len(found) == 1 and _mac(found[0]).strip("0.") else None


def _mac(row: ChassisMember) -> str:
    digits = "".join(sign for sign in row.mac.lower() if sign in "0123456789abcdef")
    return ".".join(digits[n : n + 4] for n in range(0, len(digits), 4))
