"""recent-switchover: was there a switchover, a failure of the standby or an unplanned reload lately?"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime, timedelta

from collector.finding import Answer, Status
from collector.rules import own_time
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.sessions import attributed, hear_each, quiet, unknown
from collector.rules.witnesses import Word
from collector.snapshot import MemberSnapshot, Reading, Snapshot
from inventory.policy import Policy
from parsers.facts.history import Switchover, SwitchoverHistory
from parsers.facts.redundancy import Redundancy
from parsers.facts.software import Version

_HISTORY = "show redundancy switchover history"
_REMEDY = (
    "Find out why before you plan the window: the logs and the crash files of both members, power, the link between "
    "the two, and with the vendor's support where none of them tells. A pair that failed by itself may do so again "
    "halfway through an upgrade. Don't switch over or reload to try it: that can drop clients."
)
# What people and upgrades order, as such controllers word it: common practice, no source.
_ORDERED = re.compile(
    r"user|force|reload command|reload cli|reload slot|\bcli\b|admin|install|issu|in.service|image upgrade|operator",
    re.IGNORECASE,
)
# What went wrong, even where an order stands beside it: an upgrade that aborts was not planned to.
_WENT_WRONG = re.compile(
    r"abort|rollback|fail|fault|crash|lost|loss|down|watchdog|exception|error|critical|timeout|timed out|gateway"
    r"|removed|power|panic|unknown|unexpected|unplanned",
    re.IGNORECASE,
)
_Told = tuple[str, Part]


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """The history of switchovers, the count of the standby's failures and each member's last reload."""
    days = timedelta(days=policy.recent_days)
    histories = hear_each(snapshot, [_HISTORY], SwitchoverHistory, "whether there was a switchover lately")
    counts = hear_each(snapshot, ["show redundancy"], Redundancy, "whether the standby failed lately")
    versions = hear_each(snapshot, [own_time.VERSION], Version, "whether it was reloaded lately", stand_in=False)
    members = {member.name: member for member in snapshot.members}
    said: list[_Told] = []
    for history in histories.readings:
        now = own_time.now(snapshot, members[history.member])
        said += [(history.member, part) for part in _switchovers(history, now, days)]
        said += [(history.member, part) for part in _all_listed(history, members[history.member])]
    for count in counts.readings:
        said.append((count.member, _failures(count, members[count.member], days)))
    for version in versions.readings:
        said.append((version.member, _reload(version, members[version.member], days)))
    summary = Part(Status.PASS, f"no unplanned switchover, failure of the standby or reload in the last {_days(days)}")
    return answer([summary, *attributed(said), *histories.parts, *counts.parts, *versions.parts])


def _switchovers(history: Reading[SwitchoverHistory], now: Word[datetime], days: timedelta) -> Iterator[Part]:
    for row in history.facts.switchovers if history.facts is not None else ():
        evidence = history.evidence(lines=(row.at,))
        named = _switchover(row)
        if row.time is not None and now.value is not None and now.value - row.time > days:
            yield quiet(*evidence)
        elif is_planned(row.reason):
            yield Part(Status.PASS, f"{named} was planned", evidence)
        elif row.time is None:
            yield unknown(f"{named} isn't dated", evidence)
        elif now.value is None:
            yield unknown(f"{named}, and how long ago that is isn't known: {now.lack}", evidence)
        else:
            yield Part(Status.BLOCK, f"{named} was unplanned", (*evidence, *now.evidence), _REMEDY)


def _switchover(row: Switchover) -> str:
    when = f" on {row.time:%Y-%m-%d} at {row.time:%H:%M}" if row.time is not None else ""
    return f"a switchover from chassis {row.previous_active} to {row.current_active}{when} ({_reason(row.reason)})"


def _all_listed(history: Reading[SwitchoverHistory], member: MemberSnapshot) -> Iterator[Part]:
    """A history that holds fewer rows than the switchovers that the same session counts isn't whole."""
    reading = member.read("show redundancy", Redundancy)
    counted = reading.facts.switchovers if reading.facts is not None else None
    listed = len(history.facts.switchovers) if history.facts is not None else 0
    if reading.facts is not None and counted is None:
        yield unknown(f"`show redundancy` on {member.name} doesn't show how many switchovers there were")
    elif counted is not None and counted > listed:
        clause = f"`show redundancy` on {member.name} counts {counted} switchovers, and `{_HISTORY}` lists {listed}"
        yield unknown(clause, reading.evidence("switchovers"))


def _failures(count: Reading[Redundancy], member: MemberSnapshot, days: timedelta) -> Part:
    """The count has no date: it runs since the controller came up."""
    failures = count.facts.standby_failures if count.facts is not None else None
    evidence = count.evidence("standby_failures")
    if failures is None:
        return unknown(f"`show redundancy` on {member.name} doesn't show how often the standby failed")
    if failures == 0:
        return quiet(*evidence)
    up = own_time.uptime(member)
    named = f"the standby failed {failures} time{'' if failures == 1 else 's'}"
    evidence = (*evidence, *up.evidence)
    if up.value is None:
        return unknown(f"{named}, and since when that is counted isn't known: {up.lack}", evidence)
    named += f" since {member.name} came up {_days(up.value)} ago"
    if up.value <= days:
        return Part(Status.BLOCK, named, evidence, _REMEDY)
    return Part(Status.PASS, f"{named}; when isn't told", evidence)


def _reload(version: Reading[Version], member: MemberSnapshot, days: timedelta) -> Part:
    reason = version.facts.last_reload_reason if version.facts is not None else None
    up = own_time.uptime(member)
    evidence = version.evidence("last_reload_reason", "uptime_seconds")
    if up.value is not None and up.value > days:
        return quiet(*evidence)
    when = f"{_days(up.value)} ago" if up.value is not None else "at a time that isn't told"
    if reason is None:
        return unknown(f"{member.name} was reloaded {when}, and why isn't told", evidence)
    named = f"{member.name} was reloaded {when} ({_reason(reason)})"
    if is_planned(reason):
        return Part(Status.PASS, f"{named}, which was planned", evidence)
    if up.value is None:
        return unknown(named, evidence)
    return Part(Status.BLOCK, f"{named}, which was unplanned", evidence, _REMEDY)


def is_planned(reason: str) -> bool:
    """Whether a reason tells of an order that a person or an upgrade gave; a reason that doesn't isn't planned."""
    plain = re.sub(r"[_\-]+", " ", reason)
    return _ORDERED.search(plain) is not None and _WENT_WRONG.search(plain) is None


def _reason(reason: str) -> str:
    return " ".join(reason.split()).rstrip(".") or "no reason given"


def _days(time: timedelta) -> str:
    days = time.total_seconds() / 86_400
    if days < 1:
        hours, minutes = divmod(int(time.total_seconds() // 60), 60)
        number, unit = (hours, "hour") if hours else (minutes, "minute")
        return f"{number} {unit}{'' if number == 1 else 's'}"
    return f"{int(days)} day{'' if int(days) == 1 else 's'}"


RULE = Rule(
    id="recent-switchover",
    title="Was there no unplanned switchover, failure or reload lately?",
    why="A pair that switched over or reloaded by itself last week has a cause that is still there tonight.",
    good="Last reload reason: Image Install",
    bad="1       1         2       active unit removed              04:11:52 CET Wed Feb 3 2027",
    # Who may stand in for the other one follows from the last one as well.
    needs=(_HISTORY, own_time.VERSION, own_time.CLOCK, "show redundancy", "show chassis rmi"),
    judge=judge,
    weight="caution",
)
