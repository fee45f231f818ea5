"""The plan of one pair's window: what `make` hands to the renderers, which decide nothing.

Every moment knows a fixed offset from UTC, the one in force at that moment where it is shown: so moments may be
subtracted and compared as they are, even across a change of daylight saving. Durations are seconds.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from math import isfinite
from typing import Literal, get_args

from collector.finding import Status
from collector.plan.batches import BatchPlan
from inventory.pairs import Pair

StageId = Literal[
    "copy",
    "expand",
    "stage-aps",
    "reload-standby",
    "synchronise",
    "switch-over",
    "reload-other",
    "restart-aps",
    "validate",
    "commit",
]
STAGES: tuple[StageId, ...] = get_args(StageId)
"""All stages, in the order of the work."""

Source = Literal["policy", "history", "captures"]
"""Where three durations came from: the policy's table, this fleet's own recorded stages, or the pair's captures and
sizes with the policy's rates."""


@dataclass(frozen=True)
class Estimate:
    """Three durations in seconds, optimistic <= likely <= pessimistic; ValueError where they aren't."""

    optimistic: float
    likely: float
    pessimistic: float

    def __post_init__(self) -> None:
        values = (self.optimistic, self.likely, self.pessimistic)
        if not all(isfinite(value) for value in values) or not 0 <= values[0] <= values[1] <= values[2]:
            raise ValueError(f"{values} are no durations in the order optimistic, likely, pessimistic")

    @property
    def mean(self) -> float:
        """(a + 4m + b) / 6 (Operations Research 7(5), 1959)."""
        return (self.optimistic + 4 * self.likely + self.pessimistic) / 6

    @property
    def deviation(self) -> float:
        """(b - a) / 6, by the same paper."""
        return (self.pessimistic - self.optimistic) / 6

    def scaled(self, factor: float) -> Estimate:
        """The same work `factor` times over, all of it as fast or as slow as the first."""
        return Estimate(self.optimistic * factor, self.likely * factor, self.pessimistic * factor)


@dataclass(frozen=True)
class StageTimes:
    """When a stage is expected to start and to finish (means), and when it has finished in 50 and 90 of 100 cases."""

    start: datetime
    finish: datetime
    p50: datetime
    p90: datetime


@dataclass(frozen=True)
class BackStep:
    """One step of a way back; `estimate` is None where nobody stated how long it takes."""

    title: str
    estimate: Estimate | None
    source: Source | None


@dataclass(frozen=True)
class TurnBack:
    """The way back once a stage has begun, and the last moment at which taking it still ends inside the window.

    `possible` is False where there is none (after the commit). No steps: nothing takes the window's time.
    `p50_seconds`, `p90_seconds` and `last_moment` (the window's end less `p90_seconds`) are None where a step has no
    estimate or the pair has no window. `in_time` says whether the stage, at its 90th percentile, has finished by the
    last moment; None where that isn't known.
    """

    possible: bool
    statement: str
    steps: tuple[BackStep, ...] = ()
    p50_seconds: float | None = None
    p90_seconds: float | None = None
    last_moment: datetime | None = None
    in_time: bool | None = None


@dataclass(frozen=True)
class Stage:
    """One stage of the upgrade.

    `after` are the stages that must have ended before. `in_window` is False for the preparation, which is done before
    the window opens. `basis` says in a clause how its durations came about, or what is missing. `skipped` says why it
    isn't needed; empty where it is. `see` is what must be seen before going on, `turn_back_when` what means turn back,
    `commands` the policy's texts for the person who does it (data, never run).
    """

    id: StageId
    title: str
    after: tuple[StageId, ...]
    in_window: bool
    drops_clients: bool
    estimate: Estimate | None
    source: Source | None
    basis: str
    turn_back: TurnBack
    skipped: str = ""
    times: StageTimes | None = None
    see: tuple[str, ...] = ()
    turn_back_when: tuple[str, ...] = ()
    commands: tuple[str, ...] = ()


@dataclass(frozen=True)
class Times:
    """The window's arithmetic, from its first stage's start (`begin`) to its last stage's end.

    `slack_seconds` is the window's end less `p90`: negative where it doesn't fit. `latest_start` is the last begin at
    which the 90th percentile ends inside the window; `latest_start_with_return` the last one at which even a turning
    back after validation does (None where that way isn't known). `prepared` says whether all durations of the
    preparation are known, and so that it ends before `begin`.
    """

    begin: datetime
    expected: datetime
    p50: datetime
    p90: datetime
    mean_seconds: float
    deviation_seconds: float
    p50_seconds: float
    p90_seconds: float
    slack_seconds: float
    latest_start: datetime
    latest_start_with_return: datetime | None
    prepared: bool

    @property
    def fits(self) -> bool | None:
        """Whether it ends inside the window in 90 of 100 cases; None where it would, if it can begin as planned."""
        if self.slack_seconds < 0:
            return False
        return True if self.prepared else None


