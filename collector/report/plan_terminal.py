"""What `readypair plan` prints in a terminal. Every text from outside goes through `visible`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.measure import Measurement
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from collector.campaigning import CampaignPlan
from collector.plan.batches import BatchPlan
from collector.plan.plan import Plan, Stage
from collector.planned import PairPlan, Standing
from collector.report import layout, wording
from collector.report import plan_wording as words
from collector.report.layout import folded
from collector.report.plan_wording import Clock

_STYLES = {
    Standing.TOO_LONG: "bold red",
    Standing.BLOCKED: "bold red",
    Standing.INCOMPLETE: "bold yellow",
    Standing.FITS: "bold green",
}
_PROBLEM_STYLES = {"block": "bold red", "caution": "yellow"}
_LEAST_BAR = 12
_NAMES, _PLACES, _HOLES = 2, 3, 20
_DROPS = "* clients can be dropped"


def plan(found: PairPlan) -> RenderableType:
    """One pair's plan: whether it fits, what stands against it, the timeline, the access points, what isn't known."""
    plan = found.plan
    return Group(
        _head(found),
        *_window(plan),
        *_problems(plan),
        *_before(plan),
        *_restarts(plan),
        *_unknowns(plan),
        *_notes(plan),
        layout.blank(Group(*(Text(caution, "italic") for caution in words.CAUTIONS))),
    )


def _head(found: PairPlan) -> RenderableType:
    plan, clock = found.plan, words.clock(found.plan)
    title = Text.assemble(
        folded(plan.pair.name, "bold"),
        folded(f", {plan.pair.site}, to {plan.pair.target_release}: "),
        Text(found.standing.value, _STYLES[found.standing]),
    )
    grid = layout.grid()
    grid.add_row("Window", folded(words.window(plan)))
    for label, told in words.finish(plan, clock):
        grid.add_row(label, folded(told))
    grid.add_row("Own timer", folded(plan.auto_abort.statement))
    grid.add_row("Readiness", folded(words.readiness(found.ready)))
    return Group(title, grid)


def _problems(plan: Plan) -> Iterable[RenderableType]:
    if not plan.problems:
        return
    parts: list[RenderableType] = []
    for problem in plan.problems:
        word = Text(problem.status.value, _PROBLEM_STYLES.get(problem.status.value, ""))
        parts.append(Text.assemble(word, "  ", folded(problem.id, "bold")))
        parts.append(layout.indented(folded(problem.statement)))
        if problem.remedy:
            parts.append(layout.indented(Text.assemble(("What to do: ", "bold"), folded(problem.remedy))))
    yield _section("What stands against it", *parts)


def _before(plan: Plan) -> Iterable[RenderableType]:
    stages = words.before_window(plan)
    preparation = plan.preparation
    if not stages and preparation is None:
        return
    parts: list[RenderableType] = [folded(line) for line in words.preparation(plan)]
    yield _section("Before the window", *parts, *_durations(stages), *_skipped(plan, in_window=False))
    if plan.staging is not None and plan.staging.to_load:
        yield _section("Loading the access points in advance", _staging(plan))


def _durations(stages: Sequence[Stage]) -> Iterable[RenderableType]:
    """How long stages take that no clock times are known of."""
    if not stages:
        return
    table = layout.table("Stage", "Likely", "At worst", "By")
    for column in table.columns[:3]:
        column.no_wrap = True
    for stage in stages:
        estimate = stage.estimate
        likely, most = (estimate.likely, estimate.pessimistic) if estimate else (None, None)
        drops = " *" if stage.drops_clients else ""
        name = Text.assemble(folded(stage.id, "bold"), drops)
        table.add_row(name, words.span(likely), words.span(most), folded(stage.basis))
    yield table


def _skipped(plan: Plan, *, in_window: bool) -> Iterable[RenderableType]:
    for stage in plan.stages:
        if stage.skipped and stage.in_window is in_window:
            yield Text.assemble(folded(stage.id, "bold"), ": not needed. ", folded(stage.skipped))


def _staging(plan: Plan) -> RenderableType:
    table = layout.table("Line", "APs", "To load", "Bytes", "Mbit/s", "Takes")
    for column in table.columns[1:]:
        column.justify = "right"
        column.no_wrap = True
    staging = plan.staging
    assert staging is not None
    for site in staging.sites:
        rate = "-" if site.rate_mbps is None else f"{site.rate_mbps:g}"
        cells = (str(site.aps), str(site.to_load), words.megabytes(site.bytes), rate, words.span(site.seconds))
        table.add_row(folded(site.site), *cells)
    return Group(folded(staging.statement), table)


def _window(plan: Plan) -> Iterable[RenderableType]:
    skipped = _skipped(plan, in_window=True)
    axis = _axis(plan)
    if axis is None:
        yield _section("In the window", *_durations(words.in_window(plan)), Text(_DROPS, "dim"), *skipped)
        return
    clock = words.clock(plan)
    table = layout.table("Start", "Stage", "P50", "P90", "Back by", "Spare")
    for column in table.columns:
        column.no_wrap = True
    table.columns[5].justify = "right"
    table.add_column(_Ruler(axis, words.zone(plan)), ratio=1)
    table.expand = True
    for stage in words.in_window(plan):
        table.add_row(*_row(stage, clock), _Bar(axis, stage))
    yield _section("In the window", table, _Legend(), *skipped)


def _row(stage: Stage, clock: Clock) -> Iterable[Text]:
    times, back = stage.times, stage.turn_back
    drops = " *" if stage.drops_clients else ""
    yield _time(clock.at(times.start) if times else None)
    yield Text.assemble(folded(stage.id, "bold"), drops)
    yield _time(clock.at(times.p50) if times else None)
    yield _time(clock.at(times.p90) if times else None)
    style = "bold red" if back.in_time is False else "bold"
    yield _time(words.back_by(stage, clock) if back.last_moment or not back.possible else None, style)
    if not back.possible:
        yield Text("-")
        return
    spare = words.spare_before_turning(stage)
    yield _time(words.hours(spare) if spare is not None else None, style)


def _time(text: str | None, style: str = "") -> Text:
    return Text(text, style) if text is not None else Text("?", "bold yellow")


@dataclass(frozen=True)
class _Axis:
    """The span of time that a bar's width stands for, and the window's edges in it."""

    start: datetime
    end: datetime
    opens: datetime
    closes: datetime

    def place(self, moment: datetime, width: int) -> int:
        """The cell that a moment falls into."""
        share = (moment - self.start) / (self.end - self.start)
        return min(width - 1, max(0, int(share * width)))


def _axis(plan: Plan) -> _Axis | None:
    if plan.window_start is None or plan.window_end is None:
        return None
    times = [stage.times for stage in words.in_window(plan) if stage.times is not None]
    start = min([plan.window_start, *(each.start for each in times)])
    end = max([plan.window_end, *(each.p90 for each in times)])
    return _Axis(start, end, plan.window_start, plan.window_end)


class _Drawn:
    """Something that is as wide as its column lets it be."""

    def __rich_measure__(self, console: Console, options: ConsoleOptions) -> Measurement:
        return Measurement(_LEAST_BAR, max(_LEAST_BAR, options.max_width))

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        yield self.drawn(options.max_width, _ASCII if options.ascii_only else _BLOCKS)

    def drawn(self, width: int, glyphs: _Glyphs) -> Text:
        raise NotImplementedError


@dataclass(frozen=True)
class _Glyphs:
    sure: str
    maybe: str
    back: str
    edge: str
    empty: str


_BLOCKS = _Glyphs("█", "░", "◂", "│", "·")
_ASCII = _Glyphs("#", "=", "<", "|", ".")


@dataclass(frozen=True)
class _Bar(_Drawn):
    """A stage's time: solid to the median of its end, light to the 90th percentile; the last moment to turn back."""

    axis: _Axis
    stage: Stage

    def drawn(self, width: int, glyphs: _Glyphs) -> Text:
        axis, stage = self.axis, self.stage
        cells = [(" ", "")] * width
        opens, closes = axis.place(axis.opens, width), axis.place(axis.closes, width)
        cells[opens + 1 : closes] = [(glyphs.empty, "dim")] * max(0, closes - opens - 1)
        for edge in (opens, closes):
            cells[edge] = (glyphs.edge, "dim")
        if stage.times is not None:
            first, half, most = (
                axis.place(moment, width) for moment in (stage.times.start, stage.times.p50, stage.times.p90)
            )
            cells[half : most + 1] = [(glyphs.maybe, "")] * (most - half + 1)
            cells[first : half + 1] = [(glyphs.sure, "")] * (half - first + 1)
        last = stage.turn_back.last_moment
        if stage.turn_back.possible and last is not None and axis.start <= last <= axis.end:
            cells[axis.place(last, width)] = (glyphs.back, "bold")
        return Text.assemble(*cells, no_wrap=True)


