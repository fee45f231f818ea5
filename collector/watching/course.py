"""What a watch takes from the plan: each stage's durations, and how long the rest of the work still takes."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from collector.plan.plan import STAGES, Estimate, Plan, Stage, StageId
from collector.plan.times import percentile
from collector.watching.sighting import Course, PlannedStage

# A window that is overrun is still tonight's, and so is one that somebody watches since the morning.
_OVERRUN = timedelta(hours=6)
_AHEAD = timedelta(hours=24)


def course_of(plan: Plan | None) -> Course:
    """The plan as a watch needs it; an empty course where there is no plan."""
    if plan is None:
        return Course()
    restarts = plan.stage("restart-aps").estimate
    rounds = plan.rounds
    one = restarts.scaled(1 / rounds) if restarts is not None and rounds else None
    return Course(
        stages=tuple(_planned(stage) for stage in plan.stages),
        window_end=plan.window_end,
        begin=plan.times.begin if plan.times is not None else None,
        rounds=rounds,
        round_p90_seconds=percentile([one], 90) if one is not None and one.pessimistic > 0 else None,
        abort_seconds=plan.auto_abort.limit_seconds,
    )


def another_night(course: Course, began: datetime | None) -> str:
    """The sentence that the plan's window isn't the night of a watch that began then; empty where it is, or unknown."""
    if began is None:
        return ""
    if course.window_end is not None and began - course.window_end > _OVERRUN:
        when = f"ended on {course.window_end:%Y-%m-%d} at {course.window_end:%H:%M}"
    elif course.begin is not None and course.begin - began > _AHEAD:
        when = f"begins on {course.begin:%Y-%m-%d} at {course.begin:%H:%M}"
    else:
        return ""
    return f"The inventory's window {when}, not tonight: its moments to turn back don't count."


def _planned(stage: Stage) -> PlannedStage:
    known = stage.estimate is not None and not stage.skipped
    three = (stage.estimate.optimistic, stage.estimate.likely, stage.estimate.pessimistic) if stage.estimate else None
    return PlannedStage(
        id=stage.id,
        title=stage.title,
        p50_seconds=percentile([stage.estimate], 50) if known and stage.estimate else None,
        p90_seconds=percentile([stage.estimate], 90) if known and stage.estimate else None,
        start=stage.times.start if stage.times is not None else None,
        last_moment=stage.turn_back.last_moment,
        back=stage.turn_back.statement,
        skipped=bool(stage.skipped),
        drops_clients=stage.drops_clients,
        estimate=three,
    )


def remaining_p90(course: Course, stage: str, elapsed: float, until: StageId = "validate") -> float | None:
    """How many seconds it still takes in 90 of 100 cases until a stage has ended, that one included.

    `elapsed` is how long the present stage has gone on: what its own 90th percentile leaves counts, never less than 0.
    None where a duration isn't known, or the stage is none of those before.
    """
    if stage not in STAGES or STAGES.index(stage) > STAGES.index(until):
        return None
    now = course.stage(stage)
    if now is None or (now.p90_seconds is None and not now.skipped):
        return None
    following = _estimates(course, STAGES[STAGES.index(stage) + 1 : STAGES.index(until) + 1])
    if following is None:
        return None
    return max((now.p90_seconds or 0) - elapsed, 0.0) + percentile(following, 90)


def _estimates(course: Course, ids: Iterable[StageId]) -> list[Estimate] | None:
    found = []
    for id in ids:
        stage = course.stage(id)
        if stage is None or (stage.estimate is None and not stage.skipped):
            return None
        if stage.estimate is not None and not stage.skipped:
            found.append(Estimate(*stage.estimate))
    return found
