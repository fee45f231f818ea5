"""What everything that is printed in a terminal is laid out with. Texts go through `visible`, never read as markup."""

from __future__ import annotations

from rich import box
from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from collector.report.visible import visible

_STYLES = {
    "go": "bold green",
    "no-go": "bold red",
    "undecided": "bold yellow",
    "block": "bold red",
    "unknown": "bold yellow",
    "caution": "yellow",
    "pass": "green",
    "not-applicable": "dim",
}


def styled(word: str) -> Text:
    """A verdict or a status in its colour; any other word as it is."""
    return Text(visible(word), _STYLES.get(word, ""))


def table(*headings: str) -> Table:
    """A table under these headings, whose cells fold where they don't fit."""
    made = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False, show_edge=False, header_style="bold")
    for heading in headings:
        made.add_column(heading, overflow="fold")
    return made


def grid() -> Table:
    """Two columns without a frame: names, and what they stand for."""
    made = Table.grid(padding=(0, 2))
    made.add_column(no_wrap=True)
    made.add_column(overflow="fold")
    return made


def folded(said: str, style: str = "") -> Text:
    """A text from outside, its control characters shown, folded where it doesn't fit."""
    return Text(visible(said), style, overflow="fold")


def indented(part: RenderableType) -> Padding:
    """Two blanks to the right."""
    return Padding(part, (0, 0, 0, 2))


def blank(part: RenderableType) -> Padding:
    """A blank line above."""
    return Padding(part, (1, 0, 0, 0))
