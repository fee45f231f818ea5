"""What the board shows, put together from the store: of each pair a row in the fleet's table and a sheet of its own."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from statistics import median

from collector.finding import Status, Verdict
from collector.nights.change import Change
from collector.nights.drift import walk
from collector.nights.night import CertificateEnd, Night, PairState, Room
from collector.nights.outlook import Forecast, Silence, forecast, series
from collector.nights.past import Past, past_of
from collector.nights.streak import ready_share, streak
from collector.nights.swept import Swept
from collector.report.board.addresses import stem
from collector.report.board.drawn import Reading, Span, Standing, Stretch, Trend
from collector.report.board.plans import PlanCard
from collector.report.stored import pair_result
from collector.result import PairResult
from collector.store.store import Store
from inventory.pairs import Window

YEAR, LAST = timedelta(days=364), 30
# A pair that the fleet's sweeps haven't met for so long is named at the end of the board, and has no page any more.
_GONE = timedelta(days=30)


@dataclass(frozen=True)
class Planned:
    """What an inventory says of a pair that a stored report may not know yet."""

    name: str
    site: str
    window: Window | None


@dataclass(frozen=True)
class Frame:
    """What holds for every page of one board.

    `newest` is the last night of the fleet, None where no sweep of the whole fleet was ever stored; `swept` tells which
    of its nights are those of a pair, since several collectors may sweep a part each. `planned` are the pairs of the
    inventory where one is given, else None: then windows come from the reports.
    """

    made: datetime
    since: date
    newest: date | None
    fleet_nights: tuple[date, ...]
    planned: Mapping[str, Planned] | None = None
    plans: Mapping[str, PlanCard] = field(default_factory=dict)
    swept: Swept = field(default_factory=Swept)

    @property
    def fresh_for(self) -> timedelta:
        """For how long a board of these nights is fresh: one and a half of their usual distances, 36 hours at least."""
        return _fresh_for(self.fleet_nights)

    def is_stale(self, night: Night) -> bool:
        """Whether what a pair said that night is no answer any more.

        Its own fleet was swept since, or others go on while its own lies still for longer than it usually does.
        """
        own = self.swept.of(night.pair)
        if self.newest is None:
            return False
        return night.night < max(own, default=self.newest) or self.newest - night.night > _fresh_for(own)


def _fresh_for(nights: Sequence[date]) -> timedelta:
    gaps = [(later - earlier).days for earlier, later in pairwise(nights[-LAST:])]
    return timedelta(days=median(gaps) if gaps else 1) * 1.5


@dataclass(frozen=True)
class Trouble:
    """What a pair has to do with a rule that it doesn't pass: the status that it counts as, or that it is waived."""

    rule: str
    status: Status
    waived: bool
    statement: str


@dataclass(frozen=True)
class Row:
    """A pair in the fleet's table.

    `asked` is the night of its last answer and `known` its verdict then, both None for a pair that never answered;
    `heard` when that was, or when it was judged where its captures tell no time (not `dated`). `in_a_row` counts the
    nights in a row on which it was go, `ready` those of the last thirty by the calendar, of which `counted` count;
    `first` says that there is no night before its last answer.
    """

    name: str
    site: str
    standing: Standing
    window: Window | None = None
    asked: date | None = None
    known: Verdict | None = None
    heard: datetime | None = None
    dated: bool = True
    in_a_row: int = 0
    ready: int = 0
    counted: int = 0
    first: bool = False
    troubles: tuple[Trouble, ...] = ()
    changes: tuple[Change, ...] = ()

    @property
    def page(self) -> str:
        """The name of its page in `pairs/`."""
        return f"{stem(self.name)}.html"


@dataclass(frozen=True)
class CertificateRow:
    """A member's certificate and when it ends; `days` are those that are left as of the board."""

    member: str
    certificate: CertificateEnd
    days: int


@dataclass(frozen=True)
class ShownPlan:
    """A plan, and whether it was made for another target or another window than the pair has now."""

    plan: PlanCard
    other_target: bool
    other_window: bool


