"""Puts a rule's answer together from what was found on each member: the worst part decides."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from collector.finding import Answer, Evidence, Status

_WORST_FIRST = (Status.BLOCK, Status.UNKNOWN, Status.CAUTION, Status.PASS, Status.NOT_APPLICABLE)


@dataclass(frozen=True)
class Part:
    """What one witness's words mean: a status, a clause (no capital, no full stop), the lines, the remedy if any.

    `about` names the member that the clause begins with, where what holds for one may hold for the other likewise.
    `replan` says that the remedy is another plan only, which touches no controller.
    """

    status: Status
    clause: str
    evidence: tuple[Evidence, ...] = ()
    remedy: str = ""
    about: str = ""
    replan: bool = False


def worst(statuses: Iterable[Status]) -> Status:
    """The status that decides: block before unknown before caution before pass; unknown where there is none."""
    return min(statuses, key=_WORST_FIRST.index, default=Status.UNKNOWN)


def answer(parts: Sequence[Part]) -> Answer:
    """One answer from the parts: the worst status, the clauses and remedies of the parts that have it.

    A block also shows the cautions and unknowns beside it, after the blocks, since the person who mends the one
    wants to know of the other. Nothing found at all is unknown.
    """
    if not parts:
        return Answer(Status.UNKNOWN, "Nothing was found out.")
    status = worst(part.status for part in parts)
    ordered = sorted(
        (part for part in parts if part.status is status or part.status in _TROUBLE),
        key=lambda part: _WORST_FIRST.index(part.status),
    )
    return Answer(
        status=status,
        statement=sentence(_clauses(ordered)),
        remedy=_remedy(ordered),
        evidence=merged(item for part in ordered for item in part.evidence),
        unsure=status is Status.BLOCK and any(part.status is Status.UNKNOWN for part in parts),
        replan=status is Status.BLOCK and all(part.replan for part in parts if part.status is Status.BLOCK),
    )


_TROUBLE = (Status.BLOCK, Status.UNKNOWN, Status.CAUTION)


def sentence(clauses: Iterable[str]) -> str:
    """One sentence from clauses, each once, joined by semicolons; its first letter as the first clause has it."""
    return "; ".join(_once(clause for clause in clauses if clause)) + "."


def with_capital(statement: str, names: Iterable[str]) -> str:
    """The statement with a capital in front, unless it begins with one of these names, which stay as they are."""
    if any(re.match(rf"{re.escape(name)}(?![\w-])", statement) for name in names):
        return statement
    return statement[:1].upper() + statement[1:]


def merged(evidence: Iterable[Evidence]) -> tuple[Evidence, ...]:
    """The evidence with the lines of one capture together, in the order of the lines, each once."""
    lines: dict[tuple[str, str], dict[int, str]] = {}
    for item in evidence:
        lines.setdefault((item.member, item.command), {}).update(zip(item.numbers, item.lines, strict=True))
    # Controllers of a fleet print many lines alike: a sweep keeps each once, as long as a finding cites it.
    return tuple(
        Evidence(member, command, tuple(sorted(found)), tuple(sys.intern(found[number]) for number in sorted(found)))
        for (member, command), found in lines.items()
    )


def _clauses(parts: Sequence[Part]) -> Iterable[str]:
    """The clauses; one that says of its member what was said of another becomes `<member> likewise`."""
    said: dict[str, str] = {}
    for part in parts:
        predicate = part.clause.removeprefix(part.about) if part.about else ""
        same = predicate and said.setdefault(predicate, part.about) != part.about
        yield f"{part.about} likewise" if same else part.clause


def _remedy(parts: Sequence[Part]) -> str:
    """The remedies, each sentence once: the last time, so that a caution stands behind all that it warns of."""
    remedies = _once(part.remedy for part in parts if part.remedy)
    sentences = re.split(r"(?<=[.!?]) (?=[A-Z])", " ".join(remedies))
    return " ".join(reversed(_once(reversed(sentences))))


def _once(texts: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(texts))
