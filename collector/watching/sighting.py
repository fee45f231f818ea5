"""What a watched window consists of: a sighting a poll, what happened between them, and the state that they add up to.

All moments are the watcher's own and know their offset; durations are seconds. What isn't known is None, never 0.
Everything here goes to JSON and back without loss (`plain`, and the `restored_…` functions), in one order, so that
equal values give equal data.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any, Literal, TypeVar, cast, get_args

from pydantic import TypeAdapter

from collector.finding import Evidence
from collector.plan.plan import STAGES, StageId

SeenStage = Literal[
    "before",
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
    "done",
    "rolled-back",
    "unclear",
]
"""A stage of the plan, or what comes before and after it; `rolled-back` from the moment the way back has begun.

`copy` and `stage-aps` leave nothing in what a watch asks: no sighting has them.
"""

SEEN_STAGES: tuple[SeenStage, ...] = get_args(SeenStage)

MarkKind = Literal[
    "standby-cold",
    "config-mismatch",
    "rolling-back",
    "active-lost",
    "crashed",
    "wrong-release",
    "both-active",
]
"""What a poll shows of a failure. `standby-cold` alone is none: every standby is cold for a while."""

Role = Literal["active", "standby"]

Source = Literal["itself", "partner"]


@dataclass(frozen=True)
class MemberSighting:
    """One member as one poll saw it; `why_not` says as a clause why it didn't answer, empty where it did.

    `role`, `state` (the redundancy state as printed) and `release` are its own words, else its partner's: `by` says
    whose. `target` are the states (I, U, C, D) that the target's image has on it, each once, sorted; None where nobody
    tells. `other` says whether another image is committed or activated on it.
    """

    name: str
    answered: bool
    why_not: str = ""
    role: Role | None = None
    state: str | None = None
    release: str | None = None
    by: Source | None = None
    uptime_seconds: int | None = None
    reload_reason: str | None = None
    target: tuple[str, ...] | None = None
    other: bool | None = None
    on_target: bool | None = None


@dataclass(frozen=True)
class Mark:
    """A sign of a failure: `about` names the member, or is empty where the pair is meant; one clause, and its lines."""

    kind: MarkKind
    about: str
    statement: str
    evidence: tuple[Evidence, ...] = ()


@dataclass(frozen=True)
class Recall:
    """What a sighting needs to remember of those before it, since no poll shows it again.

    `stage` is the last one that was clear, `active` who was active then, `standby_hot` whether its standby was hot.
    `activated`: the target was seen running or activated during this watch. `most_aps` is the highest count of access
    points, the baseline's included, `dipped` whether there were ever fewer while both members ran the target.
    `switchovers` is the count that the controllers showed last, `since` when the watch began.
    """

    stage: SeenStage = "unclear"
    active: str | None = None
    standby_hot: bool | None = None
    activated: bool = False
    most_aps: int | None = None
    dipped: bool = False
    switchovers: int | None = None
    since: datetime | None = None


@dataclass(frozen=True)
class Sighting:
    """What one poll of both members proves; `number` counts the polls of a watch from 1.

    `statement` is one sentence for a person. `aps` counts the access points that are joined, `ap_names` are their
    names, sorted (None where the table wasn't whole). `clients` is the controller's own count. `timer` is the
    auto-abort timer, None where nobody tells of it; `timer_seconds` what is left of it. `operating`: an upgrade is in
    progress by its own word. `mismatches` counts configuration lines that didn't synchronise. `against` says what
    proves that it isn't done, `open` what isn't known and would have to be for `done`; each a clause.
    """

    number: int
    moment: datetime
    stage: SeenStage
    statement: str
    members: tuple[MemberSighting, MemberSighting]
    evidence: tuple[Evidence, ...] = ()
    aps: int | None = None
    ap_names: tuple[str, ...] | None = None
    clients: int | None = None
    timer: Literal["active", "inactive"] | None = None
    timer_seconds: int | None = None
    operating: bool | None = None
    mismatches: int | None = None
    marks: tuple[Mark, ...] = ()
    against: tuple[str, ...] = ()
    open: tuple[str, ...] = ()
    recall: Recall = Recall()

    @property
    def answered(self) -> bool:
        """Whether any member answered."""
        return any(member.answered for member in self.members)

    def member(self, name: str) -> MemberSighting:
        """The member with this name; KeyError where there is none."""
        found = {member.name: member for member in self.members}
        return found[name]


HappeningKind = Literal[
    "began",
    "stage-began",
    "stage-ended",
    "warning",
    "cleared",
    "switchover",
    "member-lost",
    "member-back",
    "turn-back",
    "watcher-blind",
    "watcher-sees",
    "done",
    "not-done",
    "failed",
    "rolled-back",
]
"""`began`: the watch itself. `failed`: one of the failures that end a window; `not-done` takes a `done` back."""

Severity = Literal["note", "warning", "failure"]

WarningId = Literal[
    "overdue",
    "standby-never-hot",
    "config-mismatch",
    "aps-stalled",
    "aps-missing",
    "clients-missing",
    "timer-too-short",
    "turn-back-near",
    "turn-back-passed",
    "auto-abort",
    "undone",
    "active-crashed",
    "wrong-release",
    "both-active",
    "member-away",
]


@dataclass(frozen=True)
class Happening:
    """One thing that a poll brought: a line of the log.

    `statement` is one or two sentences, `remedy` what a person should do, empty where nothing needs doing. `id` is the
    warning's where it is one, is cleared or is a failure; `subject` the member or stage that it is about.
    """

    moment: datetime
    kind: HappeningKind
    stage: SeenStage
    statement: str
    remedy: str = ""
    severity: Severity = "note"
    id: WarningId | None = None
    subject: str = ""
    poll: int = 0


@dataclass(frozen=True)
class Baseline:
    """What the window began from: the access points' names, sorted, and how many clients there were; None: unknown."""

    moment: datetime | None = None
    aps: tuple[str, ...] | None = None
    clients: int | None = None


@dataclass(frozen=True)
class PlannedStage:
    """A stage as the plan has it: how long it takes in 50 and in 90 of 100 cases, and until when there is a way back.

    `skipped`: the plan doesn't need it. `back` says in words what the way back is. `start` is when the plan has it
    start.
    """

    id: StageId
    title: str
    p50_seconds: float | None = None
    p90_seconds: float | None = None
    start: datetime | None = None
    last_moment: datetime | None = None
    back: str = ""
    skipped: bool = False
    drops_clients: bool = False
    estimate: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class Course:
    """What a plan says that a watch needs; `rounds` is into how many rounds of AP restarts it was computed.

    `round_p90_seconds` is one round's 90th percentile, `abort_seconds` the limit of the auto-abort timer.
    """

    stages: tuple[PlannedStage, ...] = ()
    window_end: datetime | None = None
    begin: datetime | None = None
    rounds: int | None = None
    round_p90_seconds: float | None = None
    abort_seconds: float | None = None

    def stage(self, id: str) -> PlannedStage | None:
        """The stage with this id; None where the plan has none."""
        return next((stage for stage in self.stages if stage.id == id), None)


@dataclass(frozen=True)
class StageRun:
    """One run of a stage. It began after the poll `after` and not after the poll `seen`, and ended likewise.

    `after` is None where the watch began in the middle of the stage: nobody knows since when. `last` is the last poll
    that saw it, and `ended` the first that saw another one; None while it goes on. `aborted`: it ended otherwise than
    by a later stage of the work, `failed`: a failure was told while it went on. `skips`: stages between it and the run
    before that no poll saw. `rounds`: into how many rounds of restarts it fell, where polls and plan agree, else None.
    """

    stage: SeenStage
    after: datetime | None
    seen: datetime
    last: datetime
    ended: datetime | None = None
    aborted: bool = False
    failed: bool = False
    p50_seconds: float | None = None
    p90_seconds: float | None = None
    rounds: int | None = None
    skips: tuple[SeenStage, ...] = ()

    @property
    def shortest(self) -> float | None:
        """The least that it can have taken, in seconds; None while it goes on."""
        return None if self.ended is None else (self.last - self.seen).total_seconds()

    @property
    def longest(self) -> float | None:
        """The most that it can have taken, in seconds; None while it goes on, or where its begin wasn't seen."""
        return None if self.ended is None or self.after is None else (self.ended - self.after).total_seconds()


@dataclass(frozen=True)
class Warned:
    """A warning that is up: raised once, until it is over."""

    id: WarningId
    subject: str
    since: datetime
    statement: str
    severity: Severity = "warning"
    polls_good: int = 0

    @property
    def key(self) -> tuple[WarningId, str]:
        """By what it is known again."""
        return self.id, self.subject


@dataclass(frozen=True)
class Return:
    """How the access points come back: how many were joined at the last look, and since when nothing has moved.

    `expected` is how many there should be, by the baseline or the most that this watch has seen. `still_polls` counts
    the polls since the last change. `gone` are the names of those that are away, each since the poll that missed it
    first; None where names were never known. `known` are all names that were ever known. Since `full_seen`, and not
    before `full_after`, all are back for so many polls; `dips` counts how often they left.
    """

    expected: int | None = None
    joined: int | None = None
    moved: datetime | None = None
    still_polls: int = 0
    known: tuple[str, ...] | None = None
    gone: tuple[tuple[str, datetime], ...] | None = None
    full_after: datetime | None = None
    full_seen: datetime | None = None
    full_polls: int = 0
    dips: int = 0

    @property
    def missing(self) -> tuple[str, ...] | None:
        """The names of those that are away; None where that isn't known."""
        return None if self.gone is None else tuple(name for name, _ in self.gone)


@dataclass(frozen=True)
class Away:
    """A member that doesn't answer: since which poll, for how many, and whether that was told."""

    name: str
    since: datetime
    polls: int = 1
    told: bool = False


@dataclass(frozen=True)
class WatchState:
    """All that a watch knows: the sightings folded together.

    `latest` is the newest sighting, `before` the one before it, `clear` the newest one that told a stage. `said` holds
    what is only said once. Of the baseline's clients the policy wants `clients_percent` back after the window.
    `timer_fires` is when the auto-abort timer runs out by the last poll that told.
    """

    pair: str
    target: str
    members: tuple[str, str]
    course: Course = Course()
    baseline: Baseline = Baseline()
    clients_percent: float = 70.0
    runs: tuple[StageRun, ...] = ()
    latest: Sighting | None = None
    before: Sighting | None = None
    clear: Sighting | None = None
    warned: tuple[Warned, ...] = ()
    said: tuple[str, ...] = ()
    aps: Return = Return()
    away: tuple[Away, ...] = ()
    blind_since: datetime | None = None
    blind_polls: int = 0
    timer_fires: datetime | None = None
    activated: datetime | None = None
    done: datetime | None = None
    failures: tuple[WarningId, ...] = ()

    @property
    def polls(self) -> int:
        """How many polls there were."""
        return self.latest.number if self.latest is not None else 0

    @property
    def up(self) -> tuple[Warned, ...]:
        """The warnings that are up and that the latest poll didn't find over."""
        return tuple(warned for warned in self.warned if not warned.polls_good)

    @property
    def run(self) -> StageRun | None:
        """The stage that goes on; None before the first poll that told one."""
        return self.runs[-1] if self.runs else None


T = TypeVar("T")


def plain(value: Sighting | Happening | WatchState | Baseline | Course) -> dict[str, Any]:
    """The value as JSON-ready data, always in the same order."""
    return cast(dict[str, Any], _adapter(cast(Hashable, type(value))).dump_python(value, mode="json"))


def restored_sighting(data: Mapping[str, Any]) -> Sighting:
    """The sighting that `plain` gave; ValueError where the data are none."""
    return _restored(Sighting, data)


def restored_happening(data: Mapping[str, Any]) -> Happening:
    """The happening that `plain` gave; ValueError where the data are none."""
    return _restored(Happening, data)


def restored_state(data: Mapping[str, Any]) -> WatchState:
    """The state that `plain` gave; ValueError where the data are none."""
    return _restored(WatchState, data)


def _restored(kind: type[T], data: Mapping[str, Any]) -> T:
    return cast(T, _adapter(cast(Hashable, kind)).validate_python(dict(data)))


@cache
def _adapter(kind: Hashable) -> TypeAdapter[Any]:
    return TypeAdapter(cast(Any, kind))


def place_of(stage: SeenStage) -> int | None:
    """Where a stage stands in the order of the work, `before` first and `done` last; None for the two outside it."""
    order: tuple[SeenStage, ...] = ("before", *STAGES, "done")
    return order.index(stage) if stage in order else None
