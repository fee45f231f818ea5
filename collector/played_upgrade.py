"""The play of one in-service upgrade: the state of a pair so many seconds after the play began.

Nobody's command drives it: the clock does. It is a list of cues, each a moment and what changes then, and a scene is
what the cues up to a moment come to. Pure; `played_answers` says what a member prints in a scene, `playing` lets the
simulated controllers play. All times are seconds of the play, from its beginning.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial
from math import isfinite
from typing import TYPE_CHECKING, Any, Literal, get_args

if TYPE_CHECKING:
    from inventory.policy import Policy

Act = Literal[
    "before",
    "expand",
    "reload-standby",
    "synchronise",
    "switch-over",
    "reload-other",
    "restart-aps",
    "validate",
    "commit",
    "after",
    "rolling-back",
    "rolled-back",
]
"""Where the play is: one of the stages of a plan that change a controller, or what comes before, after and instead."""

ACTS: tuple[Act, ...] = get_args(Act)

Failure = Literal["standby-never-hot", "config-mismatch", "aps-missing", "auto-abort", "active-crashes"]
"""What goes wrong. Nobody commits then, so that the controllers roll back once their timer has run out.

`standby-never-hot`: the standby stays cold on the target. `config-mismatch`: lines fail to synchronise when the other
member is back after the switchover. `aps-missing`: every third access point doesn't come back from its restart.
`auto-abort`: all is well, and yet nobody commits. `active-crashes`: the active one crashes in the middle of a stage.
"""

FAILURES: tuple[Failure, ...] = get_args(Failure)

CrashStage = Literal["reload-standby", "restart-aps"]
CRASH_STAGES: tuple[CrashStage, ...] = get_args(CrashStage)

LEAD, OTHER = 0, 1
"""The places of the two members: who is active when the play begins, and the standby of then."""

_INSTALL = "Image Install"
_CRASH = "Critical process fault"
_ROLLBACK = "Image rollback, auto abort timer expired"
_STANDBY_COLD, _BULK, _HOT = "STANDBY COLD", "STANDBY COLD-BULK", "STANDBY HOT"


@dataclass(frozen=True)
class Pace:
    """How long each stage takes, in seconds of the play; `restart_aps` is one batch, `before` the wait for the start.

    `auto_abort` is how long after the activation the controllers roll back by themselves. `speed` is how many of these
    seconds pass in a real one; with 0 only a jump moves the clock. ValueError where one is no such number.
    """

    before: float = 120.0
    expand: float = 360.0
    reload_standby: float = 660.0
    synchronise: float = 420.0
    switch_over: float = 120.0
    reload_other: float = 1080.0
    restart_aps: float = 240.0
    validate: float = 1200.0
    commit: float = 120.0
    auto_abort: float = 7200.0
    speed: float = 300.0

    def __post_init__(self) -> None:
        for name, value in asdict(self).items():
            if not isfinite(value) or value < 0 or (value == 0 and name not in ("before", "speed")):
                raise ValueError(f"{name.replace('_', '-')} is {value:g}, but must be a number of seconds above 0")

    @classmethod
    def by_policy(cls, policy: Policy) -> Pace:
        """The policy's likely durations, in seconds; this class's own where it states none."""
        found = {str(stage).replace("-", "_"): minutes.likely * 60 for stage, minutes in policy.timings.items()}
        if policy.ap_restarts.staged is not None:
            found["restart_aps"] = policy.ap_restarts.staged.likely * 60
        if policy.auto_abort_minutes is not None:
            found["auto_abort"] = policy.auto_abort_minutes * 60
        own = asdict(cls())
        return cls(**{**own, **{name: float(seconds) for name, seconds in found.items() if name in own}})


@dataclass(frozen=True)
class Upgrade:
    """What is played: the target release, written plainly (17.12.4), the image's size, and how it goes.

    The access points restart in so many `batches`. `crash_during` says when `active-crashes` happens. With
    `older_train` the controllers tell of the upgrade as older trains do.
    """

    target: str
    image_bytes: int
    pace: Pace = Pace()
    batches: int = 4
    failure: Failure | None = None
    crash_during: CrashStage = "restart-aps"
    older_train: bool = False

    def __post_init__(self) -> None:
        if self.batches < 1:
            raise ValueError(f"there are {self.batches} batches, but must be 1 or more")


@dataclass(frozen=True)
class Package:
    """An image on a member's flash: the target's or the one of before, and its state (I, U, C)."""

    is_target: bool
    state: str


@dataclass(frozen=True)
class Controller:
    """One member. `since`, `booted` and `reload_reason` are None as long as they are what was recorded.

    `state` is printed as it stands; `crashes` are moments; `drops` counts how often its sessions were dropped.
    """

    active: bool
    state: str
    since: float | None = None
    away: bool = False
    runs_target: bool = False
    booted: float | None = None
    reload_reason: str | None = None
    packages: tuple[Package, ...] = (Package(False, "C"),)
    crashes: tuple[float, ...] = ()
    drops: int = 0


@dataclass(frozen=True)
class Batch:
    """Some access points: whether they are here, on the target, with clients again; `lost`: a third of them isn't."""

    here: bool = True
    on_target: bool = False
    has_clients: bool = True
    lost: bool = False


