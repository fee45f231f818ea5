"""How many nights in a row a pair was go, and on how many of the last thirty."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta
from itertools import takewhile

from collector.finding import Verdict
from collector.nights.night import Night


def streak(nights: Sequence[Night], fleet_nights: Iterable[date]) -> int:
    """How many nights in a row, up to the last that counts, the pair was go.

    Those count on which the whole fleet was swept, where the pair's silence breaks the row, and those that have a word
    on the pair itself. A night without either counts for nothing and breaks nothing.
    """
    return sum(1 for _ in takewhile(bool, (ready for _, ready in _latest_first(nights, fleet_nights))))


def ready_share(nights: Sequence[Night], fleet_nights: Iterable[date], *, last: int = 30) -> tuple[int, int]:
    """On how many nights the pair was go, and of how many: of the `last` by the calendar, up to the last that counts.

    The same nights count as for the streak, from the first of `nights` on: before, there was no such pair.
    """
    counted = list(_latest_first(nights, fleet_nights))
    since = counted[0][0] - timedelta(days=last) if counted else date.min
    recent = [ready for night, ready in counted if night > since]
    return sum(recent), len(recent)


def _latest_first(nights: Sequence[Night], fleet_nights: Iterable[date]) -> Iterator[tuple[date, bool]]:
    """The nights that count, each with whether the pair was go: undecided, or not reached in time, it wasn't."""
    ready = {night.night: night.verdict is Verdict.GO and night.in_time for night in nights}
    first = min(ready, default=date.max)
    for night in sorted({*ready, *fleet_nights}, reverse=True):
        if night >= first:
            yield night, ready.get(night, False)
