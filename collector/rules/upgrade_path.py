"""upgrade-path: does the policy have a direct in-service step from the running release to the target?"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from collector.finding import Answer, Status
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.witnesses import Word, hear, running_releases
from collector.snapshot import Snapshot
from inventory.policy import Policy, UpgradePath
from parsers.release import Release, train

_BY_STEPS = (
    "Plan the steps one after the other, each with its own target, window and check, or plan an upgrade that takes "
    "the pair off the air, by the vendor's procedure and your change process and, where lives depend on the network, "
    "together with the people who run the ward."
)
_NO_STEPS = (
    "Look in the vendor's published upgrade paths. If they have the step, add it to the policy; if not, choose another "
    "target, or plan an upgrade that takes the pair off the air, by the vendor's procedure and your change process "
    "and, where lives depend on the network, together with the people who run the ward."
)


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """The step of each member from what it runs to the target.

    A pair that runs the target already gets a caution: nothing stands against it, but no window should be opened for
    nothing.
    """
    target = str(Release.parse(snapshot.pair.target_release))

    def allowed(item: Word[Release], release: Release) -> Part:
        running = str(release)
        if running == target:
            clause = f"{item.about} already runs the target {target}"
            return Part(Status.CAUTION, clause, item.evidence, "Make sure that this target is meant.")
        if is_direct(policy.upgrade_paths, running, target):
            clause = f"{item.about} can go from {running} to {target} in service, in one step"
            return Part(Status.PASS, clause, item.evidence)
        clause = f"{item.about} runs {running}, from which the policy has no direct in-service step to {target}"
        chain = way(policy.upgrade_paths, running, target)
        if not chain:
            return Part(Status.BLOCK, f"{clause} and no chain of steps either", item.evidence, _NO_STEPS)
        steps = f"the shortest chain has {len(chain) - 1} steps, {' to '.join(chain)}"
        return Part(Status.BLOCK, f"{clause}: {steps}", item.evidence, _BY_STEPS)

    heard = [running_releases(snapshot, member) for member in snapshot.members]
    return answer([part for first, others in heard for part in hear("running release", first, others, allowed)])


def is_direct(paths: Sequence[UpgradePath], start: str, end: str) -> bool:
    """Whether the policy has a direct in-service step between two points, each a release (17.9.4a) or a train (17.9).

    The most exact entry decides: a release at both ends, then at the start, then at the end, then trains at both; of
    two entries for the same ends the one that isn't direct. A point that is a train stands for a release of it that
    no entry names. A step down counts only where an entry's own ends lead down.
    """
    found: list[tuple[int, bool]] = []
    for path in paths:
        fits = path.start in (start, _train(start)) and path.end in (end, _train(end))
        if fits and not (_leads_down(start, end) and not _leads_down(path.start, path.end)):
            found.append((2 * _is_release(path.start) + _is_release(path.end), path.direct))
    most = max((exactness for exactness, _ in found), default=0)
    return bool(found) and all(direct for exactness, direct in found if exactness == most)


def shortest(paths: Sequence[UpgradePath], start: str, end: str) -> tuple[str, ...]:
    """The shortest chain of direct steps, with both ends; empty where there is none.

    Between the ends stand points that the policy names, releases or trains; of chains of one length the one whose
    points the policy names first.
    """
    points = list(dict.fromkeys([end, *(point for path in paths for point in (path.start, path.end))]))
    came_from: dict[str, str] = {start: start}
    waiting = deque([start])
    while waiting:
        here = waiting.popleft()
        if here == end:
            return _back(came_from, end)
        for point in points:
            if point not in came_from and is_direct(paths, here, point):
                came_from[point] = here
                waiting.append(point)
    return ()


def way(paths: Sequence[UpgradePath], start: str, end: str) -> tuple[str, ...]:
    """The shortest chain that somebody would go: none that leads back by way of others, as 17.9.4a, 17.9, 17.9.1."""
    chain = shortest(paths, start, end)
    return () if len(chain) > 2 and _leads_down(start, end) else chain


def _back(came_from: dict[str, str], end: str) -> tuple[str, ...]:
    chain = [end]
    while came_from[chain[-1]] != chain[-1]:
        chain.append(came_from[chain[-1]])
    return tuple(reversed(chain))


def _is_release(point: str) -> bool:
    return point.count(".") > 1


def _train(point: str) -> str:
    return Release.parse(point).train if _is_release(point) else train(point)


def _leads_down(start: str, end: str) -> bool:
    if _train(start) == _train(end):
        return _is_release(start) and _is_release(end) and Release.parse(end) < Release.parse(start)
    return _numbers(_train(end)) < _numbers(_train(start))


def _numbers(point: str) -> tuple[int, ...]:
    return tuple(int(number) for number in point.split("."))


RULE = Rule(
    id="upgrade-path",
    title="Is there a direct in-service step to the target?",
    why="In-service upgrade is supported between certain releases only; any other step reloads both members at once.",
    good='The pair runs 17.9.4a, the target is 17.12.4, and the policy has {from: "17.9", to: "17.12", direct: true}.',
    bad="The pair runs 17.3.6, the target is 17.12.4, and the way leads through 17.6 or 17.9.",
    needs=("show version", "show redundancy"),
    judge=judge,
)