@dataclass(frozen=True)
class Switchover:
    """A switchover in the play: when, from which place to which, and why, as the history words it."""

    at: float
    before: int
    after: int
    reason: str


Step = Literal[
    "adding", "added", "activating", "standby-activated", "switched-over", "activated", "committing", "undoing"
]
Done = Literal["add", "activate-standby", "switch-over", "activate-other"]


@dataclass(frozen=True)
class Operation:
    """The upgrade as the controllers tell of it: the step that it is in, and what was done, with when it began."""

    step: Step
    done: tuple[tuple[Done, float], ...] = ()


@dataclass(frozen=True)
class Scene:
    """The pair at one moment.

    `expanding` is when the image's room on flash began to be taken and when all of it was; `activated` is when the
    timer began to run, None where it doesn't; `up_since` is when the pair came up after both were down; `mismatched`:
    lines didn't synchronise.
    """

    elapsed: float
    act: Act
    members: tuple[Controller, Controller]
    batches: tuple[Batch, ...]
    auto_abort: float
    operation: Operation | None = None
    expanding: tuple[float, float] | None = None
    activated: float | None = None
    up_since: float | None = None
    switchovers: tuple[Switchover, ...] = ()
    mismatched: bool = False

    @property
    def seconds_left(self) -> float | None:
        """What is left on the auto-abort timer; None where it doesn't run."""
        return None if self.activated is None else max(self.activated + self.auto_abort - self.elapsed, 0.0)

    @property
    def expanded(self) -> float:
        """Which share of the image's room on flash is taken, from 0 to 1."""
        if self.expanding is None:
            return 0.0
        begin, end = self.expanding
        return min(max((self.elapsed - begin) / (end - begin), 0.0), 1.0)


Change = Callable[[Scene], Scene]


@dataclass(frozen=True)
class Cue:
    """What changes at a moment of the play; the changes see the scene at that moment."""

    at: float
    changes: tuple[Change, ...]
    act: Act | None = None


class Play:
    """The play of an upgrade."""

    def __init__(self, upgrade: Upgrade) -> None:
        self.upgrade = upgrade
        self._cues = _cues(upgrade)
        begun: dict[Act, float] = {cue.act: cue.at for cue in self._cues if cue.act is not None}
        self.acts: Mapping[Act, float] = {"before": 0.0, **begun}
        """The acts that this play has, each with when it begins."""

    def scene(self, elapsed: float) -> Scene:
        """The pair at a moment; a moment before the beginning counts as the beginning."""
        return _scene(_opening(self.upgrade), self._cues, max(elapsed, 0.0))

    @property
    def cues(self) -> tuple[float, ...]:
        """The moments at which something changes, in order."""
        return tuple(sorted({cue.at for cue in self._cues}))

    def next_cue(self, elapsed: float) -> float | None:
        """When something changes next; None where nothing does any more."""
        return next((at for at in self.cues if at > elapsed), None)

    def moment(self, act: Act, share: float = 0.5) -> float:
        """The moment at which so much of an act is over (0 to 1); KeyError where the play doesn't have it.

        The last act never ends: it is taken as if it lasted as long as the wait before the first one.
        """
        begin = self.acts[act]
        end = min((at for at in self.acts.values() if at > begin), default=begin + self.upgrade.pace.before)
        return begin + share * (end - begin)


