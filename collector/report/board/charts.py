"""The board's pictures: a pair's nights in lanes, and its flash over time.

None says anything by colour alone: lanes have names, lines have dashes and labels.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cache, cached_property
from itertools import groupby

from matplotlib.ticker import MaxNLocator

from collector.nights.outlook import Forecast
from collector.report.board import surface
from collector.report.board.drawn import Lane, Reading, Span, Standing, Trend
from collector.report.board.surface import FAINT, INK, LINK, NO_GO, Point, Surface, short
from collector.sizes import rounded

WIDTH = surface.WIDTH
FLASH_HEIGHT = 230
_OF_STANDING = {
    Standing.GO: surface.GO,
    Standing.NO_GO: NO_GO,
    Standing.UNDECIDED: surface.UNDECIDED,
    Standing.NOT_ASKED: FAINT,
}
_LANE, _TOP, _FOOT, _RIGHT, _GAP = 22, 10, 26, WIDTH - 24, 6
_LEFT_OF_LANES, _LEFT_OF_FLASH = 126, 60
_MOST_LABELS = 9
# Not the machine's own language: two boards of one store are equal.
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True)
class _Scale:
    """Where nights and sizes lie in a picture of this height: a night from its noon to the next."""

    shown: Span
    left: int
    height: int
    most: float = 1

    @property
    def foot(self) -> int:
        """Where the axis of nights lies."""
        return self.height - _FOOT

    @cached_property
    def pitch(self) -> float:
        """How wide a night is."""
        return (_RIGHT - self.left) / self.shown.nights

    def noon(self, night: date, nights_later: float = 0) -> float:
        """Where a night begins, or one that comes so many nights later."""
        return self.left + self.pitch * ((night - self.shown.first).days + nights_later)

    def at(self, moment: datetime | None) -> float:
        """A moment; none that is known lies at the edge."""
        if moment is None:
            return _RIGHT
        first = datetime.combine(self.shown.first, time(12), moment.tzinfo)
        return min(self.left + self.pitch * ((moment - first) / timedelta(days=1)), _RIGHT)

    def size(self, size: float | None) -> float:
        """The height of a size in bytes; not a number where it isn't known."""
        return float("nan") if size is None else self.foot - (self.foot - _TOP) * size / self.most


def history_height(lanes: int) -> int:
    """How high the picture of so many lanes is, in pixels."""
    return _TOP + _LANE * lanes + _FOOT


def history(lanes: Sequence[Lane], shown: Span) -> bytes:
    """The nights as bars in lanes, the ways to stand above the rules that decided."""
    scale = _Scale(shown, _LEFT_OF_LANES, history_height(len(lanes)))
    drawn = _begun(scale)
    standings = sum(lane.standing is not None for lane in lanes)
    if 0 < standings < len(lanes):
        height = _TOP + _LANE * standings
        drawn.rules([((scale.left, height), (_RIGHT, height))])
    for number, lane in enumerate(lanes):
        _lane(drawn, scale, lane, _TOP + _LANE * number)
    return drawn.svg()


def flash(trends: Sequence[Trend], shown: Span) -> bytes:
    """Each member's free flash as a line, what the images need below it, and when they are forecast to meet.

    `shown` ends with the last night, or later where a forecast is to be seen.
    """
    sizes = [size for trend in trends for each in trend.readings for size in (each.free, each.needed) if size]
    scale = _Scale(shown, _LEFT_OF_FLASH, FLASH_HEIGHT, most=1.15 * max(sizes, default=1))
    drawn = _begun(scale)
    _sizes(drawn, scale)
    for number, trend in enumerate(_highest_first(trends)):
        _trend(drawn, scale, trend, number)
    _needed(drawn, scale, trends)
    return drawn.svg()


@cache
def _surface() -> Surface:
    return Surface()


def _begun(scale: _Scale) -> Surface:
    """A picture with its axis of nights, whose labels are few enough to stand beside each other."""
    drawn = _surface()
    drawn.clear(scale.height)
    marks = [(scale.noon(night), label) for night, label in _marks(scale.shown)]
    corner = (scale.left, scale.foot)
    drawn.rules(
        [(corner, (scale.left, _TOP)), (corner, (_RIGHT, scale.foot))]
        + [((x, scale.foot), (x, scale.foot + 4)) for x, _ in marks]
    )
    for x, label in marks:
        drawn.write((x, scale.foot + 14), label, FAINT, "center")
    return drawn


