"""Plans as the maker of plans might hand them over, for the tests of the renderers; every figure is given by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta, timezone
from typing import Any

from collector.finding import Status, Verdict
from collector.plan.batches import BatchPlan, Hole, Rolling, Why
from collector.plan.plan import (
    AutoAbort,
    BackStep,
    BatchNotice,
    Estimate,
    Notice,
    Plan,
    Preparation,
    Problem,
    SiteStaging,
    Stage,
    StageId,
    StageTimes,
    Staging,
    Times,
    TurnBack,
    Unknown,
)
from collector.plan.stages import DESCRIPTIONS
from collector.planned import PairPlan
from tests.collector.report.sample import CET, HOSTILE, STEERING, pair

OPENS = datetime(2027, 2, 6, 23, 0, tzinfo=CET)
CLOSES = OPENS + timedelta(hours=4)
CEST = timezone(timedelta(hours=2))

# Minutes after the window opens: start, expected finish, P50, P90, last moment to turn back.
_IN_WINDOW: dict[StageId, tuple[int, int, int, int, int]] = {
    "reload-standby": (0, 21, 20, 26, 211),
    "synchronise": (21, 31, 30, 37, 211),
    "switch-over": (31, 33, 32, 39, 208),
    "reload-other": (33, 63, 62, 72, 170),
    "restart-aps": (63, 99, 98, 112, 134),
    "validate": (99, 131, 130, 148, 134),
}
_COMMIT = (131, 134, 133, 151)
_MINUTE = Estimate(30.0, 60.0, 120.0)


def after(minutes: float) -> datetime:
    """So many minutes after the window opens."""
    return OPENS + timedelta(minutes=minutes)


def stage(id: StageId, **changes: Any) -> Stage:
    """A stage of the sample, with these changes."""
    words = DESCRIPTIONS[id]
    times, back = None, TurnBack(True, "Nothing has to be undone: no member runs the new release yet.")
    if id in _IN_WINDOW:
        start, finish, p50, p90, last = map(after, _IN_WINDOW[id])
        times = StageTimes(start, finish, p50, p90)
        back = TurnBack(
            True,
            "Back on the old release within 29 minutes in 90 of 100 cases.",
            (BackStep("Reload the standby on the old release", _MINUTE, "policy"),),
            1500.0,
            1740.0,
            last,
            p90 <= last,
        )
    if id == "commit":
        start, finish, p50, p90 = map(after, _COMMIT)
        times = StageTimes(start, finish, p50, p90)
        back = TurnBack(False, "Nothing leads back from here except another upgrade to the old release.")
    found = Stage(
        id,
        words.title,
        words.after,
        times is not None,
        words.drops_clients,
        _MINUTE,
        "policy",
        f"the policy's `timings.{id}`",
        back,
        times=times,
        see=words.see,
        turn_back_when=words.turn_back_when,
    )
    return replace(found, **changes)


_TIMES = Times(
    begin=OPENS,
    expected=after(134),
    p50=after(133),
    p90=after(151),
    mean_seconds=134 * 60,
    deviation_seconds=780.0,
    p50_seconds=133 * 60,
    p90_seconds=151 * 60,
    slack_seconds=89 * 60,
    latest_start=after(89),
    latest_start_with_return=after(46),
    prepared=True,
)

_BATCHES = (
    BatchNotice(1, ("gate-1", "hall-2"), ("Harbour Quay", "hall"), None, 10.0),
    BatchNotice(2, ("gate-2", "hall-1", "hall-3"), ("Harbour Quay", "hall"), 12, 15.0),
)

_RESTARTS = BatchPlan(
    batches=(("gate-1", "hall-2"), ("gate-2", "hall-1", "hall-3")),
    bound=2,
    share_bound=2,
    hear_each_other=("hall-1", "hall-2"),
    holes=(
        Hole("gate-1", "Harbour Quay", True, Why.HEARS_NONE, 1),
        Hole("hall-3", "hall", False, Why.NO_REPORT, 2),
    ),
    unreported=("hall-3",),
    rolling=(Rolling(5, 5, 5, ()), Rolling(25, 4, 5, ("hall",))),
)

QUAY = Plan(
    pair=replace(pair("quay", "Harbour Quay", Verdict.GO).pair, time_zone="Europe/Oslo"),
    made=datetime(2027, 2, 5, 22, 0, tzinfo=CET),
    zone="Europe/Oslo",
    window_start=OPENS,
    window_end=CLOSES,
    stages=(
        stage("copy", skipped="The image is on both members' flash."),
        stage("expand"),
        stage("stage-aps"),
        stage("reload-standby", commands=("activate the new release now",)),
        stage("synchronise"),
        stage("switch-over"),
        stage("reload-other"),
        stage("restart-aps"),
        stage("validate"),
        stage("commit"),
    ),
    times=_TIMES,
    at_least_seconds=None,
    auto_abort=AutoAbort(
        360 * 60, "policy", 7800.0, 8880.0, True, after(360), "The controller rolls back by itself after 360 minutes."
    ),
    staging=Staging(
        (SiteStaging("Harbour Quay", 5, 1, 4, 400_000_000, 50.0, 40.0, 80.0),),
        5,
        1,
        4,
        0,
        (),
        400_000_000,
        10,
        _MINUTE,
        after(-90),
        "4 of 5 access points still have to load the image.",
    ),
    preparation=Preparation(("expand", "stage-aps"), 5400.0, after(-90), 0.0),
    batches=_RESTARTS,
    rounds=2,
    notice=Notice(
        _BATCHES,
        ("hall", "Harbour Quay"),
        5,
        None,
        25.0,
        None,
        "Clients are counted as of the captures.",
    ),
)

TOO_LONG = replace(
    QUAY,
    window_end=after(120),
    times=replace(_TIMES, slack_seconds=-31 * 60.0, latest_start=after(-31), latest_start_with_return=None),
    problems=(
        Problem("too-long", Status.BLOCK, "It ends 31 minutes too late.", "A window of 151 minutes."),
        Problem("no-return", Status.CAUTION, "Whoever turns back late leaves the window.", "Begin earlier."),
    ),
)

NARROW = replace(
    QUAY,
    stages=tuple(
        replace(each, estimate=None, source=None, times=None, basis="the policy has no `timings.validate`")
        if each.id in ("validate", "commit")
        else each
        for each in QUAY.stages
    ),
    times=None,
    at_least_seconds=112 * 60.0,
    batches=None,
    rounds=None,
    notice=None,
    unknowns=(Unknown("When validation ends.", "`timings.validate` in the policy."),),
)

NO_WINDOW = replace(
    NARROW,
    window_start=None,
    window_end=None,
    preparation=None,
    stages=tuple(
        replace(each, times=None, turn_back=replace(each.turn_back, last_moment=None, in_time=None))
        for each in NARROW.stages
    ),
    unknowns=(*NARROW.unknowns, Unknown("Whether it fits.", "A `window` in the inventory.")),
)

HOSTILE_PLAN = replace(
    TOO_LONG,
    pair=replace(TOO_LONG.pair, name=f"quay{HOSTILE}", site=STEERING),
    problems=(
        Problem("too-long", Status.BLOCK, HOSTILE, STEERING),
        Problem("no-return", Status.CAUTION, STEERING, HOSTILE),
    ),
    unknowns=(Unknown(HOSTILE, STEERING),),
    notes=(HOSTILE, STEERING),
    stages=tuple(replace(each, basis=HOSTILE, commands=(HOSTILE, STEERING)) for each in TOO_LONG.stages),
    auto_abort=replace(TOO_LONG.auto_abort, statement=STEERING),
    staging=replace(TOO_LONG.staging, statement=STEERING) if TOO_LONG.staging else None,
    batches=BatchPlan(
        ((HOSTILE, STEERING),),
        1,
        1,
        (HOSTILE,),
        (Hole(STEERING, HOSTILE, True, Why.HEARS_NONE, 1),),
        (),
        (Rolling(5, 1, 1, (HOSTILE, STEERING)),),
    ),
    notice=replace(
        QUAY.notice,
        batches=(BatchNotice(1, (HOSTILE, STEERING), (HOSTILE,), 3, 5.0),),
        statement=STEERING,
        sites=(HOSTILE,),
    )
    if QUAY.notice
    else None,
)


def planned(plan: Plan, verdict: Verdict = Verdict.GO) -> PairPlan:
    """The plan beside a readiness with this verdict."""
    return PairPlan(plan, pair(plan.pair.name, plan.pair.site, verdict))
