"""The picture of a watched window, as `readypair watch` draws it. Texts from outside go through `visible`."""

from __future__ import annotations

import io
from collections.abc import Iterable

from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from collector.report import layout
from collector.report.layout import folded
from collector.report.watch_wording import CAUTION, Remedies, rows
from collector.watching import stage_log
from collector.watching.sighting import Happening, Severity, WatchState

_STYLES: dict[Severity, str] = {"note": "", "warning": "yellow", "failure": "bold red"}


def picture(state: WatchState, remedies: Remedies, note: str = "") -> RenderableType:
    """Where the window stands, in a dozen lines; `note` is what else the watch has to say of itself."""
    grid = layout.grid()
    for row in rows(state, remedies):
        grid.add_row(Text(row.label, "bold"), folded(row.text, _STYLES[row.severity]))
    note_line = [folded(note, "yellow")] if note else []
    return Group(_heading(state), grid, *note_line, Text(CAUTION, "italic"))


def _heading(state: WatchState) -> RenderableType:
    line = Table.grid(expand=True)
    line.add_column()
    line.add_column(justify="right")
    latest = state.latest
    when = f"{latest.moment:%Y-%m-%d %H:%M:%S}, poll {latest.number:,}" if latest is not None else "no poll yet"
    line.add_row(folded(f"{state.pair} to {state.target}", "bold"), when)
    return line


def happening(told: Happening) -> RenderableType:
    """A happening as it is printed above the picture."""
    text = Text.assemble(f"{told.moment:%H:%M:%S} ", folded(told.statement, _STYLES[told.severity]))
    return Group(text, Text.assemble("         ", folded(told.remedy))) if told.remedy else text


def ended(state: WatchState) -> Iterable[str]:
    """The stage log, a line a stage, at the end of a watch."""
    return stage_log.table(stage_log.rows(state))


def lines(part: RenderableType, width: int, *, colours: bool) -> list[str]:
    """What a terminal of this width is sent for it, line by line, nothing wider than it."""
    console = Console(
        file=io.StringIO(),
        width=width,
        force_terminal=colours,
        color_system="standard" if colours else None,
        highlight=False,
        markup=False,
        emoji=False,
        legacy_windows=False,
    )
    with console.capture() as captured:
        console.print(part)
    return [line.rstrip() for line in captured.get().splitlines()]