@dataclass(frozen=True)
class _Ruler(_Drawn):
    """The hours above the bars, as many as there is room for."""

    axis: _Axis
    zone: tzinfo | None

    def drawn(self, width: int, glyphs: _Glyphs) -> Text:
        line = [" "] * width
        free = 0
        for moment in self._hours():
            at, label = self.axis.place(moment, width), f"{moment.astimezone(self.zone):%H:%M}"
            if at >= free and at + len(label) <= width:
                line[at : at + len(label)] = label
                free = at + len(label) + 1
        return Text("".join(line), no_wrap=True)

    def _hours(self) -> Iterable[datetime]:
        """The start, then every full hour by elapsed time: one that the clocks repeat comes twice."""
        moment = self.axis.start.astimezone(UTC)
        yield moment
        moment = moment.replace(minute=0, second=0, microsecond=0) + timedelta(hours=1)
        while moment <= self.axis.end:
            yield moment
            moment += timedelta(hours=1)


class _Legend:
    """What the bars mean, in the glyphs in which they are drawn."""

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        glyphs = _ASCII if options.ascii_only else _BLOCKS
        yield Text(f"{glyphs.sure} ended by P50 in 5 of 10 cases, {glyphs.maybe} by P90 in 9 of 10, "
                   f"{glyphs.back} last moment to turn back", "dim")  # fmt: skip
        yield Text(f"{glyphs.edge} the window's edges   {_DROPS}", "dim")


