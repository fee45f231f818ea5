"""evidence-age: are the captures recent enough for their use, and taken close enough together?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from collector.capture import Ending
from collector.finding import Answer, Status
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.sessions import listed
from collector.snapshot import MemberSnapshot, Snapshot
from inventory.pairs import Window
from inventory.policy import Policy

_AGAIN = "Take new captures of both members, then decide by those."
_CLOCK = (
    "Find out whose clock is wrong, this host's or that of the one that took the captures, have it set right, and take "
    "the captures again."
)
_UNDATED = (
    "Decide by captures that `readypair sweep` or `readypair check` took: only those are dated. Without dates nobody "
    "can tell whether they still hold."
)
# Two hosts that keep their time by NTP differ by less: common practice, no source.
_AHEAD = timedelta(minutes=1)
_MINUTE = timedelta(minutes=1)
_MOST_NAMED = 3


@dataclass(frozen=True)
class _Taken:
    """When one capture was taken."""

    member: str
    command: str
    time: datetime


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """Every capture's start against the moment of judging, and the earliest against the latest."""
    taken = sorted(_taken(snapshot), key=lambda item: item.time)
    parts = [part for member in snapshot.members for part in _undated(snapshot, member)]
    if taken:
        parts += [_together(taken, policy), _ahead(taken, snapshot.moment), _aged(taken, snapshot, policy)]
    return answer(parts)


def _taken(snapshot: Snapshot) -> Iterator[_Taken]:
    for member in snapshot.members:
        for command, capture in member.captures.items():
            if capture.started is not None:
                yield _Taken(member.name, command, capture.started)


def _undated(snapshot: Snapshot, member: MemberSnapshot) -> Iterator[Part]:
    """What isn't dated or isn't there; an old capture that was lost leaves its age unknown."""
    commands = dict.fromkeys((*member.captures, *snapshot.other(member).captures))
    captures = {command: member.captures.get(command) for command in commands}
    missing = [c for c, found in captures.items() if found is None or found.ending is Ending.MISSING]
    undated = [c for c, found in captures.items() if c not in missing and found is not None and not found.started]
    # A failed attempt is dated, but there is nothing whose age could count.
    if missing or not commands:
        what = "nothing" if len(missing) == len(commands) else f"no capture of {_named(missing)}"
        yield Part(Status.UNKNOWN, f"{member.name} gave {what}, so the age of that isn't known", remedy=_AGAIN)
    if undated:
        whole = len(undated) == len(commands) - len(missing)
        what = f"the captures of {member.name}" if whole else f"{member.name}'s captures of {_named(undated)}"
        yield Part(Status.UNKNOWN, f"{what} are undated", remedy=_UNDATED)


def _aged(taken: list[_Taken], snapshot: Snapshot, policy: Policy) -> Part:
    oldest, limit = taken[0], policy.capture_age.nightly_hours
    use = "for a nightly look"
    if _is_close(snapshot.pair.window, snapshot.moment, limit):
        limit, use = policy.capture_age.before_window_hours, "this close to the window"
    age = snapshot.moment - oldest.time
    if age > timedelta(hours=limit):
        clause = f"{_capture(oldest)} is {_long(age)} old, and {use} {limit:g} hours are allowed"
        return Part(Status.BLOCK, clause, remedy=_AGAIN)
    return Part(
        Status.PASS, f"the oldest capture is {_long(max(age, timedelta()))} old, and {use} {limit:g} hours are allowed"
    )


def _is_close(window: Window | None, moment: datetime, hours: float) -> bool:
    """Whether no nightly look comes any more before the window, and it isn't over."""
    return window is not None and window.start - timedelta(hours=hours) <= moment < window.end


def _together(taken: list[_Taken], policy: Policy) -> Part:
    earliest, latest = taken[0], taken[-1]
    apart, limit = latest.time - earliest.time, policy.capture_spread_minutes
    if apart > timedelta(minutes=limit):
        clause = f"{_capture(earliest)} was taken {_long(apart)} before {_capture(latest)}"
        clause += f", and {limit:g} minutes are allowed"
        return Part(Status.BLOCK, clause, remedy=_AGAIN)
    return Part(Status.PASS, f"all were taken within {_long(apart) if apart >= _MINUTE else 'a minute'}")


def apart(snapshot: Snapshot, policy: Policy) -> str:
    """Of captures too far apart to be of one moment, the clause that says so; empty where they are near enough."""
    taken = sorted(_taken(snapshot), key=lambda item: item.time)
    part = _together(taken, policy) if taken else None
    return part.clause if part is not None and part.status is Status.BLOCK else ""


def _ahead(taken: list[_Taken], moment: datetime) -> Part:
    latest = taken[-1]
    if latest.time - moment > _AHEAD:
        clause = f"{_capture(latest)} is dated {_long(latest.time - moment)} after this was judged, so a clock is wrong"
        return Part(Status.BLOCK, clause, remedy=_CLOCK)
    return Part(Status.PASS, "")


def _capture(item: _Taken) -> str:
    return f"`{item.command}` of {item.member}"


def _named(commands: list[str]) -> str:
    names = [f"`{command}`" for command in commands]
    more = len(names) - _MOST_NAMED
    return f"{', '.join(names[:_MOST_NAMED])} and {more} more" if more > 0 else listed(names)


def _long(time: timedelta) -> str:
    if time < _MINUTE:
        return "less than a minute"
    minutes = int(time.total_seconds() // 60)
    if minutes < 120:
        return f"{minutes} minute{'' if minutes == 1 else 's'}"
    return f"{minutes // 60} hours" if minutes < 48 * 60 else f"{minutes // 1440} days"


RULE = Rule(
    id="evidence-age",
    title="Are the captures recent enough, and taken close enough together?",
    why="A decision is as good as its evidence is fresh: what was true last week may not be tonight.",
    good="taken 40 minutes ago, all within 2 minutes",
    bad="taken 3 days ago, the second member's a day after the first one's",
    # It looks at no answer, only at the captures' manifests.
    needs=(),
    judge=judge,
    weight="caution",
)
