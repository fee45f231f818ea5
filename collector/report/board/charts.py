"""The board's pictures: a pair's nights in lanes, and its flash over time, drawn by matplotlib as SVG.

A picture takes its colours from the reader's choice of light or dark by itself. None says anything by colour alone:
lanes have names, lines have dashes and labels. The same data gives the same bytes.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from matplotlib.ticker import FixedFormatter, FixedLocator, FuncFormatter, MaxNLocator

from collector.nights.outlook import Forecast
from collector.report.board.drawn import Lane, Span, Standing, Trend
from collector.sizes import rounded

# The report's own colours, light and dark (page.css): the light ones are drawn, the picture's own style names both.
_COLOURS = {
    "sheet": ("#ffffff", "#152129"),
    "ink": ("#14222b", "#e3eaee"),
    "faint": ("#4c5d68", "#a3b3bd"),
    "line": ("#c6d0d6", "#354852"),
    "link": ("#0b5394", "#8cc4f2"),
    "go": ("#1b5e3a", "#7fd0a2"),
    "no-go": ("#a11d1d", "#ff9d94"),
    "undecided": ("#7a4a00", "#f0c070"),
}
SHEET, INK, FAINT, LINE, LINK = (_COLOURS[name][0] for name in ("sheet", "ink", "faint", "line", "link"))
_OF_STANDING = {
    Standing.GO: _COLOURS["go"][0],
    Standing.NO_GO: _COLOURS["no-go"][0],
    Standing.UNDECIDED: _COLOURS["undecided"][0],
    Standing.NOT_ASKED: FAINT,
}
_STYLE = (
    "<style>:root{"
    + "".join(f"--{name}:{light};" for name, (light, _) in _COLOURS.items())
    + "}@media (prefers-color-scheme: dark){:root{"
    + "".join(f"--{name}:{dark};" for name, (_, dark) in _COLOURS.items())
    + "}}</style>"
)
WIDTH, _DPI = 760, 72
_LEFT, _RIGHT, _BOTTOM, _TOP = 118, 14, 26, 10
_LANE, FLASH_HEIGHT = 22, 230
_MOST_LABELS = 9

mpl.rcParams.update(
    {
        "svg.hashsalt": "readypair",
        "svg.fonttype": "none",
        "font.size": 11.0,
        "axes.edgecolor": LINE,
        "axes.facecolor": SHEET,
        "axes.labelcolor": FAINT,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "figure.facecolor": SHEET,
        "text.color": INK,
        "xtick.color": LINE,
        "xtick.labelcolor": FAINT,
        "ytick.color": LINE,
        "ytick.labelcolor": INK,
        "path.simplify": True,
    }
)


def history_height(lanes: int) -> int:
    """How high the picture of so many lanes is, in pixels."""
    return _TOP + _LANE * lanes + _BOTTOM


def history(lanes: Sequence[Lane], shown: Span) -> bytes:
    """The nights as bars in lanes, the ways to stand above the rules that decided."""
    figure, axes = _axes(history_height(len(lanes)), _LEFT)
    _nights(axes, shown.first, shown.last)
    axes.set_ylim(len(lanes), 0)
    axes.yaxis.set_major_locator(FixedLocator([at + 0.5 for at in range(len(lanes))]))
    axes.yaxis.set_major_formatter(FixedFormatter([_plain(lane.name) for lane in lanes]))
    axes.tick_params(axis="y", length=0)
    for at, lane in enumerate(lanes):
        colour = FAINT if lane.standing is None else _OF_STANDING[lane.standing]
        inset = 0.3 if lane.standing is None else 0.16
        axes.add_collection(
            PolyCollection(
                [_box(span, shown.first, at + inset, at + 1 - inset) for span in lane.spans],
                facecolors=SHEET if lane.standing is Standing.NOT_ASKED else colour,
                edgecolors=colour,
                linewidths=1 if lane.standing is Standing.NOT_ASKED else 0,
            ),
            autolim=False,
        )
    standings = sum(lane.standing is not None for lane in lanes)
    if 0 < standings < len(lanes):
        axes.axhline(standings, color=LINE, linewidth=1)
    return _svg(figure)


def flash(trends: Sequence[Trend], shown: Span) -> bytes:
    """Each member's free flash as a line, what the images need below it, and when they are forecast to meet.

    `shown` ends with the last night, or later where a forecast is to be seen.
    """
    figure, axes = _axes(FLASH_HEIGHT, 52)
    _nights(axes, shown.first, shown.last)
    top = 1.15 * max(
        (size for trend in trends for each in trend.readings for size in (each.free, each.needed) if size), default=1
    )
    axes.set_ylim(0, top)
    axes.yaxis.set_major_locator(MaxNLocator(4))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda size, _: rounded(size) if size else "0"))
    axes.tick_params(axis="y", length=0, labelcolor=FAINT)
    axes.grid(axis="y", color=LINE, linewidth=0.6)
    for number, trend in enumerate(_highest_first(trends)):
        _trend(axes, trend, shown, number)
    _needed(axes, trends, shown)
    return _svg(figure)


def _highest_first(trends: Sequence[Trend]) -> list[Trend]:
    """The upper line's label stands above it and the other's below: they don't meet where the lines do."""
    return sorted(trends, key=lambda trend: -next((each.free for each in reversed(trend.readings) if each.free), 0))


