"""release-support: are the running and the target release fit for an in-service upgrade?"""

from __future__ import annotations

from collections.abc import Sequence

from collector.finding import Answer, Status
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.witnesses import Word, hear, running_releases
from collector.snapshot import Snapshot
from inventory.policy import Policy
from parsers.release import Release

_RUNNING = (
    "Bring the pair to a supported release first, by the vendor's procedure. That upgrade isn't one in service: it "
    "reloads the controllers and drops clients, so it needs a window, your change process and, where lives depend on "
    "the network, the people who run the ward."
)
_TARGET = "Choose another target: one at or above the minimum release, on a train that the policy lists as long-lived."
_DIFFERENT = (
    "Find out why the members run different releases, and bring them to the same one by the vendor's procedure before "
    "any upgrade. It reloads a controller and can drop clients: agree it through your change process and, where lives "
    "depend on the network, with the people who run the ward."
)
_OTHER_TARGET = "Make sure that this target is meant, or plan for the recommended release."


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """Each member's release and the target against the policy, then the members' releases against each other."""

    def supported(item: Word[Release], release: Release) -> Part:
        faults = _faults(release, policy)
        if faults:
            return Part(Status.BLOCK, f"{item.about} runs {release}, {faults}", item.evidence, _RUNNING)
        return Part(Status.PASS, f"{item.about} runs {release}", item.evidence)

    heard = [running_releases(snapshot, member) for member in snapshot.members]
    parts = [part for first, others in heard for part in hear("running release", first, others, supported)]
    parts += _differing([item for first, others in heard for item in (first, *others)])
    parts.append(_target(Release.parse(snapshot.pair.target_release), policy))
    return answer(parts)


def _faults(release: Release, policy: Policy) -> str:
    """What the policy has against a release, as the end of a clause; empty where it has nothing."""
    faults = []
    if release < Release.parse(policy.minimum_release):
        faults.append(f"below the minimum {policy.minimum_release}")
    row = policy.train_of(release)
    if row is None:
        faults.append(f"and the policy doesn't list train {release.train} as long-lived")
    elif not row.long_lived:
        faults.append(f"and train {release.train} isn't long-lived")
    return " ".join(faults)


def _differing(words: Sequence[Word[Release]]) -> list[Part]:
    said = [item for item in words if item.value is not None]
    if len({item.value for item in said}) < 2:
        return []
    own = {(item.about, item.value) for item in said if item.by == item.about}
    clauses = dict.fromkeys(
        f"{item.about} runs {item.value}" + ("" if (item.about, item.value) in own else f" as {item.by} tells it")
        for item in said
    )
    evidence = tuple(line for item in said for line in item.evidence)
    return [Part(Status.BLOCK, f"the members don't run the same release: {', '.join(clauses)}", evidence, _DIFFERENT)]


def _target(target: Release, policy: Policy) -> Part:
    faults = _faults(target, policy)
    if faults:
        return Part(Status.BLOCK, f"the target is {target}, {faults}", remedy=_TARGET, replan=True)
    recommended = policy.recommended_release
    if recommended is not None and target != Release.parse(recommended):
        clause = f"the target is {target}, but the policy recommends {recommended}"
        return Part(Status.CAUTION, clause, remedy=_OTHER_TARGET)
    return Part(Status.PASS, f"the target {target} is on a long-lived train")


RULE = Rule(
    id="release-support",
    title="Are the running and the target release supported?",
    why="In-service upgrade works from a first release on and between long-lived trains, if both members run the same.",
    good="Both members run 17.9.4a and the target is 17.12.4, the policy's recommended release.",
    bad="quay-a runs 17.9.4a and quay-b 17.9.5, or the target 17.13.1 is on a train that isn't long-lived.",
    needs=("show version", "show redundancy"),
    judge=judge,
)
