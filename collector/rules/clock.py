"""clock: are both members synchronised by NTP, and do their clocks agree with each other and with this host's?

A member's clock was printed at some time between the start of its capture and the end. So how far it is ahead of this
host lies between two bounds, and a pair's difference between two others. A clock is apart where even the nearer
bound is beyond the policy's seconds, and within where both are within; in between it isn't known.

`show clock` names its zone by a word that anyone may choose and that often stands for several zones. Where the word
isn't among those of one meaning, the clocks are compared modulo a quarter of an hour, since all zones in use today
differ by whole quarters (IANA time zone database), and the finding says that the hours couldn't be compared.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, timedelta

from collector.finding import Answer, Evidence, Status
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.sessions import hear_each, listed, quiet, unknown
from collector.snapshot import Reading, Snapshot
from inventory.policy import Policy
from parsers.facts.clock import Clock, NtpStatus

_NTP, _CLOCK = "show ntp status", "show clock"
# Minutes ahead of UTC; abbreviations that the IANA time zone database uses for one offset only.
_ZONES = {
    "UTC": 0,
    "GMT": 0,
    "WET": 0,
    "WEST": 60,
    "CET": 60,
    "CEST": 120,
    "EET": 120,
    "EEST": 180,
    "MSK": 180,
    "JST": 540,
    "NZST": 720,
    "NZDT": 780,
}
_QUARTER = 900.0
_REMEDY = (
    "Find out why that clock isn't right (the time server, the way to it, its key) and mend it before the window: "
    "logs, certificates and the evidence of the upgrade all go by it. A clock that is far off had better be brought "
    "back by the vendor's procedure, since a jump can make certificates invalid and access points drop: agree it "
    "through your change process."
)
_HOST = "Check this host's clock as well: both members are compared with it."
_UNDATED = "Take the captures with a sweep or a check, which note when each was taken, or compare the clocks by hand."
_MARKS = {"*": "not authoritative (marked *)", ".": "no longer synchronised (marked .)"}


@dataclass(frozen=True)
class _Ahead:
    """By how many seconds a member's clock is ahead of this host's: at least `least` and at most `most`.

    `whole` is False where only the parts of a quarter of an hour could be compared.
    """

    member: str
    least: float
    most: float
    whole: bool
    evidence: tuple[Evidence, ...]


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """NTP and the clock as each member tells it; nobody can tell it for another."""
    ntp = hear_each(snapshot, [_NTP], NtpStatus, "whether NTP synchronises it", stand_in=False)
    clocks = hear_each(snapshot, [_CLOCK], Clock, "whether its clock is right", stand_in=False)
    parts: list[Part] = []
    for status in ntp.readings:
        parts.append(_synchronised(status))
    found: list[_Ahead] = []
    for clock in clocks.readings:
        parts.append(_marked(clock))
        ahead = _ahead(snapshot, clock)
        if isinstance(ahead, Part):
            parts.append(ahead)
        else:
            found.append(ahead)
            parts.append(_apart(f"{ahead.member}'s clock and this host's", [ahead], policy, f"{_REMEDY} {_HOST}"))
    if len(found) == 2:
        parts.append(_apart(f"the clocks of {listed(item.member for item in found)}", found, policy, _REMEDY))
    return answer([_summary(snapshot, found, policy), *parts, *ntp.parts, *clocks.parts])


def _summary(snapshot: Snapshot, found: list[_Ahead], policy: Policy) -> Part:
    names = listed(member.name for member in snapshot.members)
    clause = f"NTP synchronises {names}, and their clocks are within {policy.clock_seconds:g} s of this host's"
    return Part(Status.PASS, "; ".join([clause, *_uncompared(snapshot, found)]))


def _uncompared(snapshot: Snapshot, found: list[_Ahead]) -> Iterator[str]:
    for member in snapshot.members:
        if any(item.member == member.name and not item.whole for item in found):
            clock = member.read(_CLOCK, Clock).facts
            yield f"the hours of {member.name} can't be compared, since the zone {clock.zone if clock else ''} is open"


def _synchronised(reading: Reading[NtpStatus]) -> Part:
    said = reading.facts.synchronised if reading.facts is not None else None
    evidence = reading.evidence("synchronised")
    if said is None:
        return unknown(f"`{_NTP}` on {reading.member} doesn't say whether its clock is synchronised", evidence)
    if said:
        return quiet(*evidence)
    return Part(Status.BLOCK, f"NTP doesn't synchronise {reading.member}'s clock", evidence, _REMEDY)


def _marked(reading: Reading[Clock]) -> Part:
    mark = reading.facts.mark if reading.facts is not None else None
    evidence = reading.evidence("time", "mark")
    if mark is None or mark.strip() not in ("", *_MARKS):
        return unknown(f"`{_CLOCK}` on {reading.member} doesn't show whether its time is synchronised", evidence)
    if not mark.strip():
        return quiet(*evidence)
    return Part(Status.BLOCK, f"{reading.member} marks its clock as {_MARKS[mark.strip()]}", evidence, _REMEDY)


def _ahead(snapshot: Snapshot, reading: Reading[Clock]) -> _Ahead | Part:
    """How far the clock is ahead, or the part that says why that isn't known."""
    member = next(item for item in snapshot.members if item.name == reading.member)
    capture, facts = member.captures.get(_CLOCK), reading.facts
    evidence = reading.evidence("time", "zone", "mark")
    if facts is None or facts.time is None:
        return unknown(f"`{_CLOCK}` on {reading.member} doesn't show the time", evidence)
    if facts.zone is None:
        return unknown(f"`{_CLOCK}` on {reading.member} doesn't show the zone of its time", evidence)
    if capture is None or capture.started is None or capture.seconds is None:
        clause = f"{reading.member}'s capture of `{_CLOCK}` isn't dated, so its clock can't be compared"
        return Part(Status.UNKNOWN, clause, evidence, _UNDATED, about=reading.member)
    minutes = _ZONES.get(facts.zone.strip().upper())
    clock = facts.time.replace(tzinfo=UTC) - timedelta(minutes=minutes or 0)
    most = (clock - capture.started).total_seconds()
    return _Ahead(reading.member, most - capture.seconds, most, minutes is not None, evidence)


