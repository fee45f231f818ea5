"""Facts about what happened before: switchovers, and when the configuration was changed and saved."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from typing import Self

from parsers import printed_time
from parsers.facts.agreement import Agreement
from parsers.facts.core import Facts, Unreadable
from parsers.matching import Match, Matches
from parsers.printed_time import PrintedTime


@dataclass(frozen=True, kw_only=True)
class Switchover:
    """One row of the history; `time` as the controller's own clock showed it, without its zone; `at` is its line."""

    index: int
    previous_active: int
    current_active: int
    reason: str
    time: datetime | None = None
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class SwitchoverHistory(Facts):
    """`show redundancy switchover history`; no switchovers only where the table's head was seen or it says so.

    The rows count from 1 without a gap, so that none is missing before the last one that is shown. Rows lost behind it
    leave no trace: `show redundancy` tells how many switchovers there were since the start.
    """

    switchovers: tuple[Switchover, ...] = ()

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where a line can't be read, a row is missing, or nothing shows that there are no rows."""
        if matches.unmatched:
            raise Unreadable(f"line {matches.unmatched[0]} of the history can't be read")
        rows = tuple(_switchover(match) for match in matches.of("row"))
        said_none = tuple(match.at for match in matches.of("none"))
        if rows and said_none:
            raise Unreadable("it lists switchovers and says that there are none")
        if [row.index for row in rows] != list(range(1, len(rows) + 1)):
            raise Unreadable("the rows of the history don't count from 1 without a gap")
        shown_by = tuple(row.at for row in rows) or said_none or _head(matches)
        return cls(switchovers=rows, at={"switchovers": shown_by})


def _head(matches: Matches) -> tuple[int, ...]:
    """The lines of the table's head; Unreadable where it isn't whole, since rows may be missing with the rest of it."""
    head = matches.of("heading", "second_heading", "rule")
    if [match.kind for match in head] != ["heading", "second_heading", "rule"]:
        raise Unreadable("it shows no switchovers, and not the whole head of an empty table either")
    return tuple(match.at for match in head)


# The time is known by its own shape, so a reason may have any number of words, and push the time out of its column.
_REASON_AND_TIME = re.compile(r"(\S(?:.*?\S)?)[ \t]+([0-9]{1,2}:[0-9]{2}:[0-9]{2}[ \t.].*)")
_REASON_ALONE = re.compile(r"(?!.*[0-9]:[0-9])\S+(?: \S+){0,20}")


def _switchover(match: Match) -> Switchover:
    rest = match["rest"].strip()
    both = _REASON_AND_TIME.fullmatch(rest)
    printed = printed_time.parse(both[2]) if both else None
    if printed is None and not _REASON_ALONE.fullmatch(rest):
        raise Unreadable(f"line {match.at} of the history doesn't tell reason and time apart")
    return Switchover(
        index=int(match["index"]),
        previous_active=int(match["previous"]),
        current_active=int(match["current"]),
        reason=" ".join((both[1] if both else rest).split()),
        time=printed.time if printed else None,
        at=match.at,
    )


@dataclass(frozen=True, kw_only=True)
class ConfigurationTime(Facts):
    """`show running-config | include Last configuration change` and `… | include NVRAM config last updated`.

    `time` as the controller's own clock showed it, without its zone; `by` is the user that it names, if it does.
    """

    time: datetime | None = None
    zone: str | None = None
    by: str | None = None

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where no line tells the time, a line tells something else, or lines contradict each other."""
        told = Agreement(matches)
        lines = matches.of("time")
        if matches.unmatched:
            raise Unreadable(f"line {matches.unmatched[0]} tells no time of the configuration")
        printed = told.value("time", lines, lambda match: _time_and_user(match)[0])
        if printed is None:
            raise Unreadable("no line tells the time of the configuration")
        by = told.value("by", lines, lambda match: _time_and_user(match)[1])
        at = {**told.at, "zone": told.at["time"]} if printed.zone else told.at
        return cls(time=printed.time, zone=printed.zone, by=by, at=at)


def _time_and_user(match: Match) -> tuple[PrintedTime | None, str | None]:
    time, _, user = match["value"].partition(" by ")
    return printed_time.parse(time), user.strip() or None
