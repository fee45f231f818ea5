"""Makes the plan of a pair's window from its own captures, the policy and the fleet's recorded stages. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo

from collector.finding import Status
from collector.plan import problems, stages
from collector.plan.notice import Counted, count, notice
from collector.plan.plan import (
    STAGES,
    AutoAbort,
    Estimate,
    Notice,
    Plan,
    Preparation,
    Problem,
    Stage,
    StageId,
    StageTimes,
    Staging,
    Times,
    Unknown,
)
from collector.plan.restarts import Restarts, restarts_of
from collector.plan.stages import ACTIVATED, BEFORE_WINDOW, DESCRIPTIONS, History
from collector.plan.staging import Known, known_aps, too_small
from collector.plan.times import deviation, later, mean, percentile, shown, zone_of
from collector.plan.turning_back import estimates_of, turn_back
from collector.plan.work import Work, all_will_hold, staging_of, work_of
from collector.rules import image_staged
from collector.snapshot import Snapshot
from inventory.pairs import Window
from inventory.policy import Policy
from parsers.facts.upgrade import InstallSummary

_IN_WINDOW: tuple[StageId, ...] = tuple(id for id in STAGES if id not in BEFORE_WINDOW)
_NOTHING: History = {}


@dataclass(frozen=True)
class _Case:
    """All that the parts of one plan are computed from; `begin` is when the window's first stage starts."""

    snapshot: Snapshot
    policy: Policy
    history: History
    known: Known
    counted: Counted
    restarts: Restarts
    staging: Staging | None
    work: Work
    zone: tzinfo
    begin: datetime | None

    @property
    def window(self) -> Window | None:
        return self.snapshot.pair.window

    def shown(self, moment: datetime) -> datetime:
        return shown(moment, self.zone)


def make(
    snapshot: Snapshot,
    policy: Policy,
    history: History = _NOTHING,
    *,
    restarts: Restarts | None = None,
    clients: Counted | None = None,
) -> Plan:
    """The plan of the snapshot's pair, as of the snapshot's moment.

    `restarts` and `clients` replace what the captures tell of them. ValueError where the history holds what is no
    duration.
    """
    zone, zone_name = zone_of(snapshot.pair)
    known, counted = known_aps(snapshot), count(snapshot) if clients is None else clients
    restarts = restarts_of(snapshot, policy, known) if restarts is None else restarts
    staging = staging_of(snapshot, policy, known)
    work = work_of(snapshot, policy, history, known, staging, restarts.rounds)
    begin = _begin(work, snapshot.pair.window, snapshot.moment)
    begin = shown(begin, zone) if begin is not None else None
    case = _Case(snapshot, policy, history, known, counted, restarts, staging, work, zone, begin)
    preparation = _preparation(case)
    planned = _stages(case, preparation)
    in_window = work.known(_IN_WINDOW)
    abort = _auto_abort(case, planned)
    return Plan(
        pair=snapshot.pair,
        made=shown(snapshot.moment, zone),
        zone=zone_name,
        window_start=shown(case.window.start, zone) if case.window is not None else None,
        window_end=shown(case.window.end, zone) if case.window is not None else None,
        stages=planned,
        times=_times(case),
        at_least_seconds=percentile(in_window, 90) if in_window else None,
        auto_abort=abort,
        staging=_with_start(case),
        preparation=preparation,
        batches=restarts.batches,
        rounds=restarts.rounds,
        notice=_notice(case),
        unknowns=_unknowns(case),
        problems=_problems(case, planned, preparation, abort),
        notes=_notes(case),
    )


def _begin(work: Work, window: Window | None, now: datetime) -> datetime | None:
    """When the window's first stage starts: at the window's opening, or as soon as the preparation can have ended.

    A window that has passed is shown as it was planned. What isn't known of the preparation doesn't make it later; it
    stands among what isn't known.
    """
    if window is None or now >= window.end:
        return window.start if window is not None else None
    prepared = work.known(BEFORE_WINDOW)
    return max(window.start, later(now, percentile(prepared, 90)))


def _with_start(case: _Case) -> Staging | None:
    staging = case.staging
    if staging is None or staging.estimate is None or case.window is None or not staging.to_load:
        return staging
    start = later(case.window.start, -percentile([staging.estimate], 90))
    return replace(staging, must_start=case.shown(start))


def _preparation(case: _Case) -> Preparation | None:
    """Everything before the window; None where nothing is needed, or its durations or the window aren't known."""
    work, window, now = case.work, case.window, case.snapshot.moment
    needed = tuple(id for id in BEFORE_WINDOW if id not in work.skipped)
    if window is None or not needed or not work.complete(BEFORE_WINDOW):
        return None
    p90 = percentile(work.known(BEFORE_WINDOW), 90)
    must_start = later(window.start, -p90)
    late = max(0.0, (now - must_start).total_seconds()) if now < window.end else 0.0
    return Preparation(needed, p90, case.shown(must_start), late)