@dataclass(frozen=True)
class Sheet:
    """A pair's own page.

    `result` is its last answer as the report had it, None where there is none or where it was taken away by then.
    """

    row: Row
    result: PairResult | None = None
    stretches: tuple[Stretch, ...] = ()
    trends: tuple[Trend, ...] = ()
    certificates: tuple[CertificateRow, ...] = ()
    timeline: tuple[Change, ...] = ()
    plan: ShownPlan | None = None

    @property
    def flash_shown(self) -> Span | None:
        """The nights of the flash's picture, up to where a forecast leads within a year; None where one tells all."""
        nights = {each.night for trend in self.trends for each in trend.readings}
        if len(nights) < 2:
            return None
        forecasts = [trend.forecast for trend in self.trends if isinstance(trend.forecast, Forecast)]
        ahead = [moment.date() for each in forecasts if each.shortfall.likely for moment in each.shortfall if moment]
        return Span(min(nights), min(max([*nights, *ahead]), max(nights) + YEAR))

    @property
    def shown(self) -> Span | None:
        """The nights from the first to the last that is told of; None where there are none."""
        if not self.stretches:
            return None
        return Span(self.stretches[0].span.first, self.stretches[-1].span.last)


@dataclass(frozen=True)
class Board:
    """The fleet's page. `gone` are pairs that the store knows and that nobody asks any more."""

    frame: Frame
    rows: tuple[Row, ...]
    gone: tuple[str, ...]

    @property
    def heard(self) -> datetime | None:
        """The oldest answer that a verdict rests on: one pair that was asked again doesn't make the others newer.

        Where none counts any more it is the last one that there was.
        """
        counted = self._counted()
        return min(counted) if counted else max((row.heard for row in self.rows if row.heard), default=None)

    @property
    def dated(self) -> bool:
        """Whether all answers that count tell when they were given."""
        return all(row.dated for row in self.rows if row.standing is not Standing.NOT_ASKED)

    def _counted(self) -> list[datetime]:
        return [row.heard for row in self.rows if row.heard and row.standing is not Standing.NOT_ASKED]


def frame_of(
    store: Store,
    made: datetime,
    planned: Sequence[Planned] | None = None,
    plans: Mapping[str, PlanCard] | None = None,
) -> Frame:
    """What holds for every page of a board that is made at this moment."""
    swept = store.swept()
    newest = max(swept.any(), default=None)
    since = (newest or made.date()) - YEAR
    swept = swept.between(since)
    return Frame(
        made=made,
        since=since,
        newest=newest,
        fleet_nights=swept.any(),
        planned=None if planned is None else {pair.name: pair for pair in planned},
        plans=plans or {},
        swept=swept,
    )


def sheet_of(store: Store, name: str, frame: Frame) -> Sheet | None:
    """A pair's sheet; None for one that nobody asks any more."""
    planned = frame.planned.get(name) if frame.planned is not None else None
    if frame.planned is not None and planned is None:
        return None
    nights = store.nights(name, since=frame.since)
    if planned is None and _is_gone(nights, frame):
        return None
    state = lru_cache(maxsize=None)(store.state)
    answered = next((night for night in reversed(nights) if night.in_time), None)
    result = _result(store, answered, state)
    row = _row(name, planned, nights, frame)
    timeline = tuple(walk(nights, state, store.ap_set))
    if answered is not None:
        row = replace(
            row,
            asked=answered.night,
            known=answered.verdict,
            heard=answered.asked or answered.judged,
            dated=answered.asked is not None,
            window=_window(planned, result),
            first=not any(night.in_time for night in nights if night is not answered),
            troubles=tuple(_troubles(state(answered.state), result)),
            changes=tuple(each for each in timeline if each.night == nights[-1].night and nights[-1] is answered),
        )
    return Sheet(
        row=row,
        result=result,
        stretches=tuple(_stretches(nights, frame, state)),
        trends=tuple(_trends([night for night in nights if night.in_time])),
        certificates=tuple(_certificates(state(answered.state), frame.made)) if answered is not None else (),
        timeline=timeline,
        plan=_plan(frame.plans.get(name), row, result),
    )


def board_of(frame: Frame, rows: Iterable[Row], gone: Sequence[str]) -> Board:
    """The fleet's page: by site, and within a site the worst first."""
    worst = list(Standing)
    ordered = sorted(rows, key=lambda row: (row.site.casefold(), row.site, worst.index(row.standing), row.name))
    return Board(frame, tuple(ordered), tuple(sorted(gone)))


def names_of(store: Store, frame: Frame) -> tuple[str, ...]:
    """The pairs that may have a sheet: those of the store and those of the inventory, sorted."""
    return tuple(sorted({*store.pairs(), *(frame.planned or ())}))


def _is_gone(nights: Sequence[Night], frame: Frame) -> bool:
    return not nights or (frame.newest is not None and frame.newest - nights[-1].night > _GONE)


