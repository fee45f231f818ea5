"""How a plan's moments, spans and shares are written, in the terminal, on the page and in the procedure alike."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

from collector.campaigning import CampaignPlan, NightPlan, Step
from collector.finding import Status
from collector.plan.batches import BatchPlan, Rolling
from collector.plan.campaign import Answer
from collector.plan.plan import BatchNotice, Notice, Plan, Stage
from collector.planned import PairPlan, Standing
from collector.report import wording
from collector.result import PairResult
from inventory.windows import Night

_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_ONE_NIGHT = timedelta(hours=24)

CAUTIONS = (
    "This can drop clients: at the switchover, and wherever an access point restarts.",
    "Where lives or safety depend on the network, agree the outage beforehand with those who are responsible for them.",
    "The vendor's procedure and the change process rule over this paper.",
)


@dataclass(frozen=True)
class Clock:
    """How moments of one plan are written: with the day only where it could be mistaken, with the offset likewise."""

    days: bool
    offsets: bool

    def at(self, moment: datetime | None) -> str:
        """A time of day to the nearest minute: `23:05`, `Sun 23:05` or `02:30+01:00`; a dash where there is none."""
        return "-" if moment is None else self._written(_to_minute(moment))

    def by(self, moment: datetime | None) -> str:
        """A last moment, likewise, but never later than it is."""
        return "-" if moment is None else self._written(moment)

    def _written(self, moment: datetime) -> str:
        day = f"{_WEEKDAYS[moment.weekday()]} " if self.days else ""
        return f"{day}{moment:%H:%M}{_offset(moment) if self.offsets else ''}"


def clock(plan: Plan) -> Clock:
    """The clock for everything that lies in the window."""
    moments = list(_moments(plan))
    spread = max(moments) - min(moments) if moments else timedelta()
    return Clock(spread > _ONE_NIGHT, len({moment.utcoffset() for moment in moments}) > 1)


def _moments(plan: Plan) -> Iterable[datetime]:
    found: list[datetime | None] = [plan.window_start, plan.window_end]
    if plan.times is not None:
        found += [plan.times.begin, plan.times.p90]
    for stage in in_window(plan):
        found += [stage.turn_back.last_moment]
        if stage.times is not None:
            found += [stage.times.start, stage.times.p90]
    return (moment for moment in found if moment is not None)


def in_window(plan: Plan) -> list[Stage]:
    """The stages of the window itself that are needed."""
    return [stage for stage in plan.stages if stage.in_window and not stage.skipped]


def before_window(plan: Plan) -> list[Stage]:
    """The stages that are done before the window opens and are needed."""
    return [stage for stage in plan.stages if not stage.in_window and not stage.skipped]


def steps(plan: Plan) -> list[Stage]:
    """All stages in the order in which a person does them: what belongs before the window comes before it."""
    return sorted(plan.stages, key=lambda stage: stage.in_window)


def warning(found: PairPlan) -> str:
    """What stands above the steps of a plan that doesn't fit or whose pair isn't go; empty where all is well."""
    if found.standing is Standing.FITS:
        return ""
    return f"Don't begin: the plan is {found.standing.value}. Against it: {', '.join(against(found))}."


def day(moment: datetime) -> str:
    """A date such as `Sat 6 Feb 2027`."""
    return f"{_WEEKDAYS[moment.weekday()]} {moment.day} {_MONTHS[moment.month - 1]} {moment.year}"


def full(moment: datetime | None) -> str:
    """A moment that stands alone, the seconds left out: `Sat 6 Feb 2027 23:00+01:00`; `not known` for none."""
    if moment is None:
        return "not known"
    return f"{day(moment)} {moment:%H:%M}{_offset(moment)}"


def window(plan: Plan) -> str:
    """The window's edges, length and zone; a sentence where the pair has none."""
    start, end = plan.window_start, plan.window_end
    if start is None or end is None:
        return "none in the inventory"
    length = span((end - start).total_seconds())
    zone = f", {plan.zone}" if "/" in plan.zone else ""
    return f"{full(start)} to {_closing(start, end)} ({length}{zone})"


def _closing(start: datetime, end: datetime) -> str:
    """The end beside the start: only what differs from it."""
    if end - start > _ONE_NIGHT:
        return full(end)
    weekday = f"{_WEEKDAYS[end.weekday()]} " if end.date() != start.date() else ""
    return f"{weekday}{end:%H:%M}{_offset(end) if end.utcoffset() != start.utcoffset() else ''}"


def span(seconds: float | None) -> str:
    """A duration as a person says it: `1 h 25 min`, `40 s`; `not known` where there is none."""
    if seconds is None:
        return "not known"
    if abs(seconds) < 90 and round(seconds) != 60:
        return f"{seconds:.0f} s"
    sign = "-" if seconds < 0 else ""
    days, minutes = divmod(round(abs(seconds) / 60), 24 * 60)
    hours, minutes = divmod(minutes, 60)
    parts = ((days, "d"), (hours, "h"), (minutes, "min"))
    return sign + (" ".join(f"{number} {unit}" for number, unit in parts if number) or "0 min")


