"""Whose words count about a member: its own session's first, then what its partner's session tells about it.

Every witness is heard and the worst counts. A partner's good word stands in only where the member refused the command
or couldn't be reached. Where the member's own answer was lost, cut off or garbled, what it held isn't known, and a
partner's good word doesn't make it good: otherwise the loss of a capture could turn a block into a pass.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

from collector.finding import Evidence, Status
from collector.rules.parts import Part, worst
from collector.rules.roles import role
from collector.snapshot import MemberSnapshot, Reading, Snapshot
from parsers.facts.core import Facts
from parsers.facts.redundancy import Processor, Redundancy
from parsers.facts.software import Version
from parsers.release import Release

F = TypeVar("F", bound=Facts)
V = TypeVar("V")


@dataclass(frozen=True)
class Word(Generic[V]):
    """What one capture says of one member.

    `about` is the member's name, or words such as `the standby` where it isn't known which one that is. `value` is
    None where nothing was said, and then `problem` says why; it is empty where a readable answer is silent.
    `expected` says that this session should have told it, so that its words are missed and not taken for silence.
    """

    about: str
    by: str
    command: str
    value: V | None
    problem: str = ""
    refused: bool = False
    reached: bool = True
    expected: bool = False
    evidence: tuple[Evidence, ...] = ()

    @property
    def withheld(self) -> bool:
        """Whether the session couldn't have said it: the command was refused, or the member wasn't reached."""
        return self.refused or not self.reached

    @property
    def lack(self) -> str:
        """Why there is no value, as a clause."""
        if not self.reached:
            # Why is said once for the member (MemberResult.unreached_because), not by every rule.
            return f"{self.by} gave no answer"
        if self.refused:
            return f"{self.by} refused `{self.command}`"
        if not self.problem:
            return f"`{self.command}` on {self.by} doesn't show it"
        return f"`{self.command}` on {self.by} can't be used: {self.problem}"


Judge = Callable[[Word[V], V], Part]


def word(
    speaker: MemberSnapshot,
    reading: Reading[F],
    value: Callable[[F], V | None],
    *fields: str,
    rows: Callable[[F], tuple[int, ...]] | None = None,
    about: str | None = None,
    expected: bool = False,
) -> Word[V]:
    """One reading as a word about a member, by default about the speaker.

    `fields` are those that the value is from, `rows` picks the numbers of further lines that it is from.
    """
    return Word(
        about=about or speaker.name,
        by=speaker.name,
        command=reading.command,
        value=value(reading.facts) if reading.facts is not None else None,
        problem=reading.problem,
        refused=reading.refused,
        reached=speaker.reached,
        expected=expected,
        evidence=reading.evidence(*fields, lines=rows(reading.facts) if rows and reading.facts is not None else ()),
    )


def hear(what: str, first: Word[V], others: Sequence[Word[V]], judge: Judge[V]) -> list[Part]:
    """The parts that all words about one member come to.

    `first` is the session whose word is the member's own; `what` names the thing asked about, for the clause that it
    isn't known. `judge` makes a part of a word that says something. Another session's word joins the own one where it
    comes to the same, stands beside it where it is worse, and stands in for it where the own one was withheld.
    """
    told = _together(_attributed(judge(item, item.value), item) for item in others if item.value is not None)
    unheard = [
        Part(Status.UNKNOWN, f"{item.lack}, so what it tells of {item.about} isn't known")
        for item in others
        if item.value is None and item.expected and not item.withheld
    ]
    if first.value is not None:
        own = replace(judge(first, first.value), about=first.about)
        same = [part for part in told if part.status is own.status]
        own = replace(own, evidence=(*own.evidence, *(item for part in same for item in part.evidence)))
        return [own, *_worse(told, own.status), *unheard]
    if first.withheld and told:
        return [*(replace(part, clause=f"{part.clause}, since {first.lack}") for part in told), *unheard]
    return [Part(Status.UNKNOWN, f"{first.about}'s {what} isn't known: {first.lack}"), *troubles(told), *unheard]


def troubles(parts: Iterable[Part]) -> list[Part]:
    """The parts that are bad news; good news from a session that can't stand in is no news."""
    return [part for part in parts if part.status not in (Status.PASS, Status.NOT_APPLICABLE)]


def about_standby(
    snapshot: Snapshot,
    command: str,
    facts: type[F],
    value: Callable[[F], V | None],
    *fields: str,
    rows: Callable[[F], tuple[int, ...]] | None = None,
    expected: bool,
) -> list[Word[V]]:
    """What both sessions say of `the standby` in answer to a command whose words are about whichever member that is.

    The active one is expected to tell. Where the roles aren't known, the words are about `the standby`.
    """
    standby = next((member.name for member in snapshot.members if role(snapshot, member) == "standby"), None)
    return [
        word(
            speaker,
            speaker.read(command, facts),
            value,
            *fields,
            rows=rows,
            about=standby or "the standby",
            expected=expected and role(snapshot, speaker) == "active",
        )
        for speaker in snapshot.members
    ]


def unassigned(words: Iterable[Word[V]], snapshot: Snapshot, judge: Judge[V]) -> list[Part]:
    """The bad news among words that can't be assigned to a member."""
    names = {member.name for member in snapshot.members}
    loose = [item for item in words if item.about not in names]
    return troubles(_attributed(judge(item, item.value), item) for item in loose if item.value is not None)


def running_releases(snapshot: Snapshot, member: MemberSnapshot) -> tuple[Word[Release], list[Word[Release]]]:
    """What release a member runs: its own `show version` first, then `show redundancy` on either side."""
    version = member.read("show version", Version)
    own = word(member, version, lambda facts: _release(facts.release), "release")
    return own, by_redundancy(snapshot, member, lambda processor: _release(processor.release), "release")


def by_redundancy(
    snapshot: Snapshot, member: MemberSnapshot, value: Callable[[Processor], V | None], field: str
) -> list[Word[V]]:
    """What `show redundancy` says of a member, in its own session and in its partner's.

    An answer that is silent about it is no loss; one that can't be used is, and is missed about its own member.
    """
    partner = snapshot.other(member)
    own, told = member.read("show redundancy", Redundancy), partner.read("show redundancy", Redundancy)
    return [
        word(
            member,
            own,
            lambda facts: value(facts.this) if facts.this else None,
            f"this.{field}",
            expected=own.facts is None,
        ),
        word(
            partner,
            told,
            lambda facts: value(facts.peer) if facts.peer else None,
            f"peer.{field}",
            about=member.name,
        ),
    ]


def _release(text: str | None) -> Release | None:
    try:
        return Release.parse(text or "")
    except ValueError:
        return None


def _together(parts: Iterable[Part]) -> list[Part]:
    """One part for each status: the first one's clause, with the lines of all that come to the same."""
    found: dict[Status, Part] = {}
    for part in parts:
        first = found.get(part.status)
        found[part.status] = replace(first, evidence=(*first.evidence, *part.evidence)) if first else part
    return list(found.values())


def _worse(parts: Iterable[Part], than: Status) -> list[Part]:
    return [part for part in parts if part.status is not than and worst((part.status, than)) is part.status]


def _attributed(part: Part, item: Word[V]) -> Part:
    if item.by == item.about:
        return replace(part, clause=f"{part.clause}, by `{item.command}`")
    return replace(part, clause=f"{part.clause}, told by {item.by}")
