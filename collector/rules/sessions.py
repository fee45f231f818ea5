"""What each of the two sessions says of the pair as a whole, where every session is heard and the worst counts.

A session that the member refused, or a member that couldn't be reached, is stood in for by the active one's answer to
the same command. An answer that was lost in any other way leaves what it held unknown: see collector/rules/witnesses.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

from collector.finding import Evidence, Status
from collector.rules.parts import Part
from collector.rules.roles import role
from collector.rules.witnesses import Word, word
from collector.snapshot import MemberSnapshot, Reading, Snapshot
from parsers.facts.core import Facts

F = TypeVar("F", bound=Facts)

_READ_IT = (
    "Find out why the answer couldn't be had (a lost session, the account's rights, a train that prints it otherwise) "
    "and check the pair again, or look at that output by hand."
)


@dataclass(frozen=True)
class Sessions(Generic[F]):
    """The answers that could be read, in the members' order, and what the lack of the others comes to."""

    readings: tuple[Reading[F], ...]
    parts: tuple[Part, ...]


def unknown(clause: str, evidence: tuple[Evidence, ...] = ()) -> Part:
    """The part of something that isn't known."""
    return Part(Status.UNKNOWN, clause, evidence, _READ_IT)


def quiet(*evidence: Evidence) -> Part:
    """A good part that needs no words of its own beside the summary."""
    return Part(Status.PASS, "", evidence)


def lack(member: MemberSnapshot, reading: Reading[F]) -> str:
    """Why the answer can't be used, as a clause."""
    return _silent(member, reading).lack


def hear_each(
    snapshot: Snapshot, commands: Sequence[str], facts: type[F], question: str, *, stand_in: bool = True
) -> Sessions[F]:
    """Both members' answers to commands of one kind.

    `question` says what isn't known where an answer is missing (`whether …`). `stand_in` is False where each member
    has to tell it itself.
    """
    readings: list[Reading[F]] = []
    parts: list[Part] = []
    for member in snapshot.members:
        partner = snapshot.other(member)
        stood_in: list[Word[bool]] = []
        for command in commands:
            reading = member.read(command, facts)
            silent = _silent(member, reading)
            if reading.facts is not None:
                readings.append(reading)
            elif stand_in and silent.withheld and tells_for(snapshot, partner, command, facts):
                stood_in.append(silent)
            else:
                parts.append(unknown(f"{silent.lack}, so {question} isn't known"))
        if stood_in:
            parts.append(Part(Status.PASS, f"{partner.name}'s word stands for both, since {_lacks(stood_in)}"))
    return Sessions(tuple(readings), tuple(parts))


def tells_for(snapshot: Snapshot, member: MemberSnapshot, command: str, facts: type[F]) -> bool:
    """Whether the member can stand in for its partner: it is the active one, and its own answer could be read."""
    return role(snapshot, member) == "active" and member.read(command, facts).facts is not None


def attributed(said: Iterable[tuple[str, Part]]) -> list[Part]:
    """The parts with the names of the sessions that told them behind each block; what both told stands once."""
    told: dict[tuple[Status, str, str], list[tuple[str, Part]]] = {}
    for by, part in said:
        told.setdefault((part.status, part.clause, part.remedy), []).append((by, part))
    return [_merged(items) for items in told.values()]


def listed(names: Iterable[str]) -> str:
    """Names, each once, as a person writes them: `a`, `a and b`, `a, b and c`."""
    *most, last = dict.fromkeys(names)
    return f"{', '.join(most)} and {last}" if most else last


def _merged(items: Sequence[tuple[str, Part]]) -> Part:
    first = items[0][1]
    evidence = tuple(line for _, part in items for line in part.evidence)
    if first.status is not Status.BLOCK:
        return replace(first, evidence=evidence)
    names = list(dict.fromkeys(by for by, _ in items))
    tell = f"{names[0]} tells it" if len(names) == 1 else "both tell it"
    return replace(first, clause=f"{first.clause}, as {tell}", evidence=evidence)


def _silent(member: MemberSnapshot, reading: Reading[F]) -> Word[bool]:
    nothing: Word[bool] = word(member, reading, lambda _: None)
    return nothing


def _lacks(words: Sequence[Word[bool]]) -> str:
    first = words[0]
    if not first.reached:
        return first.lack
    return f"{first.by} refused {listed(f'`{item.command}`' for item in words)}"