def _opening(upgrade: Upgrade) -> Scene:
    members = (Controller(active=True, state="ACTIVE"), Controller(active=False, state=_HOT))
    return Scene(0.0, "before", members, (Batch(),) * upgrade.batches, upgrade.pace.auto_abort)


def _scene(opening: Scene, cues: Sequence[Cue], elapsed: float) -> Scene:
    scene = opening
    for cue in cues:
        if cue.at > elapsed:
            break
        scene = replace(scene, elapsed=cue.at, act=cue.act or scene.act)
        for change in cue.changes:
            scene = change(scene)
    return replace(scene, elapsed=elapsed)


def _cues(upgrade: Upgrade) -> tuple[Cue, ...]:
    """All cues, in order: those of the upgrade and of what goes wrong; of the rollback where nobody commits in time."""
    at, opening = _Times(upgrade), _opening(upgrade)
    cues = _in_order(_FAILING[upgrade.failure](upgrade, at))
    fires = at.reload_standby + upgrade.pace.auto_abort
    if _scene(opening, cues, fires).activated is None:
        return cues
    played = tuple(cue for cue in cues if cue.at < fires)
    return _in_order([*played, *_rollback(upgrade, _scene(opening, played, fires))])


def _in_order(cues: Sequence[Cue]) -> tuple[Cue, ...]:
    return tuple(sorted(cues, key=lambda cue: cue.at))


class _Times:
    """When each stage begins if the one before it has taken its time."""

    def __init__(self, upgrade: Upgrade) -> None:
        pace = upgrade.pace
        self.expand = pace.before
        self.reload_standby = self.expand + pace.expand
        self.synchronise = self.reload_standby + pace.reload_standby
        self.switch_over = self.synchronise + pace.synchronise
        self.reload_other = self.switch_over + pace.switch_over
        self.restart_aps = self.reload_other + pace.reload_other
        self.validate = self.restart_aps + pace.restart_aps * upgrade.batches
        self.commit = self.validate + pace.validate
        self.after = self.commit + pace.commit
        # The standby is hot for the last fifth of the stage, so that it is seen before the switchover.
        self.standby_hot = self.synchronise + 0.8 * pace.synchronise
        self.other_back = self.reload_other + 0.6 * pace.reload_other
        self.other_hot = self.reload_other + 0.9 * pace.reload_other


def _good(upgrade: Upgrade, at: _Times, *, lost: bool = False) -> list[Cue]:
    return [*_until_activated(upgrade, at), *_restarts(upgrade, at, lost=lost), *_commit(upgrade, at)]


def _until_activated(upgrade: Upgrade, at: _Times) -> list[Cue]:
    added = at.expand + 0.5 * upgrade.pace.expand
    inactive, active = (Package(False, "C"), Package(True, "I")), (Package(True, "U"),)
    return [
        Cue(at.expand, (_step("adding"), partial(replace, expanding=(at.expand, added))), "expand"),
        Cue(added, (_holds(LEAD, inactive), _holds(OTHER, inactive), _step("added", ("add", at.expand)))),
        Cue(
            at.reload_standby,
            (_goes_down(OTHER), _step("activating"), partial(replace, activated=at.reload_standby)),
            "reload-standby",
        ),
        Cue(
            at.synchronise,
            (
                _boots(OTHER, _BULK, _INSTALL, target=True),
                _holds(OTHER, active),
                _step("standby-activated", ("activate-standby", at.reload_standby)),
            ),
            "synchronise",
        ),
        Cue(at.standby_hot, (_is_hot(OTHER),)),
        Cue(
            at.switch_over,
            (_goes_down(LEAD), _drops_sessions(OTHER), _takes_over(OTHER, "user_forced")),
            "switch-over",
        ),
        Cue(at.reload_other, (_step("switched-over", ("switch-over", at.switch_over)),), "reload-other"),
        Cue(at.other_back, (_boots(LEAD, _BULK, _INSTALL, target=True), _holds(LEAD, active))),
        Cue(at.other_hot, (_is_hot(LEAD), _step("activated", ("activate-other", at.reload_other)))),
    ]


