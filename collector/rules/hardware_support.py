"""hardware-support: can this controller model be upgraded in service?"""

from __future__ import annotations

from collector.finding import Answer, Status
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.witnesses import Word, hear, word
from collector.snapshot import Snapshot
from inventory.policy import Policy
from parsers.facts.software import Version

_REMEDY = (
    "Check the model against the vendor's published list for in-service upgrade. If it is on it, add it to the policy; "
    "if not, plan an upgrade that takes the pair off the air, by the vendor's procedure and your change process and, "
    "where lives depend on the network, together with the people who run the ward."
)
_MIXED = (
    "A redundant pair needs two controllers of one model: find out which of the two is the wrong one, and replace it "
    "by the vendor's procedure before any upgrade. Taking a controller out of a pair can drop clients: do it in a "
    "window, by your change process and, where lives depend on the network, with the people who run the ward."
)


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """Each member's model against the policy's list, then the two models against each other."""

    def supported(item: Word[str], model: str) -> Part:
        row = policy.hardware_of(model)
        if row is None:
            clause = f"{item.about} is a {model}, which isn't on the policy's list of hardware"
            return Part(Status.BLOCK, clause, item.evidence, _REMEDY)
        if not row.in_service_upgrade:
            clause = f"{item.about} is a {model}, which by the policy can't be upgraded in service"
            return Part(Status.BLOCK, clause, item.evidence, _REMEDY)
        return Part(Status.PASS, f"{item.about} is a {model}, which can be upgraded in service", item.evidence)

    words = [
        word(member, member.read("show version", Version), lambda facts: facts.model, "model")
        for member in snapshot.members
    ]
    parts = [part for item in words for part in hear("model", item, (), supported)]
    first, second = words
    if first.value and second.value and first.value != second.value:
        clause = f"the models differ: {first.about} is a {first.value}, {second.about} a {second.value}"
        parts.insert(0, Part(Status.BLOCK, clause, (*first.evidence, *second.evidence), _MIXED))
    return answer(parts)


RULE = Rule(
    id="hardware-support",
    title="Can this controller model be upgraded in service?",
    why="A model that the vendor doesn't support for in-service upgrade takes the whole site off the air on the way.",
    good="Both members are a WX-9840, and the policy lists it with in_service_upgrade: true.",
    bad="quay-b is a WX-9880 beside a WX-9840, or the policy doesn't list the model.",
    needs=("show version",),
    judge=judge,
)