@dataclass(frozen=True)
class AutoAbort:
    """The controller's own timer, which starts at activation and rolls the pair back unless somebody commits first.

    `needed_p90_seconds` is the 90th percentile from the activation until validation has ended. `fits` is None where
    one of the two isn't known. `rolls_back_at` is when the timer would run out.
    """

    limit_seconds: float | None
    source: Source | None
    needed_p50_seconds: float | None
    needed_p90_seconds: float | None
    fits: bool | None
    rolls_back_at: datetime | None
    statement: str


@dataclass(frozen=True)
class SiteStaging:
    """What the access points of one area behind one uplink still have to load.

    `rate_mbps` (10^6 bit/s) is the likely rate of the whole area; `seconds` is for that area alone. None: not known.
    """

    site: str
    aps: int
    held: int
    to_load: int
    bytes: int | None
    uplink_mbps: float | None
    rate_mbps: float | None
    seconds: float | None


@dataclass(frozen=True)
class Staging:
    """The loading of the image onto the access points in advance.

    `open` are access points of which the captures don't tell whether they hold it: they are counted as not holding it.
    `failing` are those that tried and failed or are unsupported. `transfers` is how many load at a time. `must_start`
    is the last start at which the loading ends before the window in 90 of 100 cases.
    """

    sites: tuple[SiteStaging, ...]
    aps: int
    held: int
    to_load: int
    open: int
    failing: tuple[str, ...]
    bytes: int | None
    transfers: int | None
    estimate: Estimate | None
    must_start: datetime | None
    statement: str


@dataclass(frozen=True)
class Preparation:
    """Everything before the window: copying, expanding, staging; `must_start` is its latest start.

    `late_seconds` is by how much the plan's own moment is past it; 0 where it isn't.
    """

    stages: tuple[StageId, ...]
    p90_seconds: float
    must_start: datetime
    late_seconds: float


@dataclass(frozen=True)
class BatchNotice:
    """Who notices one batch's restart; `clients` as counted in the captures; None where that isn't known.

    `ap_minutes` are minutes without service added up over its access points, at the likely duration.
    """

    number: int
    aps: tuple[str, ...]
    sites: tuple[str, ...]
    clients: int | None
    ap_minutes: float | None


@dataclass(frozen=True)
class Notice:
    """Who notices. Clients are counted when the captures were taken (`counted_at`), not at the hour of the window."""

    batches: tuple[BatchNotice, ...]
    sites: tuple[str, ...]
    aps: int
    clients: int | None
    ap_minutes: float | None
    counted_at: datetime | None
    statement: str


@dataclass(frozen=True)
class Unknown:
    """Something that couldn't be computed, and what would be needed for it; both sentences."""

    what: str
    needed: str


@dataclass(frozen=True)
class Problem:
    """What stands against the plan: `block` or `caution`, a sentence with its figures, and what would mend it."""

    id: str
    status: Status
    statement: str
    remedy: str


@dataclass(frozen=True)
class Plan:
    """The whole plan of one pair.

    `times` is None where a stage of the window has no durations; `at_least_seconds` is then the 90th percentile of
    those that have. `zone` names the time zone in which moments are shown, or is the window's own offset. `batches` is
    None where they can't be computed; `rounds` is into how many rounds of access point restarts the plan is computed.
    `notes` are sentences on how figures are meant.
    """

    pair: Pair
    made: datetime
    zone: str
    window_start: datetime | None
    window_end: datetime | None
    stages: tuple[Stage, ...]
    times: Times | None
    at_least_seconds: float | None
    auto_abort: AutoAbort
    staging: Staging | None
    preparation: Preparation | None
    batches: BatchPlan | None
    rounds: int | None
    notice: Notice | None
    unknowns: tuple[Unknown, ...] = ()
    problems: tuple[Problem, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def blocked(self) -> bool:
        """Whether a problem blocks it."""
        return any(problem.status is Status.BLOCK for problem in self.problems)

    def stage(self, id: StageId) -> Stage:
        """The stage with this id."""
        return next(stage for stage in self.stages if stage.id == id)
