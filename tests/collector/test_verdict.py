from __future__ import annotations

import pytest

from collector.finding import Answer, Evidence, Finding, Status, Verdict
from collector.rules.rule import Rule
from collector.verdict import verdict, weigh
from tests.collector.rules.building import policy

BLOCK = Answer(Status.BLOCK, "quay-b is short.", "Free space.", (Evidence("quay-b", "dir bootflash:", (9,), ("x",)),))
RULE = Rule("flash-space", "Is there room?", "why", "good", "bad", ("dir bootflash:",), lambda snapshot, policy: BLOCK)


def finding(status: Status, weight: str = "block") -> Finding:
    return Finding("some-rule", "?", status, "Said.", weight=weight)


def test_by_default_an_answer_counts_as_it_is() -> None:
    found = weigh(RULE, BLOCK, policy())
    assert (found.rule, found.title, found.status, found.weight, found.weighed) == (
        "flash-space",
        "Is there room?",
        Status.BLOCK,
        "block",
        None,
    )
    assert (found.statement, found.remedy, found.evidence) == (BLOCK.statement, BLOCK.remedy, BLOCK.evidence)


def test_a_weight_that_is_the_default_is_no_other_weight() -> None:
    assert weigh(RULE, BLOCK, policy(rules={"flash-space": "block"})).weighed is None


def test_weighed_as_caution_a_block_is_a_caution_and_says_so() -> None:
    found = weigh(RULE, BLOCK, policy(rules={"flash-space": "caution"}))
    assert (found.status, found.weighed, found.evidence) == (Status.CAUTION, "caution", BLOCK.evidence)
    assert verdict([found]) is Verdict.GO


def test_weighed_as_caution_an_unknown_stays_unknown_but_decides_nothing() -> None:
    found = weigh(RULE, Answer(Status.UNKNOWN, "Not known."), policy(rules={"flash-space": "caution"}))
    assert found.status is Status.UNKNOWN
    assert verdict([found]) is Verdict.GO


def test_turned_off_a_rule_is_not_applicable_and_says_so() -> None:
    found = weigh(RULE, BLOCK, policy(rules={"flash-space": "off"}))
    assert (found.status, found.weighed) == (Status.NOT_APPLICABLE, "off")
    assert "off by the policy" in found.statement
    assert found.remedy == ""
    assert found.evidence == ()


@pytest.mark.parametrize(
    ("statuses", "expected"),
    [
        ((Status.PASS, Status.CAUTION, Status.NOT_APPLICABLE), Verdict.GO),
        ((Status.PASS, Status.UNKNOWN), Verdict.UNDECIDED),
        ((Status.UNKNOWN, Status.BLOCK, Status.PASS), Verdict.NO_GO),
        ((Status.BLOCK,), Verdict.NO_GO),
        ((), Verdict.UNDECIDED),
    ],
)
def test_the_worst_finding_gives_the_verdict(statuses: tuple[Status, ...], expected: Verdict) -> None:
    assert verdict([finding(status) for status in statuses]) is expected
