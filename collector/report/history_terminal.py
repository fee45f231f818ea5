"""What `readypair history` and `readypair changes` print. Every text from outside goes through `visible`."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from rich.console import Group, RenderableType
from rich.text import Text

from collector.finding import Verdict
from collector.nights.timeline import FleetNight, Missed, Moved, Moves, Story, Stretch
from collector.report import change_wording as words
from collector.report import layout
from collector.report.change_wording import Line
from collector.report.layout import folded
from collector.report.wording import number_of

_VERDICTS = (Verdict.GO, Verdict.NO_GO, Verdict.UNDECIDED)
_DIRECTIONS = {True: "bold red", False: "bold green", None: "bold"}


def pair(story: Story) -> RenderableType:
    """A pair's nights, oldest first: equal ones in one line, and between them what changed."""
    grid = layout.grid()
    for entry in story.entries:
        if isinstance(entry, Stretch):
            number, verdict = number_of(entry.nights, "night"), layout.styled(entry.verdict.value)
            grid.add_row(words.span(entry), Text.assemble(f"{number} ", verdict, words.unswept(entry)))
        elif isinstance(entry, Missed):
            grid.add_row(words.span(entry), Text(words.missed(entry), "bold yellow"))
        else:
            grid.add_row(entry.night.isoformat(), layout.indented(_lines(entry)))
    title = Text.assemble(folded(story.pair, "bold"), folded(f", {story.site}"))
    return Group(title, layout.blank(grid), layout.blank(folded(words.nights_of(story), "bold")))


def fleet(nights: Sequence[FleetNight]) -> RenderableType:
    """The fleet's nights, oldest first, in numbers of pairs, and what changed most over all of them."""
    table = layout.table("Night", "Go", "No-go", "Undecided", "Not asked", "Changes", "Most of them")
    for column in table.columns[:6]:
        column.no_wrap = True
    for column in table.columns[1:5]:
        column.justify = "right"
    for night in nights:
        table.add_row(
            night.night.isoformat(),
            *(_count(night.verdicts[verdict], verdict.value) for verdict in _VERDICTS),
            _count(night.silent, "unknown"),
            words.moved(night),
            folded(words.most(night.subjects, 1)),
        )
    return Group(table, layout.blank(Group(*map(folded, words.most_often(nights)))))


def changes(found: Sequence[Moves], pairs: int, since: date, until: date) -> RenderableType:
    """What changed over some nights, the pairs that are worse first; `pairs` is how many were looked at."""
    told = [layout.blank(_pair(moves)) for moves in found]
    return Group(folded(words.total(found, pairs, since, until), "bold"), *told)


def _pair(moves: Moves) -> RenderableType:
    was = f", was {moves.was.value}" if moves.was is not moves.now else ""
    head = Text.assemble(folded(moves.pair, "bold"), folded(f", {moves.site}: "), layout.styled(moves.now.value), was)
    grid = layout.grid()
    for night in moves.nights:
        grid.add_row(night.night.isoformat(), _lines(night))
    return Group(head, layout.indented(grid))


def _lines(moved: Moved) -> RenderableType:
    return Group(*map(_line, words.lines(moved.changes)))


def _line(line: Line) -> RenderableType:
    # What a rule says has a colour of its own, whatever else stands behind it.
    style = layout.styled(line.now.split(",")[0].split(" ")[0]).style or _DIRECTIONS[line.worse]
    now = folded(f" {line.now}" if line.now else "", str(style))
    said = Text.assemble(folded(f"{line.about}:"), now, folded(line.said), overflow="fold")
    sets = [(label, names) for label, names in (("new", line.came), ("gone", line.went)) if names]
    return Group(said, *(layout.indented(folded(f"{label}: {names}")) for label, names in sets))


def _count(number: int, style: str) -> Text:
    return Text(str(number), layout.styled(style).style) if number else Text("0", "dim")
