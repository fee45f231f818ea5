"""pair-state: is there exactly one active and one hot standby, with stateful switchover at work?"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from collector.finding import Answer, Evidence, Status
from collector.rules.identity import same_controller
from collector.rules.parts import Part, answer
from collector.rules.roles import Role, claims
from collector.rules.rule import Rule
from collector.rules.sessions import attributed, hear_each, listed, quiet, unknown
from collector.snapshot import Reading, Snapshot
from inventory.policy import Policy
from parsers.facts.redundancy import Chassis, ChassisMember, Redundancy

_ASK = (
    "It can reload a controller and drop clients: do it in a window agreed through your change process and, where "
    "lives depend on the network, with the people who run the ward."
)
_SPLIT = (
    "Mend this first, before anything else on this pair: two active controllers answer for one network. Follow the "
    f"vendor's procedure for it, or call the vendor's support. {_ASK}"
)
_DISAGREE = (
    "Wait until any switchover is over and check again. If the outputs still disagree, follow the vendor's procedure "
    f"for a pair that doesn't agree on its roles. {_ASK}"
)
_NOT_HOT = (
    "Find out why the standby isn't hot, or why it left the pair (its logs, the link between the two, a different "
    f"release or configuration), and bring it back by the vendor's procedure before you plan anything. {_ASK}"
)
_NOT_READY = f"Find out why that chassis isn't ready, and bring it back by the vendor's procedure. {_ASK}"
_NOT_SSO = (
    "Find out why the pair doesn't run stateful switchover: configured otherwise, or the standby couldn't follow. "
    f"Bring it back by the vendor's procedure. {_ASK}"
)

_Told = tuple[str, Part]
_Claim = tuple[str, str, tuple[Evidence, ...]]


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """The state of the pair, whatever the policy; one controller by two addresses has none."""
    same = same_controller(snapshot)
    return told(snapshot) if same is None else answer([same])


def told(snapshot: Snapshot) -> Answer:
    """Roles, states, modes and chassis as each session tells them; every one has to be good."""
    redundancy = hear_each(snapshot, ["show redundancy"], Redundancy, "the state of the pair by its word")
    chassis = hear_each(snapshot, ["show chassis rmi"], Chassis, "the state of the chassis by its word")
    said: list[_Told] = []
    for heard in redundancy.readings:
        said += [*_states(snapshot, heard), *_modes(heard)]
    for table in chassis.readings:
        said += _rows(table)
    roles = _roles(snapshot, redundancy.readings, chassis.readings)
    return answer([roles, *attributed(said), *redundancy.parts, *chassis.parts])


def _states(snapshot: Snapshot, reading: Reading[Redundancy]) -> Iterator[_Told]:
    facts = reading.facts
    for field, about in zip(("this", "peer"), _own_first(snapshot, reading.member), strict=True):
        processor = getattr(facts, field)
        evidence = reading.evidence(f"{field}.state")
        printed = _plain(processor.state) if processor is not None and processor.state else ""
        if not printed:
            yield reading.member, unknown(f"`show redundancy` on {reading.member} doesn't show the state of {about}")
        elif printed in ("ACTIVE", "STANDBY HOT"):
            yield reading.member, quiet(*evidence)
        else:
            clause = f"{about} is {processor.state.strip()}, neither ACTIVE nor STANDBY HOT"
            yield reading.member, Part(Status.BLOCK, clause, evidence, _NOT_HOT)


def _modes(reading: Reading[Redundancy]) -> Iterator[_Told]:
    for field, name, good, wanted, remedy in (
        ("hardware_mode", "hardware mode", _is_duplex, "Duplex", _NOT_HOT),
        ("configured_mode", "configured redundancy mode", _is_sso, "SSO", _NOT_SSO),
        ("operating_mode", "operating redundancy mode", _is_sso, "SSO", _NOT_SSO),
    ):
        printed: str | None = getattr(reading.facts, field)
        evidence = reading.evidence(field)
        if not printed:
            yield reading.member, unknown(f"`show redundancy` on {reading.member} doesn't show the {name}")
        elif good(printed):
            yield reading.member, quiet(*evidence)
        else:
            clause = f"the {name} is {printed.strip()}, not {wanted}"
            yield reading.member, Part(Status.BLOCK, clause, evidence, remedy)


def _rows(reading: Reading[Chassis]) -> Iterator[_Told]:
    rows = reading.facts.members if reading.facts is not None else ()
    for row in rows:
        yield reading.member, _row(row, reading.evidence(lines=(row.at,)))
    if len(rows) < 2:
        clause = f"`show chassis rmi` on {reading.member} shows {len(rows)} of the two chassis"
        yield reading.member, unknown(clause, reading.evidence("members"))
    elif sum(row.is_local for row in rows) != 1:
        clause = f"`show chassis rmi` on {reading.member} doesn't show which chassis is its own"
        yield reading.member, unknown(clause, reading.evidence("members"))


def _row(row: ChassisMember, evidence: tuple[Evidence, ...]) -> Part:
    if not row.state:
        return unknown(f"the state of chassis {row.number} isn't shown", evidence)
    if _plain(row.state) != "READY":
        return Part(Status.BLOCK, f"chassis {row.number} is {row.state.strip()}, not Ready", evidence, _NOT_READY)
    if _role(row.role) is None:
        clause = f"chassis {row.number} has the role {row.role.strip() or 'of none'}, neither Active nor Standby"
        return Part(Status.BLOCK, clause, evidence, _NOT_READY)
    return quiet(*evidence)


def _roles(snapshot: Snapshot, redundancy: Sequence[Reading[Redundancy]], chassis: Sequence[Reading[Chassis]]) -> Part:
    """Who is active by all that is told; the sentence of a pair in order."""
    told: dict[str, dict[Role, list[_Claim]]] = {member.name: {} for member in snapshot.members}
    for about, claimed, claim in (*_by_redundancy(snapshot, redundancy), *_by_chassis(snapshot, chassis)):
        told[about].setdefault(claimed, []).append(claim)
    first, second = (member.name for member in snapshot.members)
    evidence = tuple(
        line for roles in told.values() for found in roles.values() for *_, lines in found for line in lines
    )
    if all("active" in claims(member) for member in snapshot.members):
        clause = f"{first} and {second} both say that they are active, which comes before anything else"
        return Part(Status.BLOCK, clause, evidence, _SPLIT)
    for about, roles in told.items():
        if len(roles) > 1:
            clause = f"it isn't agreed who is active: {about} is {_who_says(roles)}"
            return Part(Status.BLOCK, clause, evidence, _DISAGREE)
    if not all(told.values()):
        return unknown(
            f"the role of {listed(about for about, roles in told.items() if not roles)} isn't known", evidence
        )
    active = [about for about, roles in told.items() if "active" in roles]
    if len(active) != 1:
        clause = f"{first} and {second} are both active" if active else f"neither {first} nor {second} is active"
        return Part(Status.BLOCK, clause, evidence, _SPLIT if active else _DISAGREE)
    standby = second if active == [first] else first
    clause = (
        f"{active[0]} is ACTIVE and {standby} is STANDBY HOT, both chassis are Ready, "
        "and stateful switchover (SSO) is configured and operating"
    )
    return Part(Status.PASS, clause, evidence)


def _by_redundancy(snapshot: Snapshot, readings: Sequence[Reading[Redundancy]]) -> Iterator[tuple[str, Role, _Claim]]:
    for reading in readings:
        for field, about in zip(("this", "peer"), _own_first(snapshot, reading.member), strict=True):
            processor = getattr(reading.facts, field)
            claimed = _role(processor.state if processor is not None else None)
            if claimed is not None:
                yield about, claimed, (reading.member, reading.command, reading.evidence(f"{field}.state"))


def _by_chassis(snapshot: Snapshot, readings: Sequence[Reading[Chassis]]) -> Iterator[tuple[str, Role, _Claim]]:
    for reading in readings:
        rows = reading.facts.members if reading.facts is not None else ()
        if len(rows) != 2 or sum(row.is_local for row in rows) != 1:
            continue
        own, partner = _own_first(snapshot, reading.member)
        for row in rows:
            claimed = _role(row.role)
            if claimed is not None:
                about = own if row.is_local else partner
                yield about, claimed, (reading.member, reading.command, reading.evidence(lines=(row.at,)))


def _who_says(roles: dict[Role, list[_Claim]]) -> str:
    return " but ".join(
        f"{claimed} by {listed(f'`{command}` on {by}' for by, command, _ in found)}" for claimed, found in roles.items()
    )


def _own_first(snapshot: Snapshot, name: str) -> tuple[str, str]:
    first, second = (member.name for member in snapshot.members)
    return (first, second) if name == first else (second, first)


def _role(printed: str | None) -> Role | None:
    word = _plain(printed or "")
    return "active" if word == "ACTIVE" else "standby" if word.startswith("STANDBY") else None


def _plain(printed: str) -> str:
    return " ".join(printed.split()).upper()


def _is_duplex(printed: str) -> bool:
    return _plain(printed) == "DUPLEX"


def _is_sso(printed: str) -> bool:
    words = set(re.findall(r"[a-z0-9-]+", printed.lower()))
    return words in ({"sso"}, {"stateful", "switchover"}, {"stateful", "switchover", "sso"})


RULE = Rule(
    id="pair-state",
    title="Is one member active and the other a hot standby?",
    why="Only a hot standby can take over without dropping a client, and an in-service upgrade switches over twice.",
    good="Operating Redundancy Mode = sso\nCurrent Software state = ACTIVE\nCurrent Software state = STANDBY HOT",
    bad="Operating Redundancy Mode = rpr\nCurrent Software state = ACTIVE\nCurrent Software state = STANDBY COLD",
    needs=("show redundancy", "show chassis rmi", "show version"),
    judge=judge,
    waivable=False,
)