def _result(store: Store, night: Night | None, state: Callable[[int], PairState]) -> PairResult | None:
    if night is None:
        return None
    report = store.report(night.id)
    return pair_result(report, state(night.state)) if report is not None else None


def _row(name: str, planned: Planned | None, nights: Sequence[Night], frame: Frame) -> Row:
    """What is known of a pair whether it ever answered or not."""
    own = frame.swept.of(name)
    ready, counted = ready_share(nights, own, last=LAST)
    return Row(
        name=name,
        site=planned.site if planned is not None else nights[-1].site,
        standing=_standing(nights[-1] if nights else None, frame),
        window=planned.window if planned is not None else None,
        in_a_row=streak(nights, own),
        ready=ready,
        counted=counted,
    )


def _standing(night: Night | None, frame: Frame) -> Standing:
    """How a pair stands by its last night: what it said before its fleet's last one is no answer any more."""
    if night is None or not night.in_time or frame.is_stale(night):
        return Standing.NOT_ASKED
    return Standing(night.verdict.value)


def _window(planned: Planned | None, result: PairResult | None) -> Window | None:
    if planned is not None:
        return planned.window
    return result.pair.window if result is not None else None


def _troubles(state: PairState, result: PairResult | None) -> Iterator[Trouble]:
    """What keeps the pair from being go or is worth a caution, in the catalogue's order where a report tells it."""
    statements = {finding.rule: finding.statement for finding in result.findings} if result is not None else {}
    for rule in (*statements, *(each for each in state.rules if each not in statements)):
        kept = state.rules.get(rule)
        if kept is None:
            continue
        status = Status.UNKNOWN if kept.waived and kept.decides else kept.status
        if kept.waived or status in (Status.BLOCK, Status.UNKNOWN, Status.CAUTION):
            yield Trouble(rule, status, kept.waived, statements.get(rule, ""))


def _stretches(nights: Sequence[Night], frame: Frame, state: Callable[[int], PairState]) -> Iterator[Stretch]:
    """The nights that count from the pair's first on, those alike and next to each other as one."""
    by_night = {night.night: night for night in nights}
    if not by_night:
        return
    stood = lru_cache(maxsize=None)(lambda number: _stood(state(number)))
    counted = sorted({*by_night, *(each for each in frame.swept.of(nights[0].pair) if each >= nights[0].night)})
    first = last = counted[0]
    before = _unasked_or(by_night.get(first), stood)
    for night in counted[1:]:
        now = _unasked_or(by_night.get(night), stood)
        if now != before or (night - last).days > 1:
            yield Stretch(Span(first, last), *before)
            first = night
        last, before = night, now
    yield Stretch(Span(first, last), *before)


_Stood = tuple[Standing, tuple[str, ...]]


def _unasked_or(night: Night | None, stood: Callable[[int], _Stood]) -> _Stood:
    return stood(night.state) if night is not None and night.in_time else (Standing.NOT_ASKED, ())


def _stood(state: PairState) -> _Stood:
    return Standing(state.verdict.value), tuple(rule for rule, kept in state.rules.items() if kept.decides)


def _trends(nights: Sequence[Night]) -> Iterator[Trend]:
    past = past_of(nights)
    readings: dict[str, list[Reading]] = defaultdict(list)
    last: dict[str, tuple[Night, Room]] = {}
    for night in nights:
        for room in night.rooms:
            readings[room.member].append(Reading(night.night, room.free, room.needed))
            last[room.member] = night, room
    for member in sorted(readings):
        if any(reading.free is not None for reading in readings[member]):
            yield Trend(member, tuple(readings[member]), _forecast(past, *last[member]))


def _forecast(past: Past, night: Night, room: Room) -> Forecast | Silence | None:
    if room.free is None or room.needed is None:
        return None
    return forecast(series(room, past, night.asked or night.judged, night.night))


def _certificates(state: PairState, made: datetime) -> Iterator[CertificateRow]:
    for member, known in state.members.items():
        for certificate in known.certificates or ():
            yield CertificateRow(member, certificate, (certificate.end.date() - made.date()).days)


def _plan(plan: PlanCard | None, row: Row, result: PairResult | None) -> ShownPlan | None:
    if plan is None:
        return None
    target = result.target_release if result is not None else plan.target_release
    start = row.window.start if row.window is not None else None
    return ShownPlan(plan, other_target=plan.target_release != target, other_window=plan.window_start != start)
