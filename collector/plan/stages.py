"""The stages of an in-service upgrade: which comes after which, how long each takes, and the way back from each.

The order (the standby first, the access points' restarts once both members run the new release) and the ways back are
common practice without a published source; the vendor's procedure and the change process rule over them. No duration
is built in: what neither the policy nor this fleet's own records tell is unknown.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from statistics import quantiles

from collector.plan.plan import STAGES, BackStep, Estimate, Source, StageId
from inventory.policy import Minutes, Policy, Rates

History = Mapping[str, Sequence[float]]
"""The fleet's recorded stages, by their ids, in seconds.

What depends on a pair's size is recorded by its piece: `copy` for one image onto one member, `restart-aps` for one
round. `stage-aps` is always computed, from the pair's own access points and uplinks.
"""

ENOUGH = 5
"""How many recorded stages replace the policy's durations."""

BEFORE_WINDOW: tuple[StageId, ...] = ("copy", "stage-aps")
"""The preparation. Expanding isn't part of it: the rule `install-state` asks for nothing inactive before a window."""

ACTIVATED: tuple[StageId, ...] = STAGES[STAGES.index("reload-standby") : STAGES.index("commit")]
"""The stages between the activation, which starts the controller's own timer, and the commit, which stops it."""


@dataclass(frozen=True)
class Description:
    """What a stage is, in words for the person who does it."""

    title: str
    after: tuple[StageId, ...]
    see: tuple[str, ...]
    turn_back_when: tuple[str, ...]
    drops_clients: bool = False


DESCRIPTIONS: Mapping[StageId, Description] = {
    "copy": Description(
        "Copy the image to both members' flash",
        (),
        ("The file is on both members' flash with the published size and checksum.",),
        ("A copy fails twice, or its checksum isn't the published one.",),
    ),
    "expand": Description(
        "Expand the image on both members",
        ("copy",),
        ("The new release is listed as inactive on both members; nothing else is.",),
        ("Expanding fails on either member.",),
    ),
    "stage-aps": Description(
        "Load the image onto the access points in advance",
        ("copy",),
        ("Every access point holds the target image as its backup; none has failed.",),
        ("Access points of a critical area can't load the image.",),
    ),
    "reload-standby": Description(
        "Activate, and reload the standby on the new release",
        ("expand", "stage-aps"),
        ("The standby is back and runs the new release; the active one still serves every client.",),
        ("The standby doesn't come back by the last moment, or comes back on another release.",),
    ),
    "synchronise": Description(
        "Synchronise the standby until it is hot",
        ("reload-standby",),
        ("The pair works by stateful switchover, the standby is hot, and no line failed to synchronise.",),
        ("The standby stays cold, or configuration lines don't synchronise.",),
    ),
    "switch-over": Description(
        "Switch over to the member that runs the new release",
        ("synchronise",),
        ("The new active one serves as many access points and clients as the old one did.",),
        ("Access points or clients are lost and don't come back.",),
        drops_clients=True,
    ),
    "reload-other": Description(
        "Reload the other member on the new release, and synchronise it until it is hot",
        ("switch-over",),
        ("Both members run the new release, the standby is hot, and no line failed to synchronise.",),
        ("The other member doesn't come back by the last moment, or doesn't become hot.",),
    ),
    "restart-aps": Description(
        "Restart the access points on the new release, round by round",
        ("reload-other",),
        ("After each round its access points are registered on the new release and serve clients again.",),
        ("Access points of a round don't come back; don't begin the next round then.",),
        drops_clients=True,
    ),
    "validate": Description(
        "Validate",
        ("restart-aps",),
        ("The site's own tests pass: access points, each way to sign in, roaming, voice, what it lives on.",),
        ("A test fails that the site can't do without.",),
    ),
    "commit": Description(
        "Commit the new release",
        ("validate",),
        ("The new release is listed as committed on both members, and the auto-abort timer is inactive.",),
        ("Nothing leads back from here except another upgrade to the old release.",),
    ),
}

_STANDBY_AGAIN: tuple[StageId, ...] = ("reload-standby", "synchronise")
_BOTH_AGAIN: tuple[StageId, ...] = ("reload-standby", "synchronise", "switch-over", "reload-other")
_WAYS_BACK: Mapping[StageId, tuple[StageId, ...]] = {
    "copy": (),
    "expand": (),
    "stage-aps": (),
    "reload-standby": _STANDBY_AGAIN,
    "synchronise": _STANDBY_AGAIN,
    "switch-over": ("switch-over", *_STANDBY_AGAIN),
    "reload-other": _BOTH_AGAIN,
    "restart-aps": (*_BOTH_AGAIN, "restart-aps"),
    "validate": (*_BOTH_AGAIN, "restart-aps"),
}
_BACK_TITLES: Mapping[StageId, str] = {
    "reload-standby": "Reload the standby on the old release",
    "synchronise": "Synchronise it until it is hot",
    "switch-over": "Switch over to the member that runs the old release",
    "reload-other": "Reload the other member on the old release, and synchronise it until it is hot",
    "restart-aps": "Restart the access points on the old release",
}


@dataclass(frozen=True)
class Duration:
    """Three durations of a stage, where they came from, and the clause that says so or says what is missing.

    `needed` is a sentence on what would make them known; empty where they are.
    """

    estimate: Estimate | None
    source: Source | None
    basis: str
    needed: str = ""


def estimate_of(minutes: Minutes) -> Estimate:
    """The policy's minutes, in seconds."""
    return Estimate(minutes.optimistic * 60, minutes.likely * 60, minutes.pessimistic * 60)


