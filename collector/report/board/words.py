"""What the board says, in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from itertools import groupby
from urllib.parse import quote

from collector.finding import Status
from collector.nights.change import Change
from collector.nights.foretelling import sentence
from collector.nights.outlook import Forecast, Silence
from collector.report import wording
from collector.report.board.drawn import Span, Standing, Trend
from collector.report.board.plans import PlanCard, StageCard
from collector.report.board.site import LAST, Board, CertificateRow, Frame, Row, Sheet, ShownPlan, Trouble
from collector.report.change_wording import Line, lines
from collector.report.plan_wording import Clock
from collector.rules.rule import Rule
from collector.sizes import rounded

# So many of a row's rules are named in the fleet's table; the others are found by searching, and on the pair's page.
_NAMED, _CHANGES = 4, 2
# On so many nights at most what moved is told on a pair's page.
_NIGHTS = 60


def counted(rows: Sequence[Row]) -> list[tuple[Standing, int]]:
    """How many pairs stand in each way, the worst first."""
    return [(standing, sum(row.standing is standing for row in rows)) for standing in Standing]


def counts(rows: Sequence[Row]) -> str:
    """The same as a line: `16 pairs: 11 no-go, 2 undecided, 0 not asked, 3 go`."""
    parts = ", ".join(f"{number} {standing}" for standing, number in counted(rows))
    return f"{wording.number_of(len(rows), 'pair')}: {parts}"


def summary(board: Board) -> str:
    """Of how many sites and of which night the fleet's page tells, and how many pairs changed."""
    sites = len({row.site for row in board.rows})
    told = f"{wording.number_of(len(board.rows), 'pair')} at {wording.number_of(sites, 'site')}"
    if board.frame.newest is None:
        return f"{told}. No sweep of the whole fleet is stored yet."
    moved = sum(bool(row.changes) for row in board.rows)
    otherwise = f"on {wording.number_of(moved, 'pair')} something" if moved else "nothing"
    return (
        f"{told}, swept last in the night of {board.frame.newest.isoformat()}; "
        f"{otherwise} is otherwise than the night before."
    )


@dataclass(frozen=True)
class Site:
    """A site in short; `next` is the start of its next window that hasn't ended."""

    name: str
    counted: list[tuple[Standing, int]]
    next: datetime | None


def sites(board: Board) -> Iterator[Site]:
    """Every site, in the order of the table."""
    for name, group in groupby(board.rows, key=lambda row: row.site):
        rows = list(group)
        ahead = [row.window.start for row in rows if row.window is not None and not passed(row, board.frame)]
        yield Site(name, counted(rows), min(ahead, default=None))


def rules(rows: Sequence[Row], catalogue: Sequence[Rule]) -> Iterator[tuple[Rule, list[tuple[str, int]]]]:
    """Every rule with how many pairs it concerns in each way."""
    for rule in catalogue:
        yield rule, [(title, len(found)) for title, found in concerned(rule, rows)]


def concerned(rule: Rule, rows: Iterable[Row]) -> list[tuple[str, list[tuple[Row, Trouble]]]]:
    """The pairs that don't pass the rule: those that it blocks first."""
    found = [(row, trouble) for row in rows for trouble in row.troubles if trouble.rule == rule.id]
    return [
        ("Blocks", [each for each in found if each[1].status is Status.BLOCK and not each[1].waived]),
        ("Not known", [each for each in found if each[1].status is Status.UNKNOWN]),
        ("Cautions", [each for each in found if each[1].status is Status.CAUTION]),
        ("Waived", [each for each in found if each[1].waived and each[1].status is not Status.UNKNOWN]),
    ]


def troubles(row: Row) -> Iterator[tuple[str, str]]:
    """What stands against a pair, each line with its label; the rules of a long list in part."""
    for label, names in _by_label(row):
        more = len(names) - _NAMED
        named = ", ".join(names[: _NAMED - 1] if more > 0 else names)
        yield label, f"{named} and {more + 1} more" if more > 0 else named


