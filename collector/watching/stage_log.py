"""The log of a watched window: a line for each thing that happened, and the stages against the plan.

What the polls know of a stage are bounds: it began between two polls and ended between two. For the plans of other
windows `durations` hands on the middle of them, where they are close enough and nothing went wrong.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from collector.plan.plan import STAGES
from collector.watching.course import another_night
from collector.watching.sighting import Happening, SeenStage, StageRun, WatchState
from collector.watching.wording import clock, spoken

Against = Literal["in time", "near the limit", "over", "goes on", "broken off", "no plan", "not known"]
"""A run against the plan's 90th percentile; `near the limit`: the bounds lie on either side of it."""

_MARKS = {"note": " ", "warning": "!", "failure": "x"}


@dataclass(frozen=True)
class StageRow:
    """One run of a stage against the plan; durations in seconds, None where they aren't known.

    It began in `began` and ended in `ended`, each the polls before and after; None where no poll saw that.
    """

    stage: SeenStage
    began: tuple[datetime | None, datetime]
    ended: tuple[datetime, datetime] | None
    shortest: float | None
    longest: float | None
    p50_seconds: float | None
    p90_seconds: float | None
    against: Against
    failed: bool


def rows(state: WatchState) -> tuple[StageRow, ...]:
    """The runs of the stages of the work, in their order, and the way back where it was gone."""
    shown = [run for run in state.runs if run.stage in (*STAGES, "rolled-back")]
    return tuple(
        StageRow(
            stage=run.stage,
            began=(run.after, run.seen),
            ended=None if run.ended is None else (run.last, run.ended),
            shortest=run.shortest,
            longest=run.longest,
            p50_seconds=run.p50_seconds,
            p90_seconds=run.p90_seconds,
            against=_against(run),
            failed=run.failed,
        )
        for run in shown
    )


def _against(run: StageRun) -> Against:
    if run.ended is None:
        return "goes on"
    if run.aborted:
        return "broken off"
    if run.p90_seconds is None:
        return "no plan"
    if run.shortest is not None and run.shortest > run.p90_seconds:
        return "over"
    if run.longest is None:
        return "not known"
    return "in time" if run.longest <= run.p90_seconds else "near the limit"


def table(found: Sequence[StageRow]) -> list[str]:
    """The rows as lines of at most 80 columns, under a heading; none where there are no rows."""
    if not found:
        return []
    cells = [("stage", "began", "ended", "took", "p50/p90", ""), *(_cells(row) for row in found)]
    widths = [max(len(line[column]) for line in cells) for column in range(6)]
    return ["  ".join(text.ljust(width) for text, width in zip(line, widths, strict=True)).rstrip() for line in cells]


def _cells(row: StageRow) -> tuple[str, str, str, str, str, str]:
    began = f"by {clock(row.began[1])}" if row.began[0] is None else _between(row.began[0], row.began[1])
    ended = "" if row.ended is None else _between(*row.ended)
    plan = ""
    if row.p50_seconds is not None and row.p90_seconds is not None:
        plan = f"{_minutes(row.p50_seconds)}/{_minutes(row.p90_seconds)}"
    return row.stage, began, ended, _took(row), plan, "failed" if row.failed else row.against


def _between(first: datetime, second: datetime) -> str:
    return clock(first) if clock(first) == clock(second) else f"{clock(first)}-{clock(second)}"


def _took(row: StageRow) -> str:
    if row.shortest is None:
        return ""
    if row.longest is None:
        return f"{_minutes(row.shortest)}+ min"
    least, most = _minutes(row.shortest), _minutes(row.longest)
    return f"{most} min" if least == most else f"{least}-{most} min"


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.0f}"


def line(happening: Happening) -> str:
    """A happening as one line of a log: when, how bad, the stage, what, and what to do."""
    when = f"{happening.moment:%Y-%m-%d %H:%M:%S}"
    what = f"{happening.statement} {happening.remedy}".rstrip()
    return f"{when} {_MARKS[happening.severity]} {happening.stage:<14} {what}"


def status(state: WatchState) -> Iterator[str]:
    """How it stands now, in clauses: the stage and since when, access points, clients, the timer, the way back."""
    run, latest = state.run, state.latest
    if run is None or latest is None:
        return
    since = "" if run.after is not None else " or before"
    yield f"{run.stage} since {clock(run.seen)}{since}, {spoken((latest.moment - run.seen).total_seconds())}"
    back = state.aps
    if back.joined is not None:
        of = f" of {back.expected:,}" if back.expected is not None else ""
        yield f"{back.joined:,}{of} access points"
    if latest.clients is not None:
        before = f" of {state.baseline.clients:,}" if state.baseline.clients is not None else ""
        yield f"{latest.clients:,}{before} clients"
    if state.timer_fires is not None and state.done is None and run.stage != "rolled-back":
        left = (state.timer_fires - latest.moment).total_seconds()
        yield f"auto-abort at {clock(state.timer_fires)}, in {spoken(max(left, 0.0))}"
    planned = state.course.stage(run.stage)
    if another_night(state.course, latest.recall.since):
        yield "the inventory's window is another night's"
    elif planned is not None and planned.last_moment is not None:
        left = (planned.last_moment - latest.moment).total_seconds()
        passed = f"in {spoken(left)}" if left > 0 else "passed"
        yield f"last moment to turn back {clock(planned.last_moment)}, {passed}"


def durations(state: WatchState) -> Mapping[str, float]:
    """How long stages took, in seconds, as plans keep them (`collector.plan.stages.History`).

    Left out: stages that the watch didn't see from begin to end or whose bounds are wider than their middle, those that
    were broken off or failed, and restarts of which it isn't known in how many rounds they were.
    """
    found: dict[str, float] = {}
    for run, then in zip(state.runs, state.runs[1:], strict=False):
        if run.stage not in STAGES or run.aborted or run.failed or run.skips or then.skips:
            continue
        if run.shortest is None or run.longest is None:
            continue
        middle = (run.shortest + run.longest) / 2
        if run.longest - run.shortest > middle:
            continue
        if run.stage == "restart-aps":
            if not run.rounds:
                continue
            middle /= run.rounds
        found[run.stage] = middle
    return found