def _restarts(upgrade: Upgrade, at: _Times, *, lost: bool = False) -> Iterator[Cue]:
    """Batch after batch: away for the most of its time, then back, then with clients again."""
    seconds = upgrade.pace.restart_aps
    yield Cue(at.restart_aps, (), "restart-aps")
    for number in range(upgrade.batches):
        begin = at.restart_aps + number * seconds
        yield Cue(begin, (_batch(number, here=False),))
        back = _batch(number, here=True, on_target=True, has_clients=False, lost=lost)
        yield Cue(begin + 0.6 * seconds, (back,))
        yield Cue(begin + 0.9 * seconds, (_batch(number, has_clients=True),))
    yield Cue(at.validate, (), "validate")


def _commit(upgrade: Upgrade, at: _Times) -> Iterator[Cue]:
    committed = (Package(True, "C"),)
    yield Cue(at.commit, (_step("committing"),), "commit")
    yield Cue(
        at.commit + 0.5 * upgrade.pace.commit,
        (_holds(LEAD, committed), _holds(OTHER, committed), partial(replace, activated=None, operation=None)),
    )
    yield Cue(at.after, (), "after")


def _never_hot(upgrade: Upgrade, at: _Times) -> list[Cue]:
    return [cue for cue in _good(upgrade, at) if cue.at < at.standby_hot]


def _uncommitted(upgrade: Upgrade, at: _Times, *, lost: bool = False) -> list[Cue]:
    return [cue for cue in _good(upgrade, at, lost=lost) if cue.at < at.commit]


def _mismatched(upgrade: Upgrade, at: _Times) -> list[Cue]:
    return [*_uncommitted(upgrade, at), Cue(at.other_back, (partial(replace, mismatched=True),))]


def _crashes(upgrade: Upgrade, at: _Times) -> list[Cue]:
    if upgrade.crash_during == "reload-standby":
        return _crashes_alone(upgrade, at)
    crash = at.restart_aps + 0.5 * (at.validate - at.restart_aps)
    back = crash + 0.6 * upgrade.pace.reload_other
    return [
        *_uncommitted(upgrade, at),
        Cue(crash, (_crashed(OTHER), _goes_down(OTHER), _takes_over(LEAD, "active_unit_failed"))),
        Cue(back, (_boots(OTHER, _BULK, _CRASH, target=True),)),
        Cue(back + 0.3 * upgrade.pace.reload_other, (_is_hot(OTHER),)),
    ]


def _crashes_alone(upgrade: Upgrade, at: _Times) -> list[Cue]:
    """The active one crashes while its standby reloads: nobody is up until that is back, and takes over from cold."""
    crash = at.reload_standby + 0.5 * upgrade.pace.reload_standby
    return [
        *(cue for cue in _good(upgrade, at) if cue.at < crash),
        Cue(crash, (_crashed(LEAD), _goes_down(LEAD), _all_leave)),
        Cue(
            at.synchronise,
            (
                _boots(OTHER, "ACTIVE", _INSTALL, target=True),
                _holds(OTHER, (Package(True, "U"),)),
                _comes_up_anew,
                _step("standby-activated", ("activate-standby", at.reload_standby)),
            ),
            "synchronise",
        ),
        *_rejoining(upgrade, at.synchronise, on_target=True),
        # It comes back on the release that it has committed, which doesn't go with its partner's.
        Cue(at.synchronise + 0.5 * upgrade.pace.synchronise, (_boots(LEAD, _STANDBY_COLD, _CRASH, target=False),)),
    ]


_FAILING: Mapping[Failure | None, Callable[[Upgrade, _Times], list[Cue]]] = {
    None: _good,
    "standby-never-hot": _never_hot,
    "config-mismatch": _mismatched,
    "aps-missing": partial(_uncommitted, lost=True),
    "auto-abort": _uncommitted,
    "active-crashes": _crashes,
}