def _restarts(plan: Plan) -> Iterable[RenderableType]:
    notice, batches = plan.notice, plan.batches
    if batches is not None:
        rounds = [folded(words.fewest(batches)), _rounds(plan)]
        yield _section("The access points' restarts", *rounds, *_rolling(batches))
        yield _section("Holes", folded(words.holes(batches)), *_holes(batches))
    if notice is not None:
        yield _section("Who notices", folded(words.notice(notice)), folded(notice.statement))


def _rounds(plan: Plan) -> RenderableType:
    table = layout.table("Round", "APs", "Clients", "AP minutes", "Where", "Which")
    _figures(table, 4)
    for number, aps, told in words.rounds(plan):
        clients = words.count(told.clients if told else None)
        minutes = words.minutes(told.ap_minutes if told else None)
        where = words.some(told.sites, _PLACES) if told else ""
        table.add_row(str(number), str(len(aps)), clients, minutes, folded(where), folded(words.some(aps, _NAMES)))
    return table


def _rolling(batches: BatchPlan) -> Iterable[RenderableType]:
    if not batches.rolling:
        return
    table = layout.table("Per cent", "At least", "Estimated", "Against the batches")
    _figures(table, 3)
    for each in batches.rolling:
        figures = (f"{each.percentage:g}", str(each.at_least), str(each.simulated))
        table.add_row(*figures, folded(words.rolling(each, batches)))
    yield layout.blank(Text("If the controller's own rolling restart does it, in rounds:"))
    yield table