def _marks(shown: Span) -> Iterable[tuple[date, str]]:
    if shown.nights <= 62:
        step = -(-shown.nights // _MOST_LABELS)
        for number in range(0, shown.nights, step):
            day = shown.first + timedelta(days=number)
            yield day, f"{day.day} {_MONTHS[day.month - 1]}"
        return
    months = [month for month in _firsts(shown.first) if month <= shown.last]
    chosen = months[:: -(-len(months) // _MOST_LABELS)]
    for number, month in enumerate(chosen):
        with_year = number == 0 or month.year != chosen[number - 1].year
        yield month, f"{_MONTHS[month.month - 1]} {month.year}" if with_year else _MONTHS[month.month - 1]


def _firsts(start: date) -> Iterable[date]:
    """The first days of the months after a date, of two years and more."""
    for number in range(start.month, start.month + 26):
        yield date(start.year + number // 12, number % 12 + 1, 1)


def _lane(drawn: Surface, scale: _Scale, lane: Lane, top: int) -> None:
    colour = FAINT if lane.standing is None else _OF_STANDING[lane.standing]
    inset = 7 if lane.standing is None else 4
    drawn.write((scale.left - _GAP, top + _LANE / 2), short(lane.name), INK, "right")
    bars = [(scale.noon(span.first), top + inset, scale.noon(span.last, 1), top + _LANE - inset) for span in lane.spans]
    drawn.boxes(bars, colour, filled=lane.standing is not Standing.NOT_ASKED)


def _sizes(drawn: Surface, scale: _Scale) -> None:
    sizes = [size for size in MaxNLocator(4).tick_values(0, scale.most) if size <= scale.most]
    drawn.rules([((scale.left, scale.size(size)), (_RIGHT, scale.size(size))) for size in sizes], width=0.6)
    for size in sizes:
        drawn.write((scale.left - _GAP, scale.size(size)), rounded(size) if size else "0", FAINT, "right")


def _highest_first(trends: Sequence[Trend]) -> list[Trend]:
    """The upper line's label stands above it and the other's below: they don't meet where the lines do."""
    return sorted(trends, key=lambda trend: -next((each.free for each in reversed(trend.readings) if each.free), 0))


def _trend(drawn: Surface, scale: _Scale, trend: Trend, number: int) -> None:
    colour, dashes = (LINK, INK)[number % 2], (None, (5, 2))[number % 2]
    points = [(scale.noon(each.night, 0.5), scale.size(each.free)) for each in trend.readings]
    known = [point for point, each in zip(points, trend.readings, strict=True) if each.free is not None]
    drawn.curve(points, colour, 1.8, dashes)
    if not known:
        return
    drawn.mark(known[-1], "o", colour, 6)
    if isinstance(trend.forecast, Forecast):
        _forecast(drawn, scale, trend.forecast, colour)
    x, y = known[len(known) // 2]
    # Most lines fall: there is room at the right above one, and at the left below it.
    if number % 2 == 0:
        drawn.write((x, y - 12), short(trend.member), colour, "left")
    else:
        drawn.write((x, y + 14), short(trend.member), colour, "right")


def _forecast(drawn: Surface, scale: _Scale, forecast: Forecast, colour: str) -> None:
    """The likely line, a cross where it meets what is needed, and beside it how early or late that may be."""
    likely, earliest, latest = forecast.shortfall
    end = min(likely or _end(scale.shown), _end(scale.shown))
    line = [(scale.at(each), scale.size(forecast.likely.at(each))) for each in (forecast.likely.start, end)]
    drawn.curve(line, colour, 1.4, (1, 2))
    if likely is None:
        return
    height = scale.size(forecast.needed)
    drawn.rules([((scale.at(earliest or likely), height), (scale.at(latest), height))], colour, width=4)
    drawn.mark((scale.at(likely), height), "X", colour, 10)


def _needed(drawn: Surface, scale: _Scale, trends: Sequence[Trend]) -> None:
    """What the images need on each member, which is mostly the same: then it is said once."""
    known = [(trend, [each for each in trend.readings if each.needed is not None]) for trend in trends]
    needs = {readings[-1].needed for _, readings in known if readings}
    labelled = 0
    for trend, readings in known:
        points = list(_steps(scale, readings))
        if not points:
            continue
        drawn.curve(points, NO_GO, 1.2)
        drawn.curve([points[-1], (_RIGHT, points[-1][1])], NO_GO, 1.2, (1, 2))
        if labelled == 0 or len(needs) > 1:
            whose = f" on {short(trend.member)}" if len(needs) > 1 else ""
            x, y = points[0] if labelled == 0 else points[-1]
            at = (x + 4, y - 9) if labelled == 0 else (x - 4, y - 9)
            drawn.write(at, f"what the images need{whose}", NO_GO, "left" if labelled == 0 else "right")
            labelled += 1


def _steps(scale: _Scale, readings: Iterable[Reading]) -> Iterator[Point]:
    """Both ends of every run of nights on which the same was needed."""
    for needed, run in groupby(readings, key=lambda each: each.needed):
        nights = [each.night for each in run]
        yield scale.noon(nights[0]), scale.size(needed)
        yield scale.noon(nights[-1], 1), scale.size(needed)


def _end(shown: Span) -> datetime:
    return datetime.combine(shown.last + timedelta(days=1), time(12), UTC)
