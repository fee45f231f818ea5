"""pair-link: do both members see each other, as each tells it?"""

from __future__ import annotations

from collections.abc import Iterator

from collector.finding import Answer, Status
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.sessions import attributed, hear_each, listed, quiet, unknown
from collector.snapshot import Reading, Snapshot
from inventory.policy import Policy
from parsers.facts.redundancy import Chassis, ChassisMember, Redundancy

_DOWN = (
    "Find out why the two members don't see each other: cables, ports and the path of the redundancy link, and whether "
    "the other member is up. Look before you touch: rejoining a pair by the vendor's procedure can reload a controller "
    "and drop clients, so agree it through your change process and, where lives depend on the network, with the people "
    "who run the ward."
)
_Told = tuple[str, Part]


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """Communications and the peer's block of each member's `show redundancy`, and its row in `show chassis rmi`."""
    question = "whether both see each other"
    redundancy = hear_each(snapshot, ["show redundancy"], Redundancy, question, stand_in=False)
    chassis = hear_each(snapshot, ["show chassis rmi"], Chassis, question)
    said: list[_Told] = []
    for heard in redundancy.readings:
        said += [*_communications(heard), *_peer(heard, _partner(snapshot, heard.member))]
    for table in chassis.readings:
        said += _row_of_partner(table, _partner(snapshot, table.member))
    first, second = (member.name for member in snapshot.members)
    summary = Part(Status.PASS, f"{first} and {second} see each other, and their communications are up")
    return answer([summary, *attributed(said), *redundancy.parts, *chassis.parts])


def _communications(reading: Reading[Redundancy]) -> Iterator[_Told]:
    facts, member = reading.facts, reading.member
    evidence = reading.evidence("communications", "communications_reason")
    if facts is None or facts.communications is None:
        yield member, unknown(f"`show redundancy` on {member} doesn't show whether communications are up")
    elif facts.communications == "up":
        yield member, quiet(*evidence)
    else:
        reason = f" (Reason: {facts.communications_reason})" if facts.communications_reason else ""
        yield member, Part(Status.BLOCK, f"communications are Down{reason}", evidence, _DOWN)


def _peer(reading: Reading[Redundancy], partner: str) -> Iterator[_Told]:
    peer = reading.facts.peer if reading.facts is not None else None
    member = reading.member
    evidence = reading.evidence("peer.state")
    state = " ".join((peer.state or "").split()) if peer is not None else ""
    if not state:
        yield member, unknown(f"`show redundancy` on {member} shows nothing of the state of {partner}")
    elif state.upper() == "ACTIVE" or state.upper().startswith("STANDBY"):
        yield member, quiet(*evidence)
    else:
        yield member, Part(Status.BLOCK, f"{member} doesn't see {partner}, which is {state}", evidence, _DOWN)


def _row_of_partner(reading: Reading[Chassis], partner: str) -> Iterator[_Told]:
    member = reading.member
    rows = reading.facts.members if reading.facts is not None else ()
    others = [row for row in rows if not row.is_local]
    for row in others:
        if _is_gone(row):
            clause = f"{member} doesn't see chassis {row.number}, which is {row.state.strip()} with {_addresses(row)}"
            yield member, Part(Status.BLOCK, clause, reading.evidence(lines=(row.at,)), _DOWN)
    if len(rows) != 2 or len(others) != 1:
        clause = f"`show chassis rmi` on {member} doesn't show one chassis of its own and one of {partner}"
        yield member, unknown(clause, reading.evidence("members"))
    elif _has_address(others[0], next(row for row in rows if row.is_local)):
        yield member, quiet(*reading.evidence(lines=(others[0].at,)))
    else:
        clause = f"`show chassis rmi` on {member} shows no address of {partner} to reach it at"
        yield member, unknown(clause, reading.evidence(lines=(others[0].at,)))


def _is_gone(row: ChassisMember) -> bool:
    return row.state.strip().lower() == "removed" or any(_is_zero(address) for address in (row.ip, row.rmi_ip))


def _has_address(row: ChassisMember, own: ChassisMember) -> bool:
    # A pair without the management-interface link has no such address on either row; then the other one tells.
    if row.rmi_ip is None:
        return own.rmi_ip is None and row.ip is not None
    return row.ip is not None or own.ip is None


def _addresses(row: ChassisMember) -> str:
    shown = [address for address in (row.ip, row.rmi_ip) if address is not None]
    return f"the address {listed(shown)}" if shown else "no address"


def _is_zero(address: str | None) -> bool:
    return address is not None and not address.strip("0.: ")


def _partner(snapshot: Snapshot, name: str) -> str:
    first, second = (member.name for member in snapshot.members)
    return second if name == first else first


RULE = Rule(
    id="pair-link",
    title="Do both members see each other?",
    why="Members that lose sight of each other can't keep state in step, and both may end up active.",
    good="Communications = Up\nCurrent Software state = STANDBY HOT",
    bad="Communications = Down      Reason: Failure",
    needs=("show redundancy", "show chassis rmi"),
    judge=judge,
)