def merged(one: History, other: History) -> dict[str, tuple[float, ...]]:
    """Two records of stages as one."""
    return {stage: (*one.get(stage, ()), *other.get(stage, ())) for stage in dict.fromkeys((*one, *other))}


def recorded(history: History, id: str) -> Duration | None:
    """The durations out of recorded stages: their 1st, 50th and 99th percentile; None for fewer than five.

    An optimistic or pessimistic duration is one that isn't undercut or exceeded in about 1 of 100 cases (the usual
    reading of a three-point estimate; common practice). With few records these are nearly the shortest and the longest
    one: the 10th and 90th would call impossible what happens every tenth time. Quantiles between two records are
    interpolated by definition 7 of The American Statistician 50(4), 1996. ValueError where a duration is negative or
    not finite.
    """
    seconds = [float(each) for each in history.get(id, ())]
    if not all(isfinite(each) and each >= 0 for each in seconds):
        raise ValueError(f"the history of {id} holds what is no duration")
    if len(seconds) < ENOUGH:
        return None
    cuts = quantiles(seconds, n=100, method="inclusive")
    return Duration(
        Estimate(cuts[0], cuts[49], cuts[98]), "history", f"{len(seconds)} recorded stages of this fleet: 1, 50, 99 %"
    )


def whole_stage(id: StageId, policy: Policy, history: History) -> Duration:
    """The durations of a stage that takes as long on every pair."""
    found = recorded(history, id)
    if found is not None:
        return found
    minutes = {str(name): each for name, each in policy.timings.items()}.get(id)
    if minutes is None:
        clause = f"the policy has no `timings.{id}`, and fewer than {ENOUGH} such stages are recorded"
        return Duration(None, None, clause, f"Add `timings.{id}` to the policy.")
    return Duration(estimate_of(minutes), "policy", f"the policy's `timings.{id}`")


def copy(size: int | None, members: int, policy: Policy, history: History) -> Duration:
    """Copying an image of so many bytes to so many members' flash, one after the other."""
    each = "one member's flash" if members == 1 else f"{members} members' flash, one after the other"
    found = recorded(history, "copy")
    if found is not None and found.estimate is not None:
        return Duration(found.estimate.scaled(members), "history", f"{found.basis}, to {each}")
    if size is None:
        clause = "the inventory states no image, so its size isn't known"
        return Duration(None, None, clause, "Add the image's file and bytes to the pair in the inventory.")
    if policy.copy_mbps is None:
        return Duration(None, None, "the policy has no `copy_mbps`", "Add `copy_mbps` to the policy.")
    estimate = transfer(size * members, policy.copy_mbps)
    clause = f"{size:,} bytes at the policy's `copy_mbps`, {policy.copy_mbps.likely:g} Mbit/s likely, to {each}"
    return Duration(estimate, "captures", clause)


def transfer(size: int, mbps: Rates) -> Estimate:
    """How long so many bytes take at rates of 10^6 bit/s (decimal prefixes, as in IEC 80000-13)."""
    return Estimate(*(seconds(size, rate) for rate in (mbps.optimistic, mbps.likely, mbps.pessimistic)))


def seconds(size: int, mbps: float) -> float:
    """How many seconds so many bytes of 8 bit take at so many 10^6 bit/s."""
    return size * 8 / (mbps * 10**6)


def restarts(rounds: int | None, staged: bool, policy: Policy, history: History) -> Duration:
    """The access points' restarts in so many rounds, one after the other; `staged`: all of them hold the image.

    A slow night is slow in every round: the rounds aren't taken for independent. That staged access points restart
    faster than unstaged ones is common practice without a source; both figures are the policy's.
    """
    if rounds is None:
        clause = "it isn't known in how many rounds the access points restart"
        needed = (
            "Take the access points' neighbour reports, and state `ap_restarts.neighbour_dbm` and "
            "`ap_restarts.site_share_percent` in the policy."
        )
        return Duration(None, None, clause, needed)
    times = "1 round" if rounds == 1 else f"{rounds} rounds"
    found = recorded(history, "restart-aps")
    if found is not None and found.estimate is not None:
        return Duration(found.estimate.scaled(rounds), "history", f"{times}; {found.basis}")
    key = "staged" if staged else "unstaged"
    minutes = policy.ap_restarts.staged if staged else policy.ap_restarts.unstaged
    if minutes is None:
        clause = f"the policy has no `ap_restarts.{key}`"
        return Duration(None, None, clause, f"Add `ap_restarts.{key}` to the policy.")
    return Duration(estimate_of(minutes).scaled(rounds), "policy", f"{times} of the policy's `ap_restarts.{key}`")


def way_back(id: StageId, durations: Mapping[StageId, Duration], policy: Policy) -> tuple[BackStep, ...] | None:
    """The steps back once a stage has begun: none where nothing has to be undone, None where there is no way back.

    The policy's own `way_back` of the stage counts; else the way leads through the same work again, and each piece
    takes as long as on the way there (common practice, no source).
    """
    stated = {str(name): each for name, each in policy.way_back.items()}.get(id)
    if stated is not None:
        return (BackStep("Turn back by the vendor's procedure", estimate_of(stated), "policy"),)
    if id not in _WAYS_BACK:
        return None
    steps = []
    for each in _WAYS_BACK[id]:
        duration = durations[each]
        if each == "restart-aps" and duration.estimate is not None and duration.estimate.pessimistic == 0:
            continue
        steps.append(BackStep(_BACK_TITLES[each], duration.estimate, duration.source))
    return tuple(steps)
