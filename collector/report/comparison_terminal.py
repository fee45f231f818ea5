"""A comparison in a terminal: where it stands, the faults with both sides' lines, then all the rest in short."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from rich.console import Group, RenderableType
from rich.text import Text

from collector.comparing.comparison import Comparison, Difference, Kind, Standing
from collector.comparing.figures import Figures
from collector.finding import Evidence
from collector.report import comparison_wording as wording
from collector.report import layout
from collector.report.layout import folded
from collector.report.wording import lines, number_of

_LINES = 6
_LACKS = (
    (Kind.UNKNOWN, "Not known, and so never clean afterwards"),
    (Kind.FAULT, "Not in order before the window already"),
)
_STYLES = {
    Standing.CLEAN: "bold green",
    Standing.TO_EXPLAIN: "bold yellow",
    Standing.UNKNOWN: "bold yellow",
    Standing.FAULTY: "bold red",
}


def comparison(found: Comparison) -> RenderableType:
    """The whole comparison."""
    grid = layout.grid()
    grid.add_row(
        "Standing", Text.assemble((found.standing.value, _STYLES[found.standing]), ": ", wording.standing(found))
    )
    grid.add_row("Site", folded(found.pair.site))
    grid.add_row("Release", folded(wording.release(found)))
    grid.add_row("Before", folded(wording.side(found.before)))
    grid.add_row("After", folded(wording.side(found.after)))
    groups = (
        Group(Text(heading, "bold"), *map(layout.indented, _group(kind, differences)))
        for kind, heading, differences in wording.grouped(found)
    )
    counts = layout.blank(Text(wording.counts(found), "bold"))
    return Group(folded(found.pair.name, "bold"), grid, *map(layout.blank, groups), counts)


def baseline(taken: Comparison, verdict: str, found: Figures) -> RenderableType:
    """A baseline, which was set against itself: its figures, what isn't known, and what isn't in order already."""
    grid = layout.grid()
    grid.add_row("Site", folded(taken.pair.site))
    grid.add_row("Verdict", layout.styled(verdict))
    grid.add_row("Taken", folded(wording.side(taken.before)))
    for name, words in wording.figures(found):
        grid.add_row(name, folded(words))
    parts: list[RenderableType] = [folded(taken.pair.name, "bold"), grid]
    for kind, heading in _LACKS:
        if differences := taken.of_kind(kind):
            parts.append(
                layout.blank(Group(Text(heading, "bold"), *map(layout.indented, map(_of_one_side, differences))))
            )
    return Group(*parts)


def _group(kind: Kind, differences: Sequence[Difference]) -> Iterator[RenderableType]:
    if kind in wording.TROUBLE:
        yield from map(_full, differences)
    else:
        yield _short(differences, every=kind is not Kind.IN_ORDER)


def _short(differences: Sequence[Difference], *, every: bool) -> RenderableType:
    """Each topic with what is said of it, or with the first of that."""
    grid = layout.grid()
    topics: dict[str, dict[str, None]] = {}
    for each in differences:
        topics.setdefault(wording.topic(each.topic), {})[each.statement] = None
    for topic, statements in topics.items():
        shown = list(statements) if every else list(statements)[:1]
        grid.add_row(topic, Group(*map(folded, shown)))
    return grid


def _full(each: Difference) -> RenderableType:
    return _told(each, [*_evidence("before, ", each.before), *_evidence("after, ", each.after)])


def _of_one_side(each: Difference) -> RenderableType:
    """A difference of a side with itself: its lines once, wherever they were found."""
    return _told(each, _evidence("", tuple(dict.fromkeys((*each.before, *each.after)))))


def _told(each: Difference, lines: Iterable[RenderableType]) -> RenderableType:
    parts: list[RenderableType] = [folded(each.statement)]
    if each.remedy:
        parts.append(Text.assemble(("What to do: ", "bold"), folded(each.remedy)))
    parts += lines
    return Group(Text(wording.topic(each.topic), "bold"), *map(layout.indented, parts))


def _evidence(when: str, evidence: Sequence[Evidence]) -> Iterator[RenderableType]:
    room, left = _LINES, 0
    for item in evidence:
        if room > 0:
            yield folded(f"{when}{item.member}: {item.command} ({lines(item.numbers)})", "italic")
            yield layout.indented(Group(*(folded(f"| {line}") for line in item.lines[:room])))
        left += max(len(item.lines) - max(room, 0), 0)
        room -= len(item.lines)
    if left:
        yield Text(f"and {number_of(left, 'more line')} with --json", "italic")
