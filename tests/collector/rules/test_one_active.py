from __future__ import annotations

from dataclasses import replace

import pytest

from collector.finding import Answer, Status
from collector.rules.one_active import RULE
from parsers.facts.redundancy import Chassis, Processor, Redundancy
from tests.collector.rules.building import (
    CUT_OFF,
    MISSING,
    REFUSED,
    UNREADABLE,
    Answers,
    Lost,
    healthy,
    policy,
    snapshot,
    told,
    unreached,
)
from tests.collector.rules.lessening import bettered

REDUNDANCY, CHASSIS = "show redundancy", "show chassis rmi"


def redundancy(number: int, own: str | None, peer: str | None = None) -> dict[str, Redundancy]:
    """The member's `show redundancy` with these states; None leaves the state out, an absent peer stays healthy."""
    said = healthy(number)[REDUNDANCY]
    assert isinstance(said, Redundancy)
    assert said.this is not None
    changed = replace(said, this=replace(said.this, state=own))
    return {REDUNDANCY: changed if peer is None else replace(changed, peer=Processor(state=peer))}


def chassis(number: int, own: str | None, other: str | None = None) -> dict[str, Chassis]:
    """The member's `show chassis rmi` with these roles; None leaves the own row out."""
    said = healthy(number)[CHASSIS]
    assert isinstance(said, Chassis)
    rows = tuple(
        replace(row, role=(own if row.is_local else other or row.role) or "")
        for row in said.members
        if own is not None or not row.is_local
    )
    return {CHASSIS: replace(said, members=rows)}


def judged(first: Answers | None = None, second: Answers | None = None) -> Answer:
    return RULE.judge(snapshot(first, second), policy())


TWO = {**healthy(2), **redundancy(2, "ACTIVE"), **chassis(2, "Active")}
NONE = {**healthy(1), **redundancy(1, "STANDBY HOT"), **chassis(1, "Standby")}
LIMITED = {**healthy(2), REDUNDANCY: REFUSED, CHASSIS: REFUSED}


def test_one_active_member_passes_with_both_members_lines() -> None:
    found = judged()
    assert found.status is Status.PASS
    assert found.statement == "quay-a alone is active, and quay-b is its standby."
    assert told(found.evidence) == {
        ("quay-a", REDUNDANCY): (11,),
        ("quay-a", CHASSIS): (5,),
        ("quay-b", REDUNDANCY): (11,),
        ("quay-b", CHASSIS): (6,),
    }


def test_the_second_listed_member_may_be_the_active_one() -> None:
    found = judged(healthy(2), healthy(1))
    assert found.status is Status.PASS
    assert found.statement == "quay-b alone is active, and quay-a is its standby."


def test_two_active_ones_block_and_the_remedy_forbids_everything_else() -> None:
    found = judged(second=TWO)
    assert found.status is Status.BLOCK
    assert found.statement.startswith("quay-a and quay-b both say that they are active; mend this before all else.")
    assert found.remedy.startswith("Do not proceed with anything on this pair")
    assert "the same addresses" in found.remedy
    assert "vendor" in found.remedy
    assert "drops clients" in found.remedy
    assert not RULE.waivable
    assert RULE.weight == "block"


@pytest.mark.parametrize("one_word", [redundancy(2, "ACTIVE"), chassis(2, "Active")])
def test_one_word_of_a_second_active_one_is_enough(one_word: Answers) -> None:
    second = {**healthy(2), **one_word}
    assert judged(second=second).status is Status.BLOCK
    assert bettered(RULE, healthy(1), second, policy()) == []


def test_none_active_blocks() -> None:
    found = judged(NONE)
    assert found.status is Status.BLOCK
    assert found.statement.startswith("neither quay-a nor quay-b is active: each is a standby")
    assert "switchover may be under way" in found.remedy


@pytest.mark.parametrize("state", ["standby cold-bulk", "STANDBY HOT", " Standby "])
def test_every_kind_of_standby_is_one(state: str) -> None:
    assert judged(second={**healthy(2), **redundancy(2, state)}).status is Status.PASS


