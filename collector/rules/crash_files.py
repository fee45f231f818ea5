"""crash-files: are there core or crash files newer than the last reload?"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from collector.finding import Answer, Evidence, Status
from collector.rules import own_time
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.witnesses import Judge, Word, about_standby, hear, unassigned, word
from collector.snapshot import MemberSnapshot, Snapshot
from inventory.policy import Policy
from parsers.facts.flash import Directory, File

_PLACES = (
    ("dir bootflash:core", "dir stby-bootflash:core", "in its core directory"),
    ("dir bootflash:", "dir stby-bootflash:", "on its flash"),
)
_CRASH_NAME = re.compile(r"crashinfo.*|system-report.*|.*core.*", re.IGNORECASE)
_MOST_NAMED = 4
# `show version` tells the uptime in whole minutes.
_COARSE = timedelta(minutes=1)
_UTC = ("UTC", "GMT", "Z")
# How far zones reach from UTC: IANA time zone database.
_WEST, _EAST = timedelta(hours=12), timedelta(hours=14)
_REMEDY = (
    "Find out what failed before you plan the window: save the files off the controller and open a case with the "
    "vendor. Don't remove them before the vendor has them, and don't reload the controller to be rid of the trouble: "
    "that can drop clients."
)
_Files = tuple[File, ...]


@dataclass(frozen=True)
class _Reload:
    """When a member was last reloaded, by its own clock, with the clock's zone and the lines; else why nobody knows."""

    time: datetime | None
    zone: str | None = None
    lack: str = ""
    evidence: tuple[Evidence, ...] = ()


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """The core directory, and the crash files at the top of the flash, of each member against its last reload."""
    reloads = {member.name: _reload(snapshot, member) for member in snapshot.members}
    parts: list[Part] = []
    for own_command, standby_command, place in _PLACES:
        everything = own_command.endswith("core")
        files, rows, judged = _files(everything), _rows(everything), _judged(reloads, place)
        of_standby = about_standby(snapshot, standby_command, Directory, files, rows=rows, expected=True)
        for member in snapshot.members:
            own = word(member, member.read(own_command, Directory), files, rows=rows)
            told = [item for item in of_standby if item.about == member.name]
            # Two sentences a member: `likewise` wouldn't tell which one is meant.
            heard = hear(f"list of crash files {place}", own, told, judged)
            parts += [replace(part, about="") for part in heard]
        parts += unassigned(of_standby, snapshot, judged)
    return answer(parts)


def _reload(snapshot: Snapshot, member: MemberSnapshot) -> _Reload:
    now, up = own_time.now(snapshot, member), own_time.uptime(member)
    lacking = [item.lack for item in (now, up) if item.value is None]
    if now.value is None or up.value is None:
        return _Reload(None, lack=lacking[0])
    return _Reload(now.value - up.value, own_time.zone(snapshot, now), evidence=(*now.evidence, *up.evidence))


def _files(everything: bool) -> Callable[[Directory], _Files | None]:
    def files(facts: Directory) -> _Files | None:
        if facts.files is None:
            return None
        return tuple(file for file in facts.files if everything or _CRASH_NAME.fullmatch(file.name))

    return files


def _rows(everything: bool) -> Callable[[Directory], tuple[int, ...]]:
    files = _files(everything)
    return lambda facts: tuple(file.at for file in files(facts) or ())


def _judged(reloads: Mapping[str, _Reload], place: str) -> Judge[_Files]:
    def judged(item: Word[_Files], files: _Files) -> Part:
        if not files:
            return Part(Status.PASS, f"{item.about} has no crash files {place}", item.evidence)
        last = reloads.get(item.about, _Reload(None, lack="it isn't known which member that is"))
        evidence = (*item.evidence, *last.evidence)
        named = f"{item.about} has crash files {place}"
        if last.time is None:
            clause = f"{named} ({_named(files)}), and when it was last reloaded isn't known: {last.lack}"
            return Part(Status.UNKNOWN, clause, evidence, _REMEDY)
        newer = [file for file in files if _is_newer(file, last.time, last.zone)]
        unsure = [file for file in files if _is_newer(file, last.time, last.zone) is None]
        if newer:
            clause = f"{named} newer than its last reload on {_spoken(last.time)}: {_named(newer)}"
            return Part(Status.BLOCK, clause, evidence, _REMEDY)
        if unsure:
            clause = f"{named} of which it isn't known whether they are newer than its last reload: {_named(unsure)}"
            return Part(Status.UNKNOWN, clause, evidence, _REMEDY)
        clause = f"{named} from before its last reload on {_spoken(last.time)} only: {_named(files)}"
        return Part(Status.PASS, clause, evidence)

    return judged


def _is_newer(file: File, reload: datetime, zone: str | None) -> bool | None:
    """Whether the file is from after the reload; None where its date, or the clock's zone, doesn't tell."""
    if file.modified is None:
        return None
    earliest, latest = _by_clock(file.modified, zone)
    if earliest >= reload - _COARSE:
        return True
    return None if latest >= reload - _COARSE else False


def _by_clock(modified: datetime, zone: str | None) -> tuple[datetime, datetime]:
    """The earliest and the latest that a file's date can be by a clock that shows this zone.

    A listing with an offset of its own shows that clock's; one that shows +00:00 beside a clock with a named zone
    shows UTC, and what the name stands for isn't known.
    """
    shown, offset = modified.replace(tzinfo=None), modified.utcoffset()
    if offset is None or (offset and zone is not None and zone.upper() not in _UTC):
        return shown, shown
    utc = shown - offset
    return (utc, utc) if zone is not None and zone.upper() in _UTC else (utc - _WEST, utc + _EAST)


def _named(files: Sequence[File]) -> str:
    shown = [f"{file.name} ({_spoken(file.modified)})" if file.modified else file.name for file in files[:_MOST_NAMED]]
    more = len(files) - len(shown)
    return ", ".join(shown) + (f" and {more} more" if more else "")


def _spoken(time: datetime) -> str:
    return f"{time:%Y-%m-%d} at {time:%H:%M}"


RULE = Rule(
    id="crash-files",
    title="Are there no core or crash files newer than the last reload?",
    why="A process that crashed since the last reload may crash again when the upgrade asks most of it.",
    good="No files in directory",
    bad="18  -rw-   4190208  Feb 03 2027 04:11:52 +01:00  wncd_1_20270203-041150-CET.core.gz",
    # Who may stand in for the other one follows from the last two.
    needs=(
        *(command for own, standby, _ in _PLACES for command in (own, standby)),
        own_time.CLOCK,
        own_time.VERSION,
        "show redundancy",
        "show chassis rmi",
    ),
    judge=judge,
    weight="caution",
)
