"""outlook: is a pair that is go tonight still go on its window's date?

What a store remembers of the flash of earlier nights is carried forward to the window, and a block that is waived
tonight is a block again once its waiver has ended. The certificates' ends are in the rule `certificates`, which looks
ahead to the window by itself. Without a store, or with too few nights, nothing is said: that is neither good nor bad.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import datetime, tzinfo
from zoneinfo import ZoneInfo

from collector.finding import Answer, Finding, Status
from collector.nights import moments
from collector.nights.foretelling import clause
from collector.nights.night import Room
from collector.nights.outlook import FEWEST, Forecast, Silence, forecast, series
from collector.rules import flash_space
from collector.rules.flash_space import OWN, PEER, listing, rooms
from collector.rules.parts import Part, answer
from collector.rules.rule import Found, Rule
from collector.rules.sessions import lack
from collector.snapshot import MemberSnapshot, Snapshot
from inventory.pairs import Pair, Window
from inventory.policy import Policy
from parsers.facts.flash import Directory

_FREE = (
    "Find out what fills that member's flash (logs, crash files, old images) and free space by the vendor's clean-up "
    "procedure before that date, never what the running release or the boot variable needs; or have an earlier window."
)
_RENEW = (
    "Mend what that rule says before the window, or have whoever accepts it renew the waiver until the window is over."
)


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """Whether free flash still holds the images when the window starts."""
    return judge_after(snapshot, policy, Found())


def judge_after(snapshot: Snapshot, policy: Policy, found: Found) -> Answer:
    """Whether free flash still holds the images then, and each waiver still holds for what was found."""
    window = snapshot.pair.window
    if window is None:
        return answer([_silent("no window is planned, so there is no date to look ahead to")])
    if window.start <= snapshot.moment:
        return answer([_silent("the window has begun already, so there is nothing to look ahead to")])
    parts = [*_flash(snapshot, window, policy), *_waivers(snapshot.pair, window, found)]
    if any(part.status is Status.NOT_APPLICABLE for part in parts):
        # Silence on one member is no pass, whatever the other's flash promises.
        parts = [replace(each, status=Status.NOT_APPLICABLE) if each.status is Status.PASS else each for each in parts]
    return answer(parts)


def _flash(snapshot: Snapshot, window: Window, policy: Policy) -> Iterator[Part]:
    if policy.rules.get(flash_space.RULE.id) == "off":
        yield _silent(f"the policy turns {flash_space.RULE.id} off, so where free flash leads decides nothing")
        return
    if not any(snapshot.past.flash.values()):
        yield _silent("no earlier night of this pair is known: a store remembers them (`--store`)")
        return
    for member, room in zip(snapshot.members, rooms(snapshot, policy), strict=True):
        yield from _unheard(snapshot, member, room)
        if room.free is not None and room.needed is not None:
            yield _forecast(snapshot, member, room, window)


def _unheard(snapshot: Snapshot, member: MemberSnapshot, room: Room) -> Iterator[Part]:
    """Where earlier nights would carry a forecast, what was lost tonight could have been the trouble."""
    if len(snapshot.past.flash.get(member.name, ())) < FEWEST - 1:
        if room.free is None or room.needed is None:
            yield _silent(f"{member.name} has too few earlier nights for a forecast", member)
        return
    own = member.read(OWN, Directory)
    if room.free is None or (own.facts is None and member.reached and not own.refused):
        yield Part(Status.UNKNOWN, f"where free flash of {member.name} leads isn't known: {lack(member, own)}")
    elif room.needed is None:
        clause = f"where free flash of {member.name} leads isn't known: it isn't known how much is needed"
        yield Part(Status.UNKNOWN, clause, listing(snapshot, member).evidence("bytes_free"))


def _forecast(snapshot: Snapshot, member: MemberSnapshot, room: Room, window: Window) -> Part:
    assert room.free is not None
    assert room.needed is not None
    if room.free < room.needed:
        return _silent(f"{member.name} has too little free flash tonight already: see {flash_space.RULE.id}", member)
    tonight = moments.asked(snapshot) or moments.aware(snapshot.moment)
    found = forecast(series(room, snapshot.past, tonight))
    if isinstance(found, Silence):
        return _silent(f"{member.name} {found.reason}", member)
    words = clause(member.name, found, _zone(snapshot.pair, window), window.start)
    evidence = listing(snapshot, member).evidence("bytes_free")
    status = _status(found, window.start)
    return Part(status, words, evidence, "" if status is Status.PASS else _FREE)


def _status(found: Forecast, start: datetime) -> Status:
    """Likely too little is what a site may block on; where only the steepest fall leads there, it is a caution."""
    then = found.at(start)
    if then.likely < found.needed:
        return Status.BLOCK
    return Status.CAUTION if then.least < found.needed else Status.PASS


def _waivers(pair: Pair, window: Window, found: Found) -> Iterable[Part]:
    """A waived block, by no waiver that still holds when the window starts."""
    for finding in found.findings:
        if finding.waiver is not None and not _waived_then(finding, pair, window, found):
            end = finding.waiver.until
            until = end.isoformat(sep=" ", timespec="minutes") if isinstance(end, datetime) else end.isoformat()
            words = f"the waiver of {finding.rule} by {finding.waiver.who} ends on {until}, before the window"
            yield Part(Status.BLOCK, words, finding.evidence, _RENEW)


def _waived_then(finding: Finding, pair: Pair, window: Window, found: Found) -> bool:
    waivers = (each for each in found.waivers if each.rule == finding.rule and each.matches(pair.name))
    return any(waiver.holds(pair, window.start) for waiver in waivers)


def _zone(pair: Pair, window: Window) -> tzinfo | None:
    return ZoneInfo(pair.time_zone) if pair.time_zone is not None else window.start.tzinfo


def _silent(words: str, member: MemberSnapshot | None = None) -> Part:
    return Part(Status.NOT_APPLICABLE, words, about=member.name if member is not None else "")


RULE = Rule(
    id="outlook",
    title="Is a pair that is go tonight still go on its window's date?",
    why="What is in order tonight may have run out by the window, and nobody looks until then.",
    good="26458804224 bytes total (19503411200 bytes free), 12 MB less every night",
    bad="26458804224 bytes total (4411203072 bytes free), 120 MB less every night",
    needs=(OWN, PEER),
    judge=judge,
    judge_after=judge_after,
    weight="caution",
)
