"""Where free flash leads: when it no longer holds the images, from the nights before and tonight's.

The fall is Sen's slope of the latest thirty nights that count, and each line starts tonight at the median of all nights
carried forward along it: one odd night moves neither. Which nights count:

- A big jump that stays (a clean-up, a file that somebody put there) makes another flash of it: the nights since count.
- A jump that is gone within two nights is an odd night and no jump; the very latest can't be told yet, and is one.
- Jumps down that come three times or more are the way this flash falls, and none of them cuts the series.
- Where it jumps up three times or more, something cleans it up again and again. What counts then is how low it gets,
  the night before each jump, since the saw's own teeth would be taken for a fall, and of these the nights since a file
  was put there or removed; and all nights since the last jump where the next one is overdue by half the longest tooth.
- The image that is staged takes from what is free and from what is needed alike, and is no jump.

A jump is big from 100 MB on, and beyond five times the usual spread of the nightly moves around their median, measured
by the median of absolute deviations as is common for outliers.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from collector.nights.night import Room
from collector.nights.past import Past, Point
from collector.nights.slope import slope

# In nights, tonight's among them: what a trend takes at least, what it is taken from at most, and how far back a store
# is asked. What was before says nothing about the next window, and the jumps of a saw want more nights than a trend.
FEWEST, MOST, LOOK_BACK = 7, 30, 60
_SIGHT = timedelta(days=365)
_BIG, _SPREADS, _AGAIN, _ODD_NIGHTS, _OVERDUE = 100_000_000, 5, 3, 2, 1.5
# From the median of absolute deviations to the standard deviation of what is normally distributed.
_TO_DEVIATION = 1.4826


@dataclass(frozen=True)
class Line:
    """Free bytes from a moment in UTC on: so many then, and so many more a day."""

    start: datetime
    free: float
    a_day: float

    def at(self, moment: datetime) -> float:
        """Free bytes at a moment; none is the least that there can be."""
        return max(self.free + self.a_day * ((moment - self.start) / timedelta(days=1)), 0.0)

    def under(self, needed: int) -> datetime | None:
        """From when on there are fewer than so many bytes; None where that isn't within a year."""
        if self.free < needed:
            return self.start
        if self.a_day >= 0 or self.free + self.a_day * _SIGHT.days >= needed:
            return None
        return self.start + timedelta(days=(self.free - needed) / -self.a_day)


class Span(NamedTuple):
    """Free bytes at some moment: what is likely, and the least and the most by the slope's interval."""

    likely: float
    least: float
    most: float


class Shortfall(NamedTuple):
    """From when on there isn't room enough, by the slope and the ends of its interval; None: not within a year."""

    likely: datetime | None
    earliest: datetime | None
    latest: datetime | None


@dataclass(frozen=True)
class Forecast:
    """How a member's free flash falls, by `nights` nights since that of `since`.

    `steepest` and `gentlest` are the lines at the ends of the slope's 95 % interval. `low_points` says that the nights
    are those on which a flash that is cleaned up again and again was at its lowest. `needed` is tonight's, in bytes.
    """

    needed: int
    nights: int
    since: datetime
    likely: Line
    steepest: Line
    gentlest: Line
    low_points: bool = False

    def at(self, moment: datetime) -> Span:
        """How much will be free at a later moment."""
        return Span(self.likely.at(moment), self.steepest.at(moment), self.gentlest.at(moment))

    @property
    def shortfall(self) -> Shortfall:
        """When there will be less than what is needed tonight."""
        return Shortfall(*(line.under(self.needed) for line in (self.likely, self.steepest, self.gentlest)))


@dataclass(frozen=True)
class Silence:
    """No forecast, and why: a clause that the member's name goes before, such as `has 3 nights of the 7 …`."""

    reason: str


def series(room: Room, past: Past, moment: datetime, night: date | None = None) -> tuple[Point, ...]:
    """The member's points up to the moment at which the room was as it is, one a night, that one last.

    Only the nights of `LOOK_BACK`, and none where the room isn't known. `night` is the one that the moment belongs to;
    whoever has it from a store gives it, as its moments know nothing of the pair's offset.
    """
    if room.free is None:
        return ()
    tonight = Point(moment, room.free, room.needed, night)
    nights = {each.of_night: each for each in past.flash.get(room.member, ())}
    earliest = tonight.of_night - timedelta(days=LOOK_BACK - 1)
    before = [each for of_night, each in sorted(nights.items()) if earliest <= of_night < tonight.of_night]
    return (*before, tonight)


