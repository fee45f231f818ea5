"""What controllers print of time: `21:02:44 CET Fri Feb 5 2027`, and spans as `2 days, 3 hours, 1 minute`."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
"""The months as printed, January first."""

_WEEKDAY = "(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun)"
_PRINTED = re.compile(
    r"(?P<hour>[0-9]{1,2}):(?P<minute>[0-9]{2}):(?P<second>[0-9]{2})(?:[.](?P<fraction>[0-9]{1,6}))?"
    rf"(?: (?P<zone>(?!{_WEEKDAY} )(?:[A-Za-z][A-Za-z0-9/+-]{{0,11}}|[+-][0-9]{{1,2}}(?::?[0-9]{{2}})?)))?"
    rf"(?: {_WEEKDAY})? (?P<month>{'|'.join(MONTHS)}) (?P<day>[0-9]{{1,2}}) (?P<year>[0-9]{{4}})"
)


@dataclass(frozen=True)
class PrintedTime:
    """A time without its zone, and the zone's name as printed: what a name such as CET stands for is the site's."""

    time: datetime
    zone: str | None = None


def parse(text: str) -> PrintedTime | None:
    """Read a time with its date, with or without fraction, zone and weekday; None where it is none."""
    found = _PRINTED.fullmatch(" ".join(text.split()))
    if found is None:
        return None
    fraction = int((found["fraction"] or "").ljust(6, "0"))
    day = (int(found["year"]), MONTHS.index(found["month"]) + 1, int(found["day"]))
    try:
        time = datetime(*day, int(found["hour"]), int(found["minute"]), int(found["second"]), fraction)
    except ValueError:
        return None
    return PrintedTime(time, found["zone"])


# A year of 365 days: common practice, no source.
_SECONDS = {"year": 31_536_000, "week": 604_800, "day": 86_400, "hour": 3_600, "minute": 60, "second": 1}
_SPAN = re.compile(",? ?".join(rf"(?:(?P<{unit}>[0-9]{{1,6}}) {unit}s?)?" for unit in _SECONDS))


def span(text: str) -> int | None:
    """The seconds of a span in units from years to seconds; None where it is none."""
    found = _SPAN.fullmatch(text.strip())
    if found is None or not any(found.groups()):
        return None
    return sum(int(found[unit] or 0) * seconds for unit, seconds in _SECONDS.items())
