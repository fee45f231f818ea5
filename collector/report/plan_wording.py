"""How a plan's moments, spans and shares are written, in the terminal, on the page and in the procedure alike."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from collector.plan.plan import Plan, Stage

_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_ONE_NIGHT = timedelta(hours=24)

CAUTIONS = (
    "This can drop clients: at the switchover, and wherever an access point restarts.",
    "Where lives or safety depend on the network, agree the outage beforehand with those who are responsible for them.",
    "The vendor's procedure and the change process rule over this paper.",
)
LEGEND = "in 5 of 10 cases it has ended by P50, in 9 of 10 by P90"


@dataclass(frozen=True)
class Clock:
    """How moments of one plan are written: with the day only where it could be mistaken, with the offset likewise."""

    days: bool
    offsets: bool

    def at(self, moment: datetime | None) -> str:
        """A time of day to the nearest minute: `23:05`, `Sun 23:05` or `02:30+01:00`; a dash where there is none."""
        return "-" if moment is None else self._written(_to_minute(moment))

    def by(self, moment: datetime | None) -> str:
        """A last moment, likewise, but never later than it is."""
        return "-" if moment is None else self._written(moment)

    def _written(self, moment: datetime) -> str:
        day = f"{_WEEKDAYS[moment.weekday()]} " if self.days else ""
        return f"{day}{moment:%H:%M}{_offset(moment) if self.offsets else ''}"


def clock(plan: Plan) -> Clock:
    """The clock for everything that lies in the window."""
    moments = list(_moments(plan))
    spread = max(moments) - min(moments) if moments else timedelta()
    return Clock(spread > _ONE_NIGHT, len({moment.utcoffset() for moment in moments}) > 1)


def _moments(plan: Plan) -> Iterable[datetime]:
    found: list[datetime | None] = [plan.window_start, plan.window_end]
    if plan.times is not None:
        found += [plan.times.begin, plan.times.p90]
    for stage in in_window(plan):
        found += [stage.turn_back.last_moment]
        if stage.times is not None:
            found += [stage.times.start, stage.times.p90]
    return (moment for moment in found if moment is not None)


def in_window(plan: Plan) -> list[Stage]:
    """The stages of the window itself that are needed."""
    return [stage for stage in plan.stages if stage.in_window and not stage.skipped]


def before_window(plan: Plan) -> list[Stage]:
    """The stages that are done before the window opens and are needed."""
    return [stage for stage in plan.stages if not stage.in_window and not stage.skipped]


def day(moment: datetime) -> str:
    """A date such as `Sat 6 Feb 2027`."""
    return f"{_WEEKDAYS[moment.weekday()]} {moment.day} {_MONTHS[moment.month - 1]} {moment.year}"


def full(moment: datetime | None) -> str:
    """A moment that stands alone, the seconds left out: `Sat 6 Feb 2027 23:00+01:00`; `not known` for none."""
    if moment is None:
        return "not known"
    return f"{day(moment)} {moment:%H:%M}{_offset(moment)}"


def window(plan: Plan) -> str:
    """The window's edges, length and zone; a sentence where the pair has none."""
    start, end = plan.window_start, plan.window_end
    if start is None or end is None:
        return "none in the inventory"
    length = span((end - start).total_seconds())
    zone = f", {plan.zone}" if "/" in plan.zone else ""
    closes = full(end) if end.date() != start.date() or _offset(end) != _offset(start) else f"{_to_minute(end):%H:%M}"
    return f"{full(start)} to {closes} ({length}{zone})"


def span(seconds: float | None) -> str:
    """A duration as a person says it: `1 h 25 min`, `40 s`; `not known` where there is none."""
    if seconds is None:
        return "not known"
    if abs(seconds) < 90 and round(seconds) != 60:
        return f"{seconds:.0f} s"
    sign = "-" if seconds < 0 else ""
    days, minutes = divmod(round(abs(seconds) / 60), 24 * 60)
    hours, minutes = divmod(minutes, 60)
    parts = ((days, "d"), (hours, "h"), (minutes, "min"))
    return sign + (" ".join(f"{number} {unit}" for number, unit in parts if number) or "0 min")


def spare(plan: Plan) -> str:
    """By how much it fits into its window at the 90th percentile, or doesn't; empty where that isn't known."""
    if plan.times is None:
        return ""
    slack = plan.times.slack_seconds
    return f"{span(slack)} to spare" if slack >= 0 else f"{span(-slack)} too long"


def count(number: int | None) -> str:
    """A number, with a thousands' separator; `not known` where there is none."""
    return "not known" if number is None else f"{number:,}"


def megabytes(size: int | None) -> str:
    """A size in decimal megabytes (10^6 bytes, IEC 80000-13)."""
    return "not known" if size is None else f"{size / 10**6:,.0f} MB"


def _to_minute(moment: datetime) -> datetime:
    """The nearest full minute."""
    return (moment + timedelta(seconds=30)).replace(second=0, microsecond=0)


def _offset(moment: datetime) -> str:
    text = moment.strftime("%z")
    return f"{text[:3]}:{text[3:]}"