def forecast(points: Sequence[Point]) -> Forecast | Silence:
    """From a member's points, the oldest first, one a night, the last one tonight's.

    ValueError where there is none, or tonight's need isn't known.
    """
    if not points or points[-1].needed is None:
        raise ValueError("a forecast starts from tonight's free flash and what is needed of it")
    if len(points) < FEWEST:
        return Silence(f"has {_nights(len(points))} of the {FEWEST} that a forecast takes")
    counted = _counted(list(_in_tonights_terms(points)))
    if len(counted.points) < FEWEST:
        return Silence(f"{counted.why_few} of the {FEWEST} that a forecast takes")
    return _fall(counted, points[-1])


class _Dot(NamedTuple):
    """Days before tonight's moment, as a negative number, and bytes."""

    day: float
    free: float


@dataclass(frozen=True)
class _Counted:
    points: list[_Dot]
    why_few: str = ""
    low_points: bool = False


def _fall(counted: _Counted, tonight: Point) -> Forecast | Silence:
    dots = counted.points[-MOST:]
    found = slope(dots)
    if found.high >= 0:
        return Silence(f"shows no fall of free flash by {_nights(len(dots))}")
    steepest, likely, gentlest = (
        Line(_utc(tonight), median(dot.free - each * dot.day for dot in dots), each)
        for each in (found.low, found.median, found.high)
    )
    assert tonight.needed is not None
    since = _utc(tonight) + timedelta(days=dots[0].day)
    return Forecast(tonight.needed, len(dots), since, likely, steepest, gentlest, counted.low_points)


def _in_tonights_terms(points: Sequence[Point]) -> Iterator[_Dot]:
    """Each night's free flash as it would have been with as much staged as tonight."""
    tonight = _utc(points[-1])
    needed = _filled([point.needed for point in points])
    shift = 0
    shifts = [0]
    for number in range(len(points) - 1, 0, -1):
        moved = points[number].free - points[number - 1].free
        of_need = needed[number] - needed[number - 1]
        # Another target or another policy moves the need alone.
        shift += of_need if abs(moved - of_need) < abs(moved) else 0
        shifts.append(shift)
    for point, own in zip(points, reversed(shifts), strict=True):
        yield _Dot((_utc(point) - tonight) / timedelta(days=1), point.free + own)


def _utc(point: Point) -> datetime:
    """Its moment in UTC: between two moments of one zone the difference would be that of the clocks on the wall."""
    return point.moment.astimezone(UTC)


def _filled(needed: Sequence[int | None]) -> list[int]:
    """Where it isn't known what was needed, what was needed next."""
    filled: list[int] = []
    for each in reversed(needed):
        filled.append(each if each is not None else filled[-1])
    return filled[::-1]


def _counted(dots: list[_Dot]) -> _Counted:
    jumps = _jumps(dots)
    up = [number for number in jumps if dots[number].free > dots[number - 1].free]
    down = [number for number in jumps if number not in up]
    if len(up) >= _AGAIN and not _overdue([dots[number].day for number in up]):
        lows = _since_a_jump([dots[number - 1] for number in up])
        return _Counted(lows, f"is cleaned up again and again, with {len(lows)} low points", low_points=True)
    cut = max([*up, *(down if len(down) < _AGAIN else ())], default=0)
    since = _nights(len(dots) - cut)
    return _Counted(dots[cut:], f"has {since} since its free flash jumped")


def _since_a_jump(lows: list[_Dot]) -> list[_Dot]:
    """The low points since somebody put a file there or took one away, which is another flash here as elsewhere."""
    jumps = _jumps(lows)
    return lows[jumps[-1] :] if 0 < len(jumps) < _AGAIN else lows


def _overdue(days: Sequence[float]) -> bool:
    """Whether the next of the moves that came on these days should have come before tonight."""
    return -days[-1] > _OVERDUE * max(after - before for before, after in pairwise(days))


def _jumps(dots: Sequence[_Dot]) -> list[int]:
    """The numbers of the dots before which the level made a big move that stayed."""
    usual = median((after.free - before.free) / (after.day - before.day) for before, after in pairwise(dots))
    level = [dot.free - usual * dot.day for dot in dots]
    spread = _TO_DEVIATION * median(abs(after - before) for before, after in pairwise(level))
    big = max(_BIG, _SPREADS * spread)

    def alike(number: int, others: Sequence[float]) -> bool:
        return any(abs(level[number] - other) <= big for other in others)

    def stayed(number: int) -> bool:
        before, after = (
            level[max(number - 1 - _ODD_NIGHTS, 0) : number - 1],
            level[number + 1 : number + 1 + _ODD_NIGHTS],
        )
        return not alike(number, before) and not alike(number - 1, after)

    return [n for n in range(1, len(dots)) if abs(level[n] - level[n - 1]) > big and stayed(n)]


def _nights(number: int) -> str:
    return f"{number} night{'' if number == 1 else 's'}"
