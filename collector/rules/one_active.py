"""one-active: is exactly one member active?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from collector.finding import Answer, Evidence, Status
from collector.rules.identity import same_controller
from collector.rules.parts import Part, answer
from collector.rules.roles import role
from collector.rules.rule import Rule
from collector.rules.sessions import listed, unknown
from collector.rules.witnesses import Word, word
from collector.snapshot import MemberSnapshot, Snapshot
from inventory.policy import Policy
from parsers.facts.redundancy import Chassis, Redundancy

_TWO = (
    "Do not proceed with anything on this pair: both controllers may be serving access points with the same addresses. "
    "Mend this before anything else. Get the people responsible for the network, those who run the ward where lives "
    "depend on it, and the vendor's support together first: isolating or reloading either controller drops clients, "
    "and which one to take away, and how, is for the vendor's procedure to say."
)
_NONE = (
    "Do not proceed with anything on this pair. A switchover may be under way: wait until it is over and check again. "
    "If neither becomes active, call the people responsible for the network and the vendor's support. Reloading a "
    "controller can drop clients: do it by the vendor's procedure and with the agreement of those who depend on it."
)
_Claim = Literal["active", "standby", "neither"]


@dataclass(frozen=True)
class _Told:
    """What is told of one member's role: each role with the words that say so, and what the silence comes to."""

    member: str
    claims: dict[_Claim, list[Word[str]]]
    parts: tuple[Part, ...] = ()

    @property
    def only(self) -> _Claim | None:
        """The role that all agree on; None where they don't, or nobody tells."""
        return next(iter(self.claims)) if len(self.claims) == 1 else None

    def evidence(self) -> tuple[Evidence, ...]:
        return tuple(line for words in self.claims.values() for item in words for line in item.evidence)


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """Each member's claims by its own two outputs; the active one's word for a standby that tells nothing itself."""
    same = same_controller(snapshot)
    if same is not None:
        return answer([same])
    told = [_told(snapshot, member) for member in snapshot.members]
    return answer([_counted(told), *(part for item in told for part in item.parts)])


def _told(snapshot: Snapshot, member: MemberSnapshot) -> _Told:
    own = _own(member)
    if any(not item.withheld for item in own):
        return _Told(member.name, _claims(own), tuple(_silences(own)))
    partner = snapshot.other(member)
    lacks = listed(item.lack for item in own)
    if role(snapshot, partner) != "active":
        return _Told(member.name, {}, (unknown(f"{member.name}'s role isn't known: {lacks}"),))
    others = _of_partner(partner, member.name)
    note = Part(Status.PASS, f"{partner.name}'s word stands for {member.name}, since {lacks}")
    return _Told(member.name, _claims(others), (note, *_silences(others)))


def _own(member: MemberSnapshot) -> list[Word[str]]:
    redundancy, chassis = member.read("show redundancy", Redundancy), member.read("show chassis rmi", Chassis)
    return [
        word(member, redundancy, lambda facts: (facts.this.state or None) if facts.this else None, "this.state"),
        word(
            member,
            chassis,
            lambda facts: next((row.role for row in facts.members if row.is_local and row.role), None),
            rows=lambda facts: tuple(row.at for row in facts.members if row.is_local),
        ),
    ]


def _of_partner(speaker: MemberSnapshot, about: str) -> list[Word[str]]:
    redundancy, chassis = speaker.read("show redundancy", Redundancy), speaker.read("show chassis rmi", Chassis)

    def role_of_partner(facts: Chassis) -> str | None:
        others = [row.role for row in facts.members if not row.is_local]
        return others[0] or None if len(others) == 1 else None

    return [
        word(
            speaker,
            redundancy,
            lambda facts: (facts.peer.state or None) if facts.peer else None,
            "peer.state",
            about=about,
        ),
        word(
            speaker,
            chassis,
            role_of_partner,
            rows=lambda facts: tuple(row.at for row in facts.members if not row.is_local),
            about=about,
        ),
    ]


def _claims(words: Sequence[Word[str]]) -> dict[_Claim, list[Word[str]]]:
    found: dict[_Claim, list[Word[str]]] = {}
    for item in words:
        if item.value is not None:
            found.setdefault(_claim(item.value), []).append(item)
    return found


def _claim(printed: str) -> _Claim:
    said = printed.strip().lower()
    return "active" if said == "active" else "standby" if said.startswith("standby") else "neither"


def _silences(words: Sequence[Word[str]]) -> list[Part]:
    """What a silent output comes to: it may have told of a second active one, unless the controller refused it."""
    return [
        unknown(f"{item.lack}, so the role of {item.about} by it isn't known")
        for item in words
        if item.value is None and not item.refused
    ]


def _counted(told: Sequence[_Told]) -> Part:
    first, second = told
    evidence = (*first.evidence(), *second.evidence())
    if "active" in first.claims and "active" in second.claims:
        both = f"{first.member} and {second.member}"
        themselves = all(any(found.by == item.member for found in item.claims["active"]) for item in told)
        clause = f"{both} both say that they are active" if themselves else f"{both} are both active, {_by_whom(told)}"
        clause += "; mend this before all else"
        return Part(Status.BLOCK, clause, evidence, _TWO)
    if first.only == "standby" and second.only == "standby":
        clause = f"neither {first.member} nor {second.member} is active: each is a standby, {_by_whom(told)}"
        return Part(Status.BLOCK, clause, evidence, _NONE)
    for item in told:
        if len(item.claims) > 1 or item.only == "neither":
            return unknown(f"{item.member} is {_said(item)}", evidence)
    if {first.only, second.only} != {"active", "standby"}:
        silent = [item.member for item in told if item.only is None]
        return unknown(f"it isn't told who is active: nothing is known of {listed(silent)}", evidence)
    active, standby = told if first.only == "active" else reversed(told)
    return Part(Status.PASS, f"{active.member} alone is active, and {standby.member} is its standby", evidence)


def _by_whom(told: Sequence[_Told]) -> str:
    words = [found for item in told for found in (item.claims.get("active") or item.claims.get("standby") or ())]
    return f"by the word of {listed(item.by for item in words)}"


def _said(item: _Told) -> str:
    return " but ".join(
        f"{(found.value or '').strip()} by `{found.command}` on {found.by}"
        for words in item.claims.values()
        for found in words[:1]
    )


RULE = Rule(
    id="one-active",
    title="Is exactly one member active?",
    why="Two active controllers serve one network with the same addresses, and every step after that makes it worse.",
    good="*1       Active   0200.5e00.5301     2      V02     Ready",
    bad="*2       Active   0200.5e00.5302     1      V02     Ready",
    needs=("show redundancy", "show chassis rmi", "show version"),
    judge=judge,
    waivable=False,
)