def hidden_rules(row: Row) -> str:
    """The rules that the row stands for without naming them, for the search to find."""
    return " ".join(name for _, names in _by_label(row) if len(names) > _NAMED for name in names[_NAMED - 1 :])


def _by_label(row: Row) -> Iterator[tuple[str, list[str]]]:
    if row.standing is Standing.NOT_ASKED:
        return
    open_ones = [each for each in row.troubles if not each.waived or each.status is Status.UNKNOWN]
    for status in (Status.BLOCK, Status.UNKNOWN, Status.CAUTION):
        names = [each.rule for each in open_ones if each.status is status]
        if names:
            yield "" if status is Status.BLOCK else f"{status}: ", names
    waived = [each.rule for each in row.troubles if each not in open_ones]
    if waived:
        yield "waived: ", waived


def nothing(row: Row) -> str:
    """What stands in the place of rules where there are none."""
    return "not known" if row.standing is Standing.NOT_ASKED else "nothing"


def rank(row: Row) -> int:
    """The place of a row's verdict, the worst first."""
    return list(Standing).index(row.standing)


def window_key(row: Row) -> str:
    """Where a row's window stands in time; empty without one."""
    return str(int(row.window.start.timestamp() // 60)) if row.window is not None else ""


def passed(row: Row, frame: Frame) -> bool:
    """Whether the window had ended when the board was made."""
    return row.window is not None and row.window.end <= frame.made


def share(row: Row) -> str:
    """The nights ready of the last thirty: `28 of 30`, fewer where fewer count."""
    return f"{row.ready} of {row.counted}" if row.counted else "none yet"


def share_key(row: Row) -> str:
    """The same as a number to sort by."""
    return f"{row.ready / row.counted:.3f}" if row.counted else ""


def not_asked(row: Row) -> str:
    """Since when a pair wasn't asked, and what it said then; empty where last night has its answer."""
    if row.standing is not Standing.NOT_ASKED:
        return ""
    return f"since {row.asked.isoformat()}, {row.known} then" if row.asked is not None else "ever"


def silence(row: Row) -> str:
    """The same as a sentence, with what follows from it."""
    if row.asked is None:
        return "No sweep has an answer of this pair yet: nothing is known of it."
    return (
        f"The last sweep has no answer of this pair: what follows is of the night of {row.asked.isoformat()}. "
        "Ask it again before anything rests on it: readypair check asks one pair."
    )


def now(row: Row) -> str:
    """The heading of what holds now."""
    return f"In the night of {row.asked.isoformat()}" if row.asked is not None else "Not asked yet"


def figures(sheet: Sheet, frame: Frame) -> Iterator[tuple[str, str]]:
    """What is told of a pair besides what its report tells."""
    row = sheet.row
    if sheet.result is None or (row.window is not None and row.window != sheet.result.pair.window):
        yield "Next window", wording.window(row.window) if row.window is not None else "none"
    if passed(row, frame):
        yield "Passed", "the window had ended when this page was made"
    yield "Go in a row", wording.number_of(row.in_a_row, "night")
    yield f"Go of the last {LAST}", share(row)
    if row.heard is not None:
        yield (
            "Asked" if row.dated else "Judged, its captures tell no time",
            wording.moment(row.heard.astimezone(_zone(sheet))),
        )


def _zone(sheet: Sheet) -> tzinfo | None:
    """The pair's own offset, as its window tells it."""
    return sheet.row.window.start.tzinfo if sheet.row.window is not None else None


def unchanged(sheet: Sheet) -> str:
    """What stands where nothing changed."""
    if sheet.row.standing is Standing.NOT_ASKED:
        return "Not known, since it wasn't asked."
    return "This is its first night." if sheet.row.first else "Nothing."


def no_findings(row: Row) -> str:
    """Why there are no findings to show."""
    if row.asked is None:
        return "None yet: it was never asked."
    return "They were taken away with the captures of that night (--keep-days); its verdict and its figures are kept."


def changed(row: Row) -> str:
    """What changed since the night before, in the fleet's table: the first few."""
    if row.standing is Standing.NOT_ASKED:
        return "not known"
    if row.first:
        return "first night"
    told = [change(each) for each in lines(row.changes)]
    more = len(told) - _CHANGES
    return "; ".join(told[:_CHANGES]) + (f"; and {more} more" if more > 0 else "") if told else "nothing"


def change(line: Line) -> str:
    """One thing that changed: how it is now, how it was, what came and went."""
    sets = [f"{label} {names}" for label, names in (("new", line.came), ("gone", line.went)) if names]
    told = ", ".join([*([line.now] if line.now else []), *sets])
    worse = {True: " (worse)", False: " (better)", None: ""}[line.worse]
    return f"{line.about}: {told}{line.said}{worse}"


def direction(line: Line) -> str:
    """The class of a change on a page."""
    return {True: "is-worse", False: "is-better", None: "is-otherwise"}[line.worse]


def by_night(timeline: Sequence[Change]) -> Iterator[tuple[str, list[Line]]]:
    """The changes of the nights on which there were any, the latest first, and only so many."""
    for night in sorted({each.night for each in timeline}, reverse=True)[:_NIGHTS]:
        yield night.isoformat(), lines(each for each in timeline if each.night == night)


def before(timeline: Sequence[Change]) -> str:
    """On how many nights before those something moved, and who tells of it; empty without any."""
    more = len({each.night for each in timeline}) - _NIGHTS
    return f"Before, something moved on {wording.number_of(more, 'night')}: see readypair history." if more > 0 else ""


def span(nights: Span) -> str:
    """One night, or from the first to the last."""
    first, last = nights.first.isoformat(), nights.last.isoformat()
    return first if first == last else f"{first} to {last}"


def history(sheet: Sheet) -> str:
    """The nights in a sentence."""
    shown = sheet.shown
    if shown is None:
        return "No night of it is stored yet."
    nights = {
        standing: sum(each.span.nights for each in sheet.stretches if each.standing is standing)
        for standing in Standing
    }
    told = ", ".join(f"{standing} on {number}" for standing, number in nights.items() if number)
    number = sum(nights.values())
    unswept = f"; on {shown.nights - number} nobody swept" if shown.nights > number else ""
    return f"Of {wording.number_of(shown.nights, 'night')} from {span(shown)} it was {told}{unswept}."


def no_history(sheet: Sheet) -> str:
    """What stands where there are too few nights for a picture."""
    return f"{history(sheet)} A picture of them comes with the second night.".strip()


def history_picture(sheet: Sheet, lanes: Sequence[tuple[str, int]]) -> str:
    """What the drawn history says, for those who don't see it; `lanes` are the rules in it with their nights."""
    kept = ", ".join(f"{name} on {wording.number_of(number, 'night')}" for name, number in lanes)
    told = f"Kept from go by {kept}." if kept else "No rule kept it from being go."
    return " ".join(filter(None, (history(sheet), told, not_drawn(sheet, len(lanes)))))


def not_drawn(sheet: Sheet, lanes: int) -> str:
    """How many rules the drawing leaves out that has so many; empty where it has all."""
    more = len({rule for stretch in sheet.stretches for rule in stretch.rules}) - lanes
    return f"{wording.number_of(more, 'more rule')}: see the table." if more > 0 else ""


def trend(trend: Trend, sheet: Sheet) -> str:
    """A member's flash in one or two sentences: how much is free, and where that leads."""
    last = trend.readings[-1]
    free = rounded(last.free) if last.free is not None else "an unknown size"
    needed = (
        f"the images need {rounded(last.needed)}" if last.needed is not None else "what the images need isn't known"
    )
    told = f"{trend.member} had {free} free in the night of {last.night.isoformat()}, and {needed}."
    start = sheet.row.window.start if sheet.row.window is not None else None
    if isinstance(trend.forecast, Forecast):
        ahead = start if start is not None and start > trend.forecast.likely.start else None
        return f"{told} {sentence(trend.member, trend.forecast, _zone(sheet), ahead)}"
    if isinstance(trend.forecast, Silence):
        return f"{told} No forecast: it {trend.forecast.reason}."
    return f"{told} No forecast without either figure."


def flash_picture(sheet: Sheet) -> str:
    """What the drawn flash says, for those who don't see it."""
    return " ".join(trend(each, sheet) for each in sheet.trends)


def wall_clock(moment: datetime) -> str:
    """A certificate's end, on the pair's own clock."""
    return moment.replace(tzinfo=None).isoformat(sep=" ", timespec="minutes")


def days_left(each: CertificateRow, row: Row) -> str:
    """How many days, and whether that is before the window has ended."""
    if each.days < 0:
        return "ended"
    ends = each.certificate.end.replace(tzinfo=None)
    early = row.window is not None and ends < row.window.end.replace(tzinfo=None)
    return f"{each.days}, before the window has ended" if early else str(each.days)


def plan(card: PlanCard) -> str:
    """For what and when a plan was made."""
    start = f"the window from {wording.moment(card.window_start)}" if card.window_start is not None else "no window"
    return f"Planned for {card.target_release} and {start}, as of {wording.moment(card.made)}."


def plan_warnings(shown: ShownPlan) -> Iterator[str]:
    """What speaks against leaning on it."""
    if shown.other_target:
        yield f"It was made for {shown.plan.target_release}, which isn't the pair's target any more: plan it anew."
    if shown.other_window:
        yield "It was made for another window than the pair has now: plan it anew."


def stage(card: StageCard) -> tuple[tuple[str, datetime | None], ...]:
    """A stage's moments under their labels."""
    return (("Starts", card.start), ("In 5 of 10", card.p50), ("In 9 of 10", card.p90))


def at(card: PlanCard, moment: datetime | None) -> str:
    """A moment of a plan: the day and the offset only where they could be mistaken."""
    return _clock(card).at(moment) if moment is not None else "not known"


def back_by(card: PlanCard, stage: StageCard) -> str:
    """The last moment to turn back from a stage."""
    if not stage.can_turn_back:
        return "no way back"
    return _clock(card).by(stage.back_by) if stage.back_by is not None else "not known"


def _clock(card: PlanCard) -> Clock:
    given = [moment for each in card.stages for moment in (each.start, each.p90, each.back_by) if moment is not None]
    offsets = {moment.utcoffset() for moment in given}
    return Clock(bool(given) and max(given) - min(given) > timedelta(days=1), len(offsets) > 1)


def no_plan(frame: Frame) -> str:
    """What stands where there is no plan."""
    if frame.plans:
        return "The plans beside this board hold none of this pair."
    return "This board was made without plans (--plans)."


def weight(rule: Rule) -> str:
    """What the rule's trouble comes to, and whether a site may decide otherwise."""
    says = "Its trouble keeps a pair from being go" if rule.weight == "block" else "Its trouble is a caution"
    if not rule.waivable:
        return f"{says}. Nobody can waive it or weigh it otherwise."
    return f"{says}, unless the site's policy weighs it otherwise."


def gone(board: Board) -> str:
    """The pairs that the store knows and the board leaves out."""
    many = wording.number_of(len(board.gone), "pair")
    return f"{many} of the store that nobody asks any more: {', '.join(board.gone)}."


def quoted(text: str) -> str:
    """A text for the part of an address behind the #."""
    return quote(text, safe="", errors="replace")


def flash_row(each: Sequence[int | None]) -> list[str]:
    """The figures of a night; what wasn't known is said so."""
    return ["not known" if size is None else f"{size:,}" for size in each]


def fresh_hours(frame: Frame) -> int:
    """For how many hours the page isn't out of date."""
    return round(frame.fresh_for / timedelta(hours=1))