def _apart(what: str, clocks: list[_Ahead], policy: Policy, remedy: str) -> Part:
    """Whether one clock is within the policy's seconds of this host's, or two of each other."""
    first, *others = clocks
    least = first.least - others[0].most if others else first.least
    most = first.most - others[0].least if others else first.most
    evidence = tuple(line for clock in clocks for line in clock.evidence)
    modulo = "" if all(clock.whole for clock in clocks) else ", whole quarters of an hour aside"
    if modulo:
        whole = round((least + most) / 2 / _QUARTER) * _QUARTER
        least, most = least - whole, most - whole
    least, most = round(least, 3), round(most, 3)
    nearest = 0.0 if least <= 0 <= most else min(abs(least), abs(most))
    if nearest > policy.clock_seconds:
        clause = f"{what} are {_seconds(nearest)} s{_days(nearest)} apart{modulo}, more than {policy.clock_seconds:g} s"
        return Part(Status.BLOCK, clause, evidence, remedy)
    if max(abs(least), abs(most)) > policy.clock_seconds:
        clause = f"the answers took too long to tell whether {what} are within {policy.clock_seconds:g} s"
        return unknown(clause, evidence)
    return quiet(*evidence)


def _days(seconds: float) -> str:
    """What nobody works out of that many seconds; empty below two days."""
    days = round(seconds / 86400)
    return f" ({days:,} days)" if days >= 2 else ""


def _seconds(number: float) -> str:
    """To the millisecond near a limit of seconds, in whole seconds where it is a minute or more."""
    return f"{number:,.0f}" if number >= 60 else f"{number:.3f}".rstrip("0").rstrip(".")


RULE = Rule(
    id="clock",
    title="Do both members' clocks run by NTP, and agree with each other and with this host's?",
    why="With clocks that differ nobody can read two logs side by side, and certificates and this evidence go by them.",
    good="Clock is synchronized, stratum 3, reference is 192.0.2.123",
    bad="Clock is unsynchronized, stratum 16, no reference clock",
    needs=(_NTP, _CLOCK),
    judge=judge,
    weight="caution",
)