def hours(seconds: float) -> str:
    """A duration in a narrow column: `3h05`, `-0h14`; the minutes rounded down."""
    hours, minutes = divmod(int(abs(seconds) // 60) if seconds >= 0 else -int(seconds // 60), 60)
    return f"{'-' if seconds < 0 else ''}{hours}h{minutes:02}"


def spare(plan: Plan) -> str:
    """By how much it fits into its window at the 90th percentile, or doesn't; empty where that isn't known."""
    if plan.times is None:
        return ""
    slack = plan.times.slack_seconds
    return f"{span(slack)} to spare in 9 of 10 cases" if slack >= 0 else f"{span(-slack)} too little for 9 of 10 cases"


def count(number: int | None) -> str:
    """A number, with a thousands' separator; `not known` where there is none."""
    return "not known" if number is None else f"{number:,}"


def minutes(number: float | None) -> str:
    """Minutes added up over access points, to the full minute."""
    return "not known" if number is None else f"{number:,.0f}"


def megabytes(size: int | None) -> str:
    """A size in decimal megabytes (10^6 bytes, IEC 80000-13)."""
    return "not known" if size is None else f"{size / 10**6:,.0f} MB"


def fixed(moment: datetime) -> datetime:
    """The moment with its offset as it is then: arithmetic with a changing zone loses which of two hours is meant."""
    return moment.replace(tzinfo=timezone(moment.utcoffset() or timedelta(0)), fold=0)


def _to_minute(moment: datetime) -> datetime:
    """The nearest full minute."""
    return (moment + timedelta(seconds=30)).replace(second=0, microsecond=0)


def _offset(moment: datetime) -> str:
    text = moment.strftime("%z")
    return f"{text[:3]}:{text[3:]}"


def finish(plan: Plan, clock: Clock) -> list[tuple[str, str]]:
    """When the window's work ends, how much is to spare and when it must begin, each with its label."""
    times = plan.times
    if times is None:
        if plan.at_least_seconds is None:
            return [("Ends", "not known: see what couldn't be computed")]
        return [("Ends", f"not known; what is known takes {span(plan.at_least_seconds)} in 9 of 10 cases")]
    ends = (
        f"{clock.at(times.p50)} in 5 of 10 cases, {clock.at(times.p90)} in 9 of 10; expected {clock.at(times.expected)}"
    )
    start = f"by {clock.by(times.latest_start)}"
    if times.latest_start_with_return is not None:
        start += f"; by {clock.by(times.latest_start_with_return)} if even turning back at the end must still fit"
    return [("Ends", ends), ("Room", spare(plan)), ("Begin", start)]


def readiness(ready: PairResult) -> str:
    """The pair's verdict from the same captures, with the rules that decide it."""
    rules = [finding.rule for finding in wording.worst_first(ready.findings) if finding.decides]
    return f"{ready.verdict.value} ({', '.join(rules)})" if rules else ready.verdict.value


def against(found: PairPlan) -> list[str]:
    """The ids of what stands against a plan: its own blocks, the rules that keep the pair from go, what isn't known."""
    blocks = [problem.id for problem in found.plan.problems if problem.status is Status.BLOCK]
    rules = [finding.rule for finding in wording.worst_first(found.ready.findings) if finding.decides]
    unknown = wording.number_of(len(found.plan.unknowns), "unknown")
    return [*blocks, *rules, *([unknown] if found.plan.unknowns else [])]


def spare_before_turning(stage: Stage) -> float | None:
    """From the 90th percentile of a stage's end to its last moment to turn back, in seconds; negative: too late."""
    if stage.times is None or stage.turn_back.last_moment is None:
        return None
    return (stage.turn_back.last_moment - stage.times.p90).total_seconds()


def preparation(plan: Plan) -> list[str]:
    """When the preparation must begin, if there is any and that is known."""
    found = plan.preparation
    if found is None:
        return []
    return [f"Begin by {full(found.must_start)}: it takes {span(found.p90_seconds)} in 9 of 10 cases."]


def notice(found: Notice) -> str:
    """Who notices the restarts, in one sentence."""
    where = some(found.sites, 5) or "no site"
    return (
        f"{wording.number_of(found.aps, 'access point')} in {where}; clients on them: {count(found.clients)}; "
        f"minutes without service, added up over all access points: {minutes(found.ap_minutes)}."
    )


def fewest(batches: BatchPlan) -> str:
    """How many rounds the batches make, and whether fewer are possible."""
    number = wording.number_of(len(batches.batches), "round")
    if batches.proven_fewest:
        return f"{number} of access point restarts: proven to be the fewest."
    return f"{number} of access point restarts: the fewest found; with fewer than {batches.bound} it can't be done."


def holes(batches: BatchPlan) -> str:
    """How many restarts leave a hole, or may."""
    if not batches.holes:
        return "No restart leaves a hole: a neighbour stays up for each access point."
    critical = sum(hole.critical for hole in batches.holes)
    number = wording.number_of(len(batches.holes), "access point")
    told = f"{number} with no neighbour known to stand in during the restart"
    return f"{told}; {critical} in critical areas, named first." if critical else f"{told}; none in a critical area."


def rolling(found: Rolling, batches: BatchPlan) -> str:
    """How the controller's own restart at this setting compares with the batches, in a clause."""
    more = found.simulated - len(batches.batches)
    if more == 0:
        told = "as many rounds as the batches"
    else:
        told = f"{wording.number_of(abs(more), 'round')} {'more' if more > 0 else 'fewer'} than the batches"
    if found.over_share:
        told += f"; takes more than the policy's share of {some(found.over_share, 3)}"
    return told


def some(names: Sequence[str], most: int) -> str:
    """The first names, and how many more there are."""
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def hold_point(stage: Stage, clock: Clock) -> list[str]:
    """What a hold point asks: what must be seen, what means turn back, and until when that is possible."""
    seen = [f"Go on when: {each}" for each in stage.see]
    turn = [f"Turn back when: {each}" for each in stage.turn_back_when]
    return [*seen, *turn, f"Turning back: {turning_back(stage, clock)}"]


def too_late(stage: Stage) -> bool:
    """Whether the last moment to turn back from a stage lies before its own start."""
    last = stage.turn_back.last_moment
    return last is not None and stage.times is not None and last < stage.times.start


def back_by(stage: Stage, clock: Clock) -> str:
    """The last moment to turn back, for a table; a time of day that lies before the stage itself would mislead."""
    back = stage.turn_back
    if not back.possible:
        return "none"
    if back.last_moment is None:
        return "not known"
    return "too late" if too_late(stage) else clock.by(back.last_moment)


def turning_back(stage: Stage, clock: Clock) -> str:
    """Until when one can turn back, and what that means."""
    back = stage.turn_back
    if not back.possible or back.last_moment is None:
        return back.statement
    late = ""
    if too_late(stage):
        late = " That is before this stage begins."
    elif back.in_time is False:
        late = " That may be before this stage has ended."
    return f"Begin it by {clock.by(back.last_moment)}. {back.statement}{late}"


def zone(plan: Plan) -> tzinfo | None:
    """The zone in which the plan's moments are shown."""
    if plan.pair.time_zone is not None:
        return ZoneInfo(plan.pair.time_zone)
    return plan.window_start.tzinfo if plan.window_start is not None else None


def rounds(plan: Plan) -> list[tuple[int, tuple[str, ...], BatchNotice | None]]:
    """Each round's number from 1, its access points, and who notices it where that is known."""
    noticed = {each.number: each for each in plan.notice.batches} if plan.notice is not None else {}
    batches = plan.batches.batches if plan.batches is not None else ()
    return [(number, aps, noticed.get(number)) for number, aps in enumerate(batches, 1)]


def holed(plan: Plan, number: int) -> list[str]:
    """The access points of a round whose restart leaves a hole, or may."""
    holes = plan.batches.holes if plan.batches is not None else ()
    return [f"{hole.ap} (critical)" if hole.critical else hole.ap for hole in holes if hole.batch == number]


def when(stage: Stage, plan: Plan) -> str:
    """When a stage begins and by when it has ended, as far as that is known."""
    if stage.times is None:
        if stage.estimate is None:
            return f"How long it takes isn't known: {stage.basis}."
        return f"Takes {span(stage.estimate.likely)}, {span(stage.estimate.pessimistic)} at worst."
    if not stage.in_window:
        start, finish, p90 = map(full, (stage.times.start, stage.times.finish, stage.times.p90))
        return f"About {start} to {finish}; in 9 of 10 cases by {p90}."
    clock_ = clock(plan)
    ends = f"ended by {clock_.at(stage.times.p50)} in 5 of 10 cases, by {clock_.at(stage.times.p90)} in 9 of 10"
    return f"About {clock_.at(stage.times.start)} to {clock_.at(stage.times.finish)}; {ends}."


def outcome(found: CampaignPlan) -> str:
    """What the campaign's answer is, and how far it reaches, in one sentence."""
    answer = found.campaign.answer
    if answer in (Answer.IMPOSSIBLE, Answer.NONE_FOUND):
        return f"There is no campaign in these windows: {answer.value}."
    steps = wording.number_of(len(found.steps), "upgrade")
    nights = wording.number_of(found.campaign.nights, "night")
    least = f" With fewer than {found.campaign.bound} it can't be done." if answer is Answer.BEST_FOUND else ""
    return f"{steps} in {nights}; {answer.value}.{least}"


def given(night: NightPlan) -> list[str]:
    """The steps that a night was given, those that something blocks by themselves; `free` where there are none."""
    names = ", ".join(step.upgrade.name for step in night.steps if not step.upgrade.blocked)
    blocked = ", ".join(step.upgrade.name for step in night.steps if step.upgrade.blocked)
    return [*([names] if names else []), *([f"blocked: {blocked}"] if blocked else [])] or ["free"]


def step(found: Step) -> str:
    """A step of a campaign by its name; one that something blocks is marked."""
    return f"{found.upgrade.name} (blocked)" if found.upgrade.blocked else found.upgrade.name


def people(night: Night) -> list[str]:
    """Who is on shift: a number, or one for each shift."""
    return [f"{shift} {number}" for shift, number in night.shifts.items()] or [str(night.people)]