def _trend(axes: Axes, trend: Trend, shown: Span, number: int) -> None:
    colour, dashes = (LINK, INK)[number % 2], ("-", (0, (5, 2)))[number % 2]
    days = [_day(each.night, shown.first) + 0.5 for each in trend.readings]
    free = [float("nan") if each.free is None else each.free for each in trend.readings]
    axes.plot(days, free, color=colour, linestyle=dashes, linewidth=1.8)
    known = [(day, value) for day, value in zip(days, free, strict=True) if value == value]
    if not known:
        return
    day, value = known[-1]
    axes.plot([day], [value], color=colour, marker="o", markersize=4)
    if isinstance(trend.forecast, Forecast):
        _forecast(axes, trend.forecast, shown, colour)
    axes.annotate(
        _plain(trend.member),
        known[len(known) // 2],
        xytext=(0, (7, -16)[number % 2]),
        textcoords="offset points",
        ha="center",
        color=colour,
    )


def _forecast(axes: Axes, forecast: Forecast, shown: Span, colour: str) -> None:
    """The likely line, a cross where it meets what is needed, and beside it how early or late that may be."""
    likely, earliest, latest = forecast.shortfall
    end = likely or _end(shown)
    line = [(moment, forecast.likely.at(moment)) for moment in (forecast.likely.start, min(end, _end(shown)))]
    axes.plot([_at(m, shown) for m, _ in line], [size for _, size in line], color=colour, linestyle=(0, (1, 2)))
    if likely is None:
        return
    needed = forecast.needed
    axes.plot(
        [_at(earliest or likely, shown), _at(latest or _end(shown), shown)], [needed] * 2, color=colour, linewidth=4
    )
    axes.plot([_at(likely, shown)], [needed], color=colour, marker="X", markersize=9, markeredgecolor=SHEET)


def _needed(axes: Axes, trends: Sequence[Trend], shown: Span) -> None:
    """What the images need: one line where both members need the same, else one for each."""
    lines = {
        tuple((each.night, each.needed) for each in trend.readings if each.needed is not None): trend.member
        for trend in trends
    }
    for line, member in lines.items():
        if not line:
            continue
        days = [_day(night, shown.first) + 0.5 for night, _ in line]
        sizes = [needed for _, needed in line]
        axes.step(days, sizes, where="mid", color=_OF_STANDING[Standing.NO_GO], linewidth=1.2)
        whose = "" if len(lines) == 1 else f" on {_plain(member)}"
        axes.annotate(
            f"what the images need{whose}",
            (days[0], sizes[0]),
            xytext=(2, 4),
            textcoords="offset points",
            color=_OF_STANDING[Standing.NO_GO],
        )


def _axes(height: int, left: int) -> tuple[Figure, Axes]:
    """A figure of this height in pixels with one area that leaves room for its labels."""
    figure = Figure(figsize=(WIDTH / _DPI, height / _DPI), dpi=_DPI)
    FigureCanvasSVG(figure)
    axes = figure.add_axes(
        (left / WIDTH, _BOTTOM / height, (WIDTH - left - _RIGHT) / WIDTH, (height - _BOTTOM - _TOP) / height)
    )
    return figure, axes


def _nights(axes: Axes, first: date, last: date) -> None:
    """An axis of nights, with labels few enough to stand beside each other."""
    axes.set_xlim(0, _day(last, first) + 1)
    marks = list(_marks(first, last))
    axes.xaxis.set_major_locator(FixedLocator([_day(mark, first) for mark, _ in marks]))
    axes.xaxis.set_major_formatter(FixedFormatter([label for _, label in marks]))


def _marks(first: date, last: date) -> Iterable[tuple[date, str]]:
    days = (last - first).days + 1
    if days <= 62:
        step = -(-days // _MOST_LABELS)
        for number in range(0, days, step):
            day = first + timedelta(days=number)
            yield day, f"{day.day} {_MONTHS[day.month - 1]}"
        return
    months = [date(first.year + (first.month + n) // 12, (first.month + n) % 12 + 1, 1) for n in range(days // 28 + 1)]
    months = [month for month in months if month <= last]
    step = -(-len(months) // _MOST_LABELS)
    for number, month in enumerate(months[::step]):
        with_year = number == 0 or month.year != months[(number - 1) * step].year
        yield month, f"{_MONTHS[month.month - 1]} {month.year}" if with_year else _MONTHS[month.month - 1]


# Not the machine's own language: two boards of one store are equal.
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def _box(span: Span, first: date, low: float, high: float) -> list[tuple[float, float]]:
    left, right = _day(span.first, first), _day(span.last, first) + 1
    return [(left, low), (right, low), (right, high), (left, high)]


def _day(night: date, first: date) -> int:
    return (night - first).days


def _at(moment: datetime, shown: Span) -> float:
    """A moment on the axis, on which a night's noon is a full number and its midnight lies in between."""
    noon = datetime.combine(shown.first, time(12), moment.tzinfo)
    return (moment - noon) / timedelta(days=1)


def _end(shown: Span) -> datetime:
    return datetime.combine(shown.last + timedelta(days=1), time(12), UTC)


def _plain(text: str) -> str:
    """Text that matplotlib takes as it stands: a dollar would begin a formula. Long names are whole in the page."""
    return (text if len(text) <= 20 else f"{text[:19]}…").replace("$", r"\$")


def _svg(figure: Figure) -> bytes:
    """The picture, with its colours as variables that follow the reader's choice."""
    text = io.StringIO()
    canvas = figure.canvas
    assert isinstance(canvas, FigureCanvasSVG)
    with warnings.catch_warnings():
        # The letters are the reader's browser's to draw: those that this machine's own font lacks are no matter.
        warnings.filterwarnings("ignore", "Glyph .* missing from font")
        canvas.print_svg(  # type: ignore[no-untyped-call]
            text, metadata={"Date": None, "Creator": None, "Format": None, "Type": None}
        )
    drawn = text.getvalue()
    for name, (light, _) in _COLOURS.items():
        drawn = drawn.replace(light, f"var(--{name})")
    head, start, rest = drawn.partition("<defs>")
    return f"{head}{_STYLE}{start}{rest}".encode()
