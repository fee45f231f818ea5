"""upgrade-activity: is another upgrade in progress?"""

from __future__ import annotations

from collections.abc import Iterator

from collector.finding import Answer, Status
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.sessions import attributed, hear_each, listed, quiet, unknown
from collector.snapshot import Reading, Snapshot
from inventory.policy import Policy
from parsers.facts.upgrade import IssuState

_COMMAND = "show issu state detail"
_REMEDY = (
    "Find out who started it and let them finish or abort it by the vendor's procedure, then check again. Either way "
    "can reload a controller and drop clients: don't abort what somebody is working on, agree it through your change "
    "process and, where lives depend on the network, with the people who run the ward."
)
_CHECK_REMEDY = (
    "Look at that system check on the controller and put right what it says isn't so, by the vendor's procedure and "
    "your change process, then check the pair again: an in-service upgrade would be refused, or would not be one."
)


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """Whether an upgrade goes on, whatever the policy."""
    return told(snapshot)


def told(snapshot: Snapshot) -> Answer:
    """Each session's word; both have to say that nothing is in progress. A system check that says `No` is a caution."""
    heard = hear_each(snapshot, [_COMMAND], IssuState, "whether an upgrade is in progress")
    first, second = (member.name for member in snapshot.members)
    summary = Part(Status.PASS, f"No in-service upgrade is in progress on {first} and {second}")
    progress = attributed((item.member, _progress(item)) for item in heard.readings)
    checks = (part for item in heard.readings for part in _checks(item))
    return answer([summary, *progress, *heard.parts, *checks])


def _checks(reading: Reading[IssuState]) -> Iterator[Part]:
    """The system checks that say `No`; what their other words mean isn't known, and they count for nothing."""
    checks = (reading.facts.system_checks if reading.facts is not None else None) or {}
    if failed := [name for name, value in checks.items() if value.strip().lower() == "no"]:
        named = listed(f"{name}: {checks[name]}" for name in failed)
        evidence = reading.evidence(*(f"system_checks.{name}" for name in failed))
        yield Part(Status.CAUTION, f"{reading.member}'s system check says {named}", evidence, _CHECK_REMEDY)


def _progress(reading: Reading[IssuState]) -> Part:
    facts = reading.facts
    evidence = reading.evidence("in_progress", "operation", "stage")
    if facts is None or facts.in_progress is None:
        return unknown(f"`{_COMMAND}` on {reading.member} doesn't say whether an upgrade is in progress", evidence)
    if not facts.in_progress:
        return quiet(*evidence)
    named = [f"operation {facts.operation}" if facts.operation else "", f"stage {facts.stage}" if facts.stage else ""]
    details = ", ".join(filter(None, named))
    clause = f"an in-service upgrade is in progress ({details})" if details else "an in-service upgrade is in progress"
    return Part(Status.BLOCK, clause, evidence, _REMEDY)


RULE = Rule(
    id="upgrade-activity",
    title="Is no other upgrade in progress?",
    why="An upgrade that somebody else began has to be finished or aborted before another one can start.",
    good="No ISSU operation is in progress",
    bad="Current ISSU Status: In Progress",
    # Who may stand in for the other one follows from the roles.
    needs=(_COMMAND, "show redundancy", "show chassis rmi"),
    judge=judge,
    waivable=False,
)