def _rollback(upgrade: Upgrade, scene: Scene) -> Iterator[Cue]:
    """The timer fires: who runs the target reloads on the old release, both members or only the standby."""
    pace, fires, held = upgrade.pace, scene.elapsed, (Package(False, "C"), Package(True, "I"))
    stays = any(member.active and not member.away and not member.runs_target for member in scene.members)
    ordered: tuple[Change, ...] = (
        _holds(LEAD, held),
        _holds(OTHER, held),
        _goes_down(OTHER),
        _step("undoing"),
        partial(replace, activated=None, mismatched=False),
    )
    up = fires + pace.reload_standby
    over = up + pace.synchronise
    if stays:
        yield Cue(fires, ordered, "rolling-back")
        yield Cue(up, (_boots(OTHER, _BULK, _ROLLBACK, target=False),))
    else:
        yield Cue(fires, (*ordered, _goes_down(LEAD), _all_leave), "rolling-back")
        yield Cue(up, (_boots(LEAD, "ACTIVE", _ROLLBACK, target=False), _comes_up_anew))
        yield Cue(up + 0.2 * pace.synchronise, (_boots(OTHER, _BULK, _ROLLBACK, target=False),))
        yield from _rejoining(upgrade, up, on_target=False)
        over = max(over, up + pace.restart_aps * upgrade.batches)
    yield Cue(up + 0.8 * pace.synchronise, (_is_hot(OTHER),))
    yield Cue(over, (partial(replace, operation=None),), "rolled-back")


def _rejoining(upgrade: Upgrade, begin: float, *, on_target: bool) -> Iterator[Cue]:
    """After both were down: the access points find their controller again, batch after batch."""
    seconds = upgrade.pace.restart_aps
    for number in range(upgrade.batches):
        back = begin + (number + 0.6) * seconds
        yield Cue(back, (_batch(number, here=True, on_target=on_target, has_clients=False, lost=False),))
        yield Cue(back + 0.3 * seconds, (_batch(number, has_clients=True),))


def _member(place: int, change: Callable[[Controller, Scene], Mapping[str, Any]]) -> Change:
    def changed(scene: Scene) -> Scene:
        first, second = (
            replace(each, **change(each, scene)) if at == place else each for at, each in enumerate(scene.members)
        )
        return replace(scene, members=(first, second))

    return changed


def _goes_down(place: int) -> Change:
    return _member(
        place,
        lambda member, _: {"away": True, "active": False, "drops": member.drops + (not member.away)},
    )


def _boots(place: int, state: str, reason: str, *, target: bool) -> Change:
    return _member(
        place,
        lambda _, scene: {
            "away": False,
            "active": state == "ACTIVE",
            "state": state,
            "since": scene.elapsed,
            "booted": scene.elapsed,
            "reload_reason": reason,
            "runs_target": target,
        },
    )


def _is_hot(place: int) -> Change:
    return _member(place, lambda _, scene: {"state": _HOT, "since": scene.elapsed})


def _drops_sessions(place: int) -> Change:
    return _member(place, lambda member, _: {"drops": member.drops + 1})


def _crashed(place: int) -> Change:
    return _member(place, lambda member, scene: {"crashes": (*member.crashes, scene.elapsed)})


def _holds(place: int, packages: tuple[Package, ...]) -> Change:
    return _member(place, lambda *_: {"packages": packages})


def _takes_over(place: int, reason: str) -> Change:
    active = _member(place, lambda _, scene: {"active": True, "state": "ACTIVE", "since": scene.elapsed})

    def changed(scene: Scene) -> Scene:
        row = Switchover(scene.elapsed, 1 - place, place, reason)
        return active(replace(scene, switchovers=(*scene.switchovers, row)))

    return changed


def _step(step: Step, *done: tuple[Done, float]) -> Change:
    """The upgrade comes to a step; what is done with it by then, with when that began."""

    def changed(scene: Scene) -> Scene:
        before = scene.operation.done if scene.operation is not None else ()
        return replace(scene, operation=Operation(step, (*before, *done)))

    return changed


def _batch(number: int, **fields: bool) -> Change:
    def changed(scene: Scene) -> Scene:
        batches = (replace(each, **fields) if at == number else each for at, each in enumerate(scene.batches))
        return replace(scene, batches=tuple(batches))

    return changed


def _all_leave(scene: Scene) -> Scene:
    return replace(scene, batches=tuple(replace(batch, here=False) for batch in scene.batches))


def _comes_up_anew(scene: Scene) -> Scene:
    return replace(scene, up_since=scene.elapsed)