def test_a_member_that_contradicts_itself_has_no_role() -> None:
    found = judged({**healthy(1), **redundancy(1, "STANDBY HOT")})
    assert found.status is Status.UNKNOWN
    assert (
        found.statement
        == "quay-a is STANDBY HOT by `show redundancy` on quay-a but Active by `show chassis rmi` on quay-a."
    )


def test_a_role_that_is_neither_is_unknown() -> None:
    found = judged(second={**healthy(2), **redundancy(2, "DISABLED"), **chassis(2, "Member")})
    assert found.status is Status.UNKNOWN
    assert "quay-b is DISABLED" in found.statement


@pytest.mark.parametrize("lost", [CUT_OFF, UNREADABLE, MISSING])
@pytest.mark.parametrize(("number", "command"), [(n, c) for n in (1, 2) for c in (REDUNDANCY, CHASSIS)])
def test_a_lost_answer_may_have_told_of_a_second_one(number: int, command: str, lost: Lost) -> None:
    answers = {**healthy(number), command: lost}
    found = judged(answers) if number == 1 else judged(None, answers)
    assert found.status is Status.UNKNOWN
    assert f"`{command}` on quay-{'ab'[number - 1]}" in found.statement


@pytest.mark.parametrize("silent", [redundancy(2, None), chassis(2, None), chassis(2, "")])
def test_a_silent_answer_is_missed(silent: Answers) -> None:
    found = judged(second={**healthy(2), **silent})
    assert found.status is Status.UNKNOWN
    assert "doesn't show it, so the role of quay-b by it isn't known" in found.statement


def test_a_member_that_refuses_one_of_the_two_commands_tells_by_the_other() -> None:
    assert judged(second={**healthy(2), REDUNDANCY: REFUSED}).status is Status.PASS
    assert judged(second={**healthy(2), CHASSIS: REFUSED}).status is Status.PASS
    assert judged(second={**TWO, REDUNDANCY: REFUSED}).status is Status.BLOCK
    assert judged(second={**healthy(2), CHASSIS: REFUSED, REDUNDANCY: CUT_OFF}).status is Status.UNKNOWN


@pytest.mark.parametrize("second", [LIMITED, unreached()])
def test_the_active_ones_word_stands_for_a_standby_that_tells_nothing(second: Answers) -> None:
    found = judged(second=second)
    assert found.status is Status.PASS
    assert "quay-a's word stands for quay-b, since quay-b" in found.statement
    peers = {**redundancy(1, "ACTIVE", "ACTIVE"), **chassis(1, "Active", "Active")}
    both = judged({**healthy(1), **peers}, second)
    assert both.status is Status.BLOCK
    assert "by the word of quay-a" in both.statement
    gone = judged({**healthy(1), **redundancy(1, "ACTIVE", "DISABLED")}, second)
    assert gone.status is Status.UNKNOWN


@pytest.mark.parametrize("command", [REDUNDANCY, CHASSIS])
def test_a_stand_in_whose_answer_was_lost_leaves_it_unknown(command: str) -> None:
    found = judged({**healthy(1), command: CUT_OFF}, LIMITED)
    assert found.status is Status.UNKNOWN
    silent = {**healthy(1), REDUNDANCY: replace(redundancy(1, "ACTIVE")[REDUNDANCY], peer=None)}
    assert judged(silent, LIMITED).status is Status.UNKNOWN


def test_nobody_stands_in_for_the_active_one() -> None:
    assert judged({**healthy(1), REDUNDANCY: REFUSED, CHASSIS: REFUSED}).status is Status.UNKNOWN
    assert judged(unreached(), unreached()).status is Status.UNKNOWN


@pytest.mark.parametrize(
    ("first", "second"), [(healthy(1), healthy(2)), (healthy(1), TWO), (NONE, healthy(2)), (healthy(1), LIMITED)]
)
def test_no_loss_makes_it_better(first: Answers, second: Answers) -> None:
    assert bettered(RULE, first, second, policy()) == []