def _stages(case: _Case, preparation: Preparation | None) -> tuple[Stage, ...]:
    work, begin, end = case.work, case.begin, case.window.end if case.window is not None else None
    before = later(begin, -preparation.p90_seconds) if preparation is not None and begin is not None else None
    times = _stage_times(work, BEFORE_WINDOW, before, case.zone) | _stage_times(work, _IN_WINDOW, begin, case.zone)
    commands = {str(name): tuple(texts) for name, texts in case.policy.procedure.items()}
    found = []
    for id in STAGES:
        words, duration, when = DESCRIPTIONS[id], work.durations[id], times.get(id)
        finished = when.p90 if when is not None else None
        found.append(
            Stage(
                id=id,
                title=words.title,
                after=words.after,
                in_window=id not in BEFORE_WINDOW,
                drops_clients=words.drops_clients,
                estimate=duration.estimate,
                source=duration.source,
                basis=duration.basis,
                turn_back=turn_back(id, work.durations, case.policy, end, finished, case.zone),
                skipped=work.skipped.get(id, ""),
                times=when,
                see=words.see,
                turn_back_when=words.turn_back_when,
                commands=commands.get(id, ()),
            )
        )
    return tuple(found)


def _stage_times(work: Work, ids: Sequence[StageId], begin: datetime | None, zone: tzinfo) -> dict[StageId, StageTimes]:
    """The times of these stages one after the other, as far as their durations are known without a gap."""
    found: dict[StageId, StageTimes] = {}
    so_far: list[Estimate] = []
    for id in ids:
        duration = work.durations[id].estimate
        if id in work.skipped:
            continue
        if duration is None or begin is None:
            break
        start = later(begin, mean(so_far))
        so_far.append(duration)
        found[id] = StageTimes(
            shown(start, zone),
            *(
                shown(later(begin, each), zone)
                for each in (mean(so_far), percentile(so_far, 50), percentile(so_far, 90))
            ),
        )
    return found


def _times(case: _Case) -> Times | None:
    window, begin = case.window, case.begin
    if window is None or begin is None or not case.work.complete(_IN_WINDOW):
        return None
    known = case.work.known(_IN_WINDOW)
    p50, p90 = percentile(known, 50), percentile(known, 90)
    return Times(
        begin=begin,
        expected=case.shown(later(begin, mean(known))),
        p50=case.shown(later(begin, p50)),
        p90=case.shown(later(begin, p90)),
        mean_seconds=mean(known),
        deviation_seconds=deviation(known),
        p50_seconds=p50,
        p90_seconds=p90,
        slack_seconds=(window.end - begin).total_seconds() - p90,
        latest_start=case.shown(later(window.end, -p90)),
        latest_start_with_return=_latest_with_return(case, window),
        prepared=case.work.complete(BEFORE_WINDOW),
    )


def _latest_with_return(case: _Case, window: Window) -> datetime | None:
    """The last begin from which even a turning back after validation ends inside the window."""
    back = estimates_of(stages.way_back("validate", case.work.durations, case.policy))
    if back is None:
        return None
    there = case.work.known([id for id in _IN_WINDOW if id != "commit"])
    return case.shown(later(window.end, -percentile([*there, *back], 90)))


def _auto_abort(case: _Case, planned: Sequence[Stage]) -> AutoAbort:
    """The controller's timer against the work between activation and validation's end.

    What is known of that work alone may be too long already; only all of it can be short enough.
    """
    stated = case.policy.auto_abort_minutes
    limit = stated * 60 if stated is not None else None
    known, complete = case.work.known(ACTIVATED), case.work.complete(ACTIVATED)
    p50, p90 = (percentile(known, 50), percentile(known, 90)) if known else (None, None)
    over = limit is not None and p90 is not None and p90 > limit
    fits = False if over else True if limit is not None and complete else None
    starts = [stage.times.start for stage in planned if stage.id == ACTIVATED[0] and stage.times is not None]
    rolls_back = case.shown(later(starts[0], limit)) if starts and limit is not None else None
    return AutoAbort(
        limit_seconds=limit,
        source="policy" if limit is not None else None,
        needed_p50_seconds=p50 if complete else None,
        needed_p90_seconds=p90 if complete or over else None,
        fits=fits,
        rolls_back_at=rolls_back,
        statement=_abort_statement(limit, p90, complete),
    )


def _abort_statement(limit: float | None, p90: float | None, complete: bool) -> str:
    if limit is None:
        return "After how long the controller rolls back by itself isn't known: the policy has no `auto_abort_minutes`."
    timer = f"The controller rolls back by itself {problems.minutes(limit)} after the activation"
    if p90 is None:
        return f"{timer}; how long the stages until validation's end take isn't known."
    least = "" if complete else "at least "
    return f"{timer}; validation ends {least}{problems.minutes(p90)} after it in 90 of 100 cases."


def _timers(snapshot: Snapshot) -> dict[str, int | None]:
    """The members whose captures show the auto-abort timer running, with the seconds left."""
    readings = {member.name: member.read("show install summary", InstallSummary) for member in snapshot.members}
    return {
        name: reading.facts.auto_abort_seconds_left
        for name, reading in readings.items()
        if reading.facts is not None and reading.facts.auto_abort == "active"
    }


