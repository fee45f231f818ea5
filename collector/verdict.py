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
        return Finding(rule.id, rule.title, Status.NOT_APPLICABLE, statement, weight=weight, weighed=weighed)
    status = Status.CAUTION if weight == "caution" and answer.status is Status.BLOCK else answer.status
    return Finding(rule.id, rule.title, status, answer.statement, answer.remedy, answer.evidence, weight, weighed)


def verdict(findings: Sequence[Finding]) -> Verdict:
    """A pair's verdict: any block is no-go; else an unknown on a blocking rule, or no finding at all, is undecided."""
    if any(finding.status is Status.BLOCK for finding in findings):
        return Verdict.NO_GO
    if not findings or any(f.status is Status.UNKNOWN and f.weight == "block" for f in findings):
        return Verdict.UNDECIDED
    return Verdict.GO
