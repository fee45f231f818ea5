"""Windows that have ended: a pair that is go for one is ready for a night that is over."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from inventory.pairs import Pair, Window

_MOST_NAMED = 5


def passed(pairs: Sequence[Pair], moment: datetime) -> tuple[str, ...]:
    """One sentence on those of the pairs whose windows have ended at this moment; none where no window has."""
    ended = {pair.name: _day(pair, pair.window) for pair in pairs if pair.window and pair.window.end < moment}
    if not ended:
        return ()
    if len(ended) == 1:
        ((name, day),) = ended.items()
        return (f"{name}'s window ended on {day}; plan another",)
    shown = ", ".join(f"{name} on {day}" for name, day in list(ended.items())[:_MOST_NAMED])
    more = " and others" if len(ended) > _MOST_NAMED else ""
    return (f"the windows of {len(ended)} pairs have ended: {shown}{more}; plan others",)


def _day(pair: Pair, window: Window) -> date:
    """The day on which it ended, by the pair's own clocks."""
    return window.end.astimezone(ZoneInfo(pair.time_zone) if pair.time_zone else window.start.tzinfo).date()