def _tells_timer(snapshot: Snapshot) -> bool:
    """Whether a member's capture shows the timer, running or not."""
    readings = [member.read("show install summary", InstallSummary) for member in snapshot.members]
    return any(reading.facts is not None and reading.facts.auto_abort is not None for reading in readings)


def _notice(case: _Case) -> Notice | None:
    """Who notices; None where it isn't known which access points there are."""
    if not case.known.aps and case.known.lack:
        return None
    one_round = stages.restarts(1, all_will_hold(case.known), case.policy, case.history).estimate
    names = [ap.name for ap in case.known.aps]
    seconds = one_round.likely if one_round is not None else None
    batches = case.restarts.batches
    return notice(case.snapshot.pair, names, batches.batches if batches is not None else None, case.counted, seconds)


def _unknowns(case: _Case) -> tuple[Unknown, ...]:
    found = []
    if case.window is None:
        said = "Nothing can be set against a clock: the inventory states no window."
        found.append(Unknown(said, "Add `window` to the pair in the inventory."))
    for id in STAGES:
        duration = case.work.durations[id]
        if id not in case.work.skipped and duration.estimate is None:
            said = f"How long this takes: {DESCRIPTIONS[id].title} ({duration.basis})."
            found.append(Unknown(said, duration.needed))
    if case.policy.auto_abort_minutes is None:
        said = "Whether validation ends before the controller rolls back by itself."
        found.append(Unknown(said, "Add `auto_abort_minutes` to the policy."))
    if not _tells_timer(case.snapshot):
        said = "Whether the controller's auto-abort timer runs already."
        found.append(Unknown(said, "Take the active member's capture of `show install summary` again."))
    if case.known.lack:
        said = f"Which access points there are ({case.known.lack})."
        found.append(Unknown(said, "Take the active member's captures of `show ap summary` and `show ap image`."))
    if case.restarts.lack:
        said = f"Which access points may restart together and which leave a hole ({case.restarts.lack})."
        found.append(Unknown(said, case.restarts.needed))
    if case.counted.lack:
        said = f"How many clients notice ({case.counted.lack})."
        found.append(Unknown(said, "Take the active member's captures of the clients on each access point."))
    return tuple(found)


def _problems(
    case: _Case, planned: Sequence[Stage], preparation: Preparation | None, abort: AutoAbort
) -> tuple[Problem, ...]:
    pair, window, begin = case.snapshot.pair, case.window, case.begin
    runs_already = image_staged.judge(case.snapshot, case.policy).status is Status.NOT_APPLICABLE
    found = [
        problems.timer_running(_timers(case.snapshot)),
        problems.rolled_back(abort),
        problems.holes(case.restarts.batches),
        problems.small_flash(too_small(case.known.aps, case.policy)),
        problems.nothing_to_do(pair, runs_already),
    ]
    if window is not None and begin is not None:
        found += [
            problems.window_state(window, case.snapshot.moment, case.shown),
            _fit(case, window, begin),
            problems.late_preparation(preparation, begin),
            problems.no_return(planned),
            problems.other_offset(pair, case.shown(window.start)),
        ]
    present = [problem for problem in found if problem is not None]
    return tuple(sorted(present, key=lambda problem: problem.status is not Status.BLOCK))


def _fit(case: _Case, window: Window, begin: datetime) -> Problem | None:
    durations, complete = case.work.known(_IN_WINDOW), case.work.complete(_IN_WINDOW)
    p90, room = percentile(durations, 90), (window.end - begin).total_seconds()

    def with_rounds(number: int) -> float | None:
        other = stages.restarts(number, all_will_hold(case.known), case.policy, case.history)
        if not complete or other.estimate is None:
            return None
        changed = replace(case.work, durations={**case.work.durations, "restart-aps": other})
        return percentile(changed.known(_IN_WINDOW), 90)

    fewer = problems.fewest_rounds(case.restarts.rounds, with_rounds, room) if p90 > room else ""
    return problems.too_long(window, begin, p90, complete, case.shown(later(window.end, -p90)), fewer)


def _notes(case: _Case) -> tuple[str, ...]:
    notes = [case.restarts.note] if case.restarts.note else []
    window = case.window
    if window is not None:
        start, end = case.shown(window.start), case.shown(window.end)
        if start.utcoffset() != end.utcoffset():
            notes.append(
                f"The clocks change during the window: it begins at {problems.clock(start)} and ends at "
                f"{problems.clock(end)}, {window.minutes:,} minutes later."
            )
    if "stage-aps" not in case.work.skipped:
        notes.append(
            "Where the vendor's procedure has the controllers expand the image before access points can load it, "
            "expanding belongs before the loading, and so before the window."
        )
    notes.append(
        "Durations of stages are taken for independent of each other, and the way back for as long as the way there; "
        "the vendor's procedure and the change process rule over this paper."
    )
    return tuple(notes)