def _holes(batches: BatchPlan) -> Iterable[RenderableType]:
    if not batches.holes:
        return
    table = layout.table("Round", "Access point", "Where", "Why")
    _figures(table, 1)
    for hole in batches.holes[:_HOLES]:
        where = Text.assemble(folded(hole.site), (", critical", "bold red") if hole.critical else "")
        table.add_row(str(hole.batch), folded(hole.ap, "bold" if hole.critical else ""), where, folded(hole.why.value))
    yield table
    if len(batches.holes) > _HOLES:
        yield Text(f"and {len(batches.holes) - _HOLES:,} more, in plan.html and plan.json (--out DIR)", "italic")


def _figures(table: Table, columns: int) -> None:
    for column in table.columns[:columns]:
        column.justify = "right"
        column.no_wrap = True


def _unknowns(plan: Plan) -> Iterable[RenderableType]:
    if plan.unknowns:
        rows: list[RenderableType] = []
        for unknown in plan.unknowns:
            rows.append(folded(unknown.what))
            rows.append(layout.indented(Text.assemble(("Needed: ", "bold"), folded(unknown.needed))))
        yield _section("What couldn't be computed", *rows)


def _notes(plan: Plan) -> Iterable[RenderableType]:
    if plan.notes:
        yield _section("How the figures are meant", *map(folded, plan.notes))


def fleet(found: Sequence[PairPlan]) -> RenderableType:
    """All pairs' plans in a table, and of those that don't stand well what is against them."""
    table = layout.table("Pair", "Window opens", "P90", "Spare", "Plan", "Against it")
    for column in table.columns[:5]:
        column.no_wrap = True
    for each in found:
        plan, clock = each.plan, words.clock(each.plan)
        times = plan.times
        table.add_row(
            folded(plan.pair.name, "bold"),
            folded(wording.moment(plan.window_start)[:16] if plan.window_start else "none"),
            clock.at(times.p90 if times else None),
            words.hours(times.slack_seconds) if times else "-",
            Text(each.standing.value, _STYLES[each.standing]),
            _first(words.against(each)),
        )
    return Group(table, Text("Times of day are those of each pair's own zone; readypair plan PAIR tells all.", "dim"))


def campaign(found: CampaignPlan) -> RenderableType:
    """The nights with their pairs, the pairs without one, and what clashes where there is no campaign."""
    parts: list[RenderableType] = [folded(words.outcome(found), "bold")]
    if found.campaign.windows:
        parts.append(_nights(found))
    for each in found.left:
        parts.append(Text.assemble(folded(each.pair.name, "bold"), " has no window: ", folded(each.why)))
    if found.clash:
        parts.append(layout.blank(Text("These can't hold together; give way in any one of them:")))
        parts += [layout.indented(folded(f"- {sentence}")) for sentence in found.clash]
    return Group(*parts)


def _nights(found: CampaignPlan) -> RenderableType:
    table = layout.table("Window", "People", "Pairs")
    table.columns[0].no_wrap = True
    for each in found.nights:
        night = each.night
        opens = f"{wording.moment(night.window.start)}, {words.span(night.window.minutes * 60)}"
        head = Group(folded(night.name, "bold"), Text(opens))
        people = Group(*map(folded, words.people(night)))
        table.add_row(head, people, Group(*map(folded, words.given(each))))
    return table


def _first(reasons: Sequence[str]) -> Text:
    """The first reason, and how many more there are: the pair's own plan has them all."""
    if not reasons:
        return Text("nothing")
    return folded(reasons[0] if len(reasons) == 1 else f"{reasons[0]} +{len(reasons) - 1}")


def _section(title: str, *parts: RenderableType) -> Padding:
    return layout.blank(Group(Text(title, "bold underline"), *parts))
