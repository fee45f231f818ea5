"""What pictures are drawn on: one figure of matplotlib's a process, in pixels from the upper left corner, out as SVG.

A picture takes its colours from the reader's choice of light or dark by itself. The same strokes give the same bytes.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Sequence
from typing import Literal

import matplotlib as mpl
from matplotlib.artist import Artist
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Text

from collector.report.visible import visible

Point = tuple[float, float]
Dashes = Sequence[float] | None

# The report's own colours (page.css), light and dark: the light ones are drawn, the picture's own style names both.
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
SHEET, INK, FAINT, LINE, LINK, GO, NO_GO, UNDECIDED = (light for light, _ in _COLOURS.values())
_NAMES = {light: f"var(--{name})" for name, (light, _) in _COLOURS.items()}
_STYLE = (
    "<style>:root{"
    + "".join(f"--{name}:{light};" for name, (light, _) in _COLOURS.items())
    + "}@media (prefers-color-scheme: dark){:root{"
    + "".join(f"--{name}:{dark};" for name, (_, dark) in _COLOURS.items())
    + "}}</style>"
)
WIDTH = 760
_DPI, _FONT, _LONGEST = 72, 11, 20

mpl.rcParams.update({"svg.hashsalt": "readypair", "svg.fonttype": "none", "figure.facecolor": SHEET})


def short(name: str) -> str:
    """A name as a picture can hold it: a long one in part, since the page has all of it."""
    name = visible(name)
    return name if len(name) <= _LONGEST else f"{name[: _LONGEST - 1]}…"


class Surface:
    """An empty picture; made once a process and cleared, since that takes as long as much drawing."""

    def __init__(self) -> None:
        self._figure = Figure(dpi=_DPI)
        self._canvas = FigureCanvasSVG(self._figure)
        self._axes = self._figure.add_axes((0, 0, 1, 1))
        self._axes.set_axis_off()
        self._axes.set_xlim(0, WIDTH)
        self._drawn: list[Artist] = []

    def clear(self, height: int) -> None:
        """Begin a picture of this height in pixels."""
        for artist in self._drawn:
            artist.remove()
        self._drawn = []
        self._figure.set_size_inches(WIDTH / _DPI, height / _DPI)
        self._axes.set_ylim(height, 0)

    def write(self, at: Point, text: str, colour: str, align: Literal["left", "center", "right"]) -> None:
        """Write a text beside a point, at its height."""
        self._add(Text(*at, text, color=colour, size=_FONT, ha=align, va="center", parse_math=False))

    def rules(self, ends: Sequence[tuple[Point, Point]], colour: str = LINE, width: float = 1) -> None:
        """Draw straight lines."""
        self._add(LineCollection(ends, colors=colour, linewidths=width))

    def curve(self, points: Sequence[Point], colour: str, width: float, dashes: Dashes = None) -> None:
        """Draw a line through points; where one is not a number there is a gap."""
        xs, ys = [x for x, _ in points], [y for _, y in points]
        self._add(Line2D(xs, ys, color=colour, linewidth=width, linestyle=(0, dashes) if dashes else "-"))

    def boxes(self, corners: Sequence[tuple[float, float, float, float]], colour: str, *, filled: bool = True) -> None:
        """Draw boxes between left, top, right and bottom; those that aren't filled have an edge."""
        polygons = [[(left, top), (right, top), (right, low), (left, low)] for left, top, right, low in corners]
        edge = {"facecolors": colour, "linewidths": 0} if filled else {"facecolors": SHEET, "edgecolors": colour}
        self._add(PolyCollection(polygons, **edge))

    def mark(self, at: Point, shape: str, colour: str, size: float) -> None:
        """Draw one of matplotlib's markers."""
        self._add(Line2D([at[0]], [at[1]], color=colour, marker=shape, markersize=size, markeredgecolor=SHEET))

    def svg(self) -> bytes:
        """The picture, with its colours as variables that follow the reader's choice."""
        out = io.StringIO()
        with warnings.catch_warnings():
            # The letters are the reader's browser's to draw: those that this machine's own font lacks are no matter.
            warnings.filterwarnings("ignore", "Glyph .* missing from font")
            self._canvas.print_svg(  # type: ignore[no-untyped-call]
                out, metadata={"Date": None, "Creator": None, "Format": None, "Type": None}
            )
        drawn = re.sub(r"(?<=: )#[0-9a-f]{6}", lambda found: _NAMES.get(found[0], found[0]), out.getvalue())
        head, start, rest = drawn.partition("<defs>")
        return f"{head}{_STYLE}{start}{rest}".encode()

    def _add(self, artist: Artist) -> None:
        artist.set_clip_on(False)
        self._axes.add_artist(artist)
        self._drawn.append(artist)
