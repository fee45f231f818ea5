"""Where else a pair could go: the same captures, judged for every long-lived release that the policy knows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from collector.capture import Capture
from collector.finding import Status, Verdict
from collector.judging import aimed_at, judge_pair
from collector.result import PairResult
from collector.rules import upgrade_path
from inventory.pairs import Pair
from inventory.policy import Policy
from inventory.waivers import Waiver
from parsers.release import Release

_NO_IMAGE = (
    "Space can't be judged without the image's size: add the release, with its file and bytes, to the pair's `images` "
    "in the inventory."
)


@dataclass(frozen=True)
class TargetResult:
    """Whether the pair could go to a release.

    `target` is a release, or a train of which the policy names no release: then there is no `result`, since most rules
    need a release to judge. `path` is the shortest chain of in-service steps with both ends; empty where there is none
    or where it isn't known what the pair runs. `blocks` are the ids of the rules that block, as far as they were
    judged. `notes` are sentences on what couldn't be judged, and why.
    """

    target: str
    verdict: Verdict
    path: tuple[str, ...]
    blocks: tuple[str, ...]
    notes: tuple[str, ...]
    result: PairResult | None = None


@dataclass(frozen=True)
class Targets:
    """All targets of a pair, the oldest first; `planned` is its result for the target that the inventory plans."""

    started: datetime
    finished: datetime
    inventory: str
    planned: PairResult
    targets: tuple[TargetResult, ...]
    notes: tuple[str, ...] = ()


def candidates(pair: Pair, policy: Policy) -> tuple[str, ...]:
    """The releases and trains to try, the oldest first.

    The releases are those that the policy recommends or names as an end of an upgrade path, and those that the
    inventory has an image for, as far as their train is long-lived; and the pair's own target in any case. A
    long-lived train without any of them stands for itself. A limit such as the minimum release is no plan.
    """
    named = {point for path in policy.upgrade_paths for point in (path.start, path.end) if _is_release(point)}
    named |= {policy.recommended_release} if policy.recommended_release else set()
    named |= set(pair.images)
    long_lived = {train for train, row in policy.trains.items() if row.long_lived}
    releases = {pair.target_release} | {name for name in named if Release.parse(name).train in long_lived}
    trains = long_lived - {Release.parse(name).train for name in releases}
    return tuple(sorted(releases | trains, key=_age))


def judge_targets(
    pair: Pair,
    captures: Mapping[str, Sequence[Capture]],
    policy: Policy,
    moment: datetime,
    waivers: Sequence[Waiver] = (),
) -> tuple[PairResult, tuple[TargetResult, ...]]:
    """The pair's result for its own target, and one for every candidate, all from the same captures."""
    planned = judge_pair(pair, captures, policy, moment, waivers)
    running = _running(planned)
    found = []
    for target in candidates(pair, policy):
        path = upgrade_path.way(policy.upgrade_paths, running, target) if running else ()
        if _is_release(target):
            result = judge_pair(aimed_at(pair, target), captures, policy, moment, waivers)
            found.append(_release(target, path, result))
        else:
            found.append(_train(pair, policy, target, path, running))
    return planned, tuple(found)


def _release(target: str, path: tuple[str, ...], result: PairResult) -> TargetResult:
    blocks = tuple(finding.rule for finding in result.findings if finding.counts_as is Status.BLOCK)
    notes = () if result.pair.image is not None else (_NO_IMAGE,)
    return TargetResult(target, result.verdict, path, blocks, notes, result)


def _train(pair: Pair, policy: Policy, train: str, path: tuple[str, ...], running: str | None) -> TargetResult:
    note = (
        "The policy names no release of this train, so only the path can be told; "
        f"`readypair check {pair.name} --target RELEASE` asks about one."
    )
    if running is not None and len(path) != 2 and policy.rules.get("upgrade-path", "block") == "block":
        return TargetResult(train, Verdict.NO_GO, path, ("upgrade-path",), (note,))
    return TargetResult(train, Verdict.UNDECIDED, path, (), (note,))


def _running(result: PairResult) -> str | None:
    """The release that the pair runs, if both members are known to run the same."""
    first, second = (member.release for member in result.members)
    return str(Release.parse(first)) if first is not None and first == second else None


def _is_release(point: str) -> bool:
    return point.count(".") > 1


def _age(point: str) -> Release:
    return Release.parse(point if _is_release(point) else f"{point}.0")
