"""How findings count: what the policy weighs otherwise, and the verdict of a pair."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from collector.finding import Answer, Finding, Status, Verdict
from inventory.policy import Policy

if TYPE_CHECKING:
    from collector.rules.rule import Rule


def weigh(rule: Rule, answer: Answer, policy: Policy) -> Finding:
    """The answer as the policy lets it count.

    A rule weighed as `caution` turns a block into a caution; an unknown stays unknown but decides nothing. A rule
    that is `off` becomes not-applicable and says that the policy turned it off.
    """
    weight = policy.rules.get(rule.id, rule.weight)
    weighed = None if weight == rule.weight else weight
    if weight == "off":
        statement = "Turned off by the policy."
        return Finding(
            rule.id, rule.title, Status.NOT_APPLICABLE, statement, weight=weight, weighed=weighed, why=rule.why
        )
    status = Status.CAUTION if weight == "caution" and answer.status is Status.BLOCK else answer.status
    return Finding(
        rule.id,
        rule.title,
        status,
        answer.statement,
        answer.remedy,
        answer.evidence,
        weight,
        weighed,
        rule.why,
        unsure=answer.unsure,
        replan=answer.replan,
    )


def verdict(findings: Sequence[Finding]) -> Verdict:
    """A pair's verdict: any block that isn't waived is no-go; else an unknown on a blocking rule is undecided.

    No finding at all is undecided too.
    """
    deciding = [finding.counts_as for finding in findings if finding.decides]
    if Status.BLOCK in deciding:
        return Verdict.NO_GO
    return Verdict.UNDECIDED if deciding or not findings else Verdict.GO
