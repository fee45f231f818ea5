"""install-state: is only activated and committed software installed, the same on both members?"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from collector.finding import Answer, Evidence, Status
from collector.rules.parts import Part, answer
from collector.rules.roles import role
from collector.rules.rule import Rule
from collector.rules.sessions import attributed, hear_each, lack, listed, quiet, unknown
from collector.snapshot import MemberSnapshot, Reading, Snapshot
from inventory.policy import Policy
from parsers.facts.redundancy import Chassis
from parsers.facts.upgrade import InstallSummary, Package, Scope

_COMMAND = "show install summary"
_MOST_NAMED = 4
_ASK = (
    "It can reload a controller and drop clients: agree it through your change process and, where lives depend on the "
    "network, with the people who run the ward."
)
_INACTIVE = (
    "Find out whose work the inactive packages belong to, and have them removed by the vendor's procedure for inactive "
    "files, or that work finished first, then check again."
)
_UNCOMMITTED = (
    "Finish the work of last time: have the software committed or rolled back by the vendor's procedure, then check "
    f"again. A rollback reloads the controllers. {_ASK}"
)
_TIMER = (
    "Decide before the timer ends: when it ends, the controllers reload into the earlier software and drop clients. "
    "Have the software committed or rolled back by the vendor's procedure, through your change process and, where "
    "lives depend on the network, together with the people who run the ward."
)
_DIFFERENT = f"Bring both members to the same software by the vendor's procedure, then check again. {_ASK}"
_STATES = {
    "I": ("inactive", _INACTIVE),
    "U": ("activated but not committed", _UNCOMMITTED),
    "D": ("deactivated but not committed", _UNCOMMITTED),
}
_Told = tuple[str, Part]


@dataclass(frozen=True)
class _Holding:
    """What one session tells of the software of one controller, with the lines."""

    about: str
    by: str
    committed: frozenset[tuple[str, str]]
    evidence: tuple[Evidence, ...]


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """The installed software, whatever the policy."""
    return told(snapshot)


def told(snapshot: Snapshot) -> Answer:
    """Every package of every scope that either session shows, then the controllers against each other."""
    heard = hear_each(snapshot, [_COMMAND], InstallSummary, "what software is installed there")
    numbers = numbers_of(snapshot)
    said: list[_Told] = []
    holdings: list[_Holding] = []
    for reading in heard.readings:
        held = _holdings(reading, numbers)
        said += [*_not_committed(reading, numbers), *_without_image(held), (reading.member, _timer(reading))]
        holdings += held
    shown = {reading.member: reading for reading in heard.readings}
    unseen = [part for member in snapshot.members for part in _unseen(snapshot, member, shown, numbers)]
    return answer([_compared(holdings), *attributed(said), *unseen, *heard.parts])


def _not_committed(reading: Reading[InstallSummary], numbers: Mapping[int, str]) -> Iterator[_Told]:
    for scope in _scopes(reading):
        found: dict[str, list[Package]] = {}
        for package in scope.packages:
            if package.state != "C":
                found.setdefault(package.state, []).append(package)
        for state, packages in found.items():
            words, remedy = _STATES.get(state, ("in a state that readypair doesn't know", _UNCOMMITTED))
            names = _named(f"{package.type} {package.name}" for package in packages)
            clause = f"{names} on {listed(controllers_of(scope, reading.member, numbers))}: {words} ({state})"
            evidence = reading.evidence(lines=(scope.at, *(package.at for package in packages)))
            yield reading.member, Part(Status.BLOCK, clause, evidence, remedy)


def _without_image(holdings: Sequence[_Holding]) -> Iterator[_Told]:
    lacking = [item for item in holdings if not any(kind == "IMG" for kind, _ in item.committed)]
    if lacking:
        clause = f"no image is activated and committed (IMG C) on {listed(item.about for item in lacking)}"
        evidence = tuple(line for item in lacking for line in item.evidence)
        yield lacking[0].by, Part(Status.BLOCK, clause, evidence, _UNCOMMITTED)


def _timer(reading: Reading[InstallSummary]) -> Part:
    facts = reading.facts
    evidence = reading.evidence("auto_abort", "auto_abort_seconds_left")
    if facts is None or facts.auto_abort is None:
        return unknown(f"no line of `{_COMMAND}` on {reading.member} tells about the auto-abort timer", evidence)
    if facts.auto_abort == "inactive":
        return quiet(*evidence)
    left = facts.auto_abort_seconds_left
    clause = "the auto-abort timer is running"
    if left is not None:
        clause += f", with {left // 3600}:{left // 60 % 60:02d}:{left % 60:02d} left before the rollback"
    return Part(Status.BLOCK, clause, evidence, _TIMER)


def _compared(holdings: Sequence[_Holding]) -> Part:
    """The committed software of all controllers by all sessions; the sentence of a pair in order."""
    evidence = tuple(line for item in holdings for line in item.evidence)
    abouts = sorted({item.about for item in holdings})
    if not holdings:
        return unknown("what software is installed isn't known")
    shared = frozenset.intersection(*(item.committed for item in holdings))
    if all(item.committed == shared for item in holdings):
        names = _named(f"{kind} {name}" for kind, name in sorted(shared))
        clause = f"{listed(abouts)} have the same software, all activated and committed ({names})"
        return Part(Status.PASS, f"{clause}, and the auto-abort timer is inactive", evidence)
    clauses = dict.fromkeys(
        f"{item.about} has {_named(f'{kind} {name}' for kind, name in sorted(item.committed - shared))}"
        + (f" by the word of {item.by}" if _disputed(item, holdings) else "")
        for item in holdings
    )
    clause = f"the activated and committed software isn't the same: {'; '.join(clauses)}"
    return Part(Status.BLOCK, clause, evidence, _DIFFERENT)


def _disputed(item: _Holding, holdings: Sequence[_Holding]) -> bool:
    return any(other.about == item.about and other.committed != item.committed for other in holdings)


def _unseen(
    snapshot: Snapshot,
    member: MemberSnapshot,
    shown: Mapping[str, Reading[InstallSummary]],
    numbers: Mapping[int, str],
) -> Iterator[Part]:
    """What a session should have shown and didn't: its own controller, and on the active one its partner's too.

    A missing block may have been lost together with the trouble in it. Only a session that speaks of its own
    controller without a number (`R0`) isn't expected to show the other one.
    """
    partner = snapshot.other(member).name
    reading = shown.get(member.name)
    if reading is None:
        told = shown.get(partner)
        if told is not None and len(_chassis(told)) < 2:
            why = lack(member, member.read(_COMMAND, InstallSummary))
            yield unknown(f"`{_COMMAND}` on {partner} doesn't show the software of {member.name}, and {why}")
        return
    seen = _chassis(reading)
    abouts = {about for scope in _scopes(reading) for about in controllers_of(scope, member.name, numbers)}
    if member.name not in abouts and len(seen) < 2:
        yield unknown(f"`{_COMMAND}` on {member.name} doesn't show that controller's own software")
    elif seen and len(seen) < 2 and role(snapshot, member) != "standby":
        yield unknown(f"`{_COMMAND}` on {member.name} doesn't show the software of {partner}")


def _holdings(reading: Reading[InstallSummary], numbers: Mapping[int, str]) -> list[_Holding]:
    committed: dict[str, set[tuple[str, str]]] = {}
    lines: dict[str, list[int]] = {}
    for scope in _scopes(reading):
        for about in controllers_of(scope, reading.member, numbers):
            rows = [package for package in scope.packages if package.state == "C"]
            committed.setdefault(about, set()).update((row.type, file_of(row.name)) for row in rows)
            lines.setdefault(about, []).extend((scope.at, *(row.at for row in rows)))
    return [
        _Holding(about, reading.member, frozenset(found), reading.evidence(lines=tuple(lines[about])))
        for about, found in committed.items()
    ]


def controllers_of(scope: Scope, speaker: str, numbers: Mapping[int, str]) -> list[str]:
    """The controllers that a scope is about: members where the chassis number tells, else `chassis 2`."""
    found = []
    for location in scope.locations:
        number = _number(location)
        if number is not None:
            found.append(numbers.get(number, f"chassis {number}"))
        else:
            # Without a chassis number it is a processor of the session's own chassis.
            found.append(speaker)
    return list(dict.fromkeys(found))


def _chassis(reading: Reading[InstallSummary]) -> set[int]:
    numbers = (_number(location) for scope in _scopes(reading) for location in scope.locations)
    return {number for number in numbers if number is not None}


def _number(location: str) -> int | None:
    found = re.fullmatch(r"(\d+)(/.*)?", location.strip())
    return int(found[1]) if found else None


def numbers_of(snapshot: Snapshot) -> dict[int, str]:
    """The members by chassis number, as both tables of chassis tell it; without those that they don't agree on."""
    told: dict[int, set[str]] = {}
    for member in snapshot.members:
        table = member.read("show chassis rmi", Chassis).facts
        rows = table.members if table is not None else ()
        if len(rows) != 2 or sum(row.is_local for row in rows) != 1:
            continue
        for row in rows:
            told.setdefault(row.number, set()).add(member.name if row.is_local else snapshot.other(member).name)
    return {number: names.pop() for number, names in told.items() if len(names) == 1}


def _scopes(reading: Reading[InstallSummary]) -> tuple[Scope, ...]:
    return reading.facts.scopes if reading.facts is not None else ()


def file_of(name: str) -> str:
    """A package's name without the path that some trains print in front of it."""
    return re.split(r"[:/]", name)[-1]


def _named(names: Iterator[str]) -> str:
    every = list(dict.fromkeys(names))
    if len(every) > _MOST_NAMED:
        return f"{', '.join(every[:_MOST_NAMED])} and {len(every) - _MOST_NAMED} more"
    return listed(every) if every else "nothing else"


RULE = Rule(
    id="install-state",
    title="Is only activated and committed software installed, the same on both?",
    why="Software left inactive or uncommitted by earlier work stops the next upgrade, or rolls it back in the middle.",
    good="IMG   C    17.09.04a.0.6\nAuto abort timer: inactive",
    bad="IMG   I    17.09.05.0.4112\nAuto abort timer: active on install_activate, time before rollback - 01:49:42",
    # Which chassis is whose, and who may stand in for the other one, follows from these two.
    needs=(_COMMAND, "show chassis rmi", "show redundancy"),
    judge=judge,
)
