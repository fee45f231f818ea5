from __future__ import annotations

from typing import Any

import pytest

from collector.finding import Answer, Status
from collector.rules.upgrade_activity import RULE
from parsers.facts.upgrade import IssuState
from tests.collector.rules.building import (
    CUT_OFF,
    MISSING,
    REFUSED,
    UNREADABLE,
    Answers,
    Lost,
    changed,
    healthy,
    policy,
    snapshot,
    told,
    unreached,
)
from tests.collector.rules.losing import made_better

COMMAND = "show issu state detail"
AT = {"in_progress": (3,), "operation": (16,), "stage": (18,)}


def says(number: int, **fields: Any) -> Answers:
    """A member with this upgrade."""
    return changed(healthy(number), show_issu_state_detail=IssuState(at=AT, **fields))


def judged(first: Answers | None = None, second: Answers | None = None) -> Answer:
    return RULE.judge(snapshot(first, second), policy())


def test_nothing_in_progress_passes() -> None:
    found = judged()
    assert found.status is Status.PASS
    assert found.statement == "No in-service upgrade is in progress on quay-a and quay-b."
    assert told(found.evidence) == {("quay-a", COMMAND): (2,), ("quay-b", COMMAND): (2,)}


@pytest.mark.parametrize("number", [1, 2])
def test_an_upgrade_told_by_one_member_blocks(number: int) -> None:
    pair: list[Answers] = [healthy(1), healthy(2)]
    pair[number - 1] = says(number, in_progress=True, operation="Step-by-step ISSU", stage="Added state")
    found = judged(*pair)
    name = ("quay-a", "quay-b")[number - 1]
    assert found.status is Status.BLOCK
    assert "(operation Step-by-step ISSU, stage Added state)" in found.statement
    assert f"as {name} tells it" in found.statement
    assert told(found.evidence) == {(name, COMMAND): (3, 16, 18)}
    assert "don't abort what somebody is working on" in found.remedy


def test_an_upgrade_without_details_blocks_all_the_same() -> None:
    pair = [says(number, in_progress=True) for number in (1, 2)]
    assert judged(*pair).statement == "an in-service upgrade is in progress, as both tell it."


@pytest.mark.parametrize("number", [1, 2])
def test_a_system_check_that_says_no_is_a_caution_that_names_it(number: int) -> None:
    checks = {"Standby Online": "No", "SSO Mode": "NO", "Autoboot Enabled": "Yes", "Operational Mode": "HA-REMOTE"}
    at = {"in_progress": (3,), **{f"system_checks.{name}": (9 + n,) for n, name in enumerate(checks)}}
    pair: list[Answers] = [healthy(1), healthy(2)]
    state = IssuState(at=at, in_progress=False, system_checks=checks)
    pair[number - 1] = changed(healthy(number), show_issu_state_detail=state)
    found = judged(*pair)
    name = f"quay-{'ab'[number - 1]}"
    assert found.status is Status.CAUTION
    assert found.statement == f"{name}'s system check says Standby Online: No and SSO Mode: NO."
    assert told(found.evidence) == {(name, COMMAND): (9, 10)}
    assert "Look at that system check" in found.remedy


@pytest.mark.parametrize("word", ["Yes", "HA-LOCAL", "None", "Nominal", "-"])
def test_a_system_check_that_says_anything_else_counts_for_nothing(word: str) -> None:
    assert judged(says(1, in_progress=False, system_checks={"Standby Online": word})).status is Status.PASS


@pytest.mark.parametrize("number", [1, 2])
def test_silence_is_unknown(number: int) -> None:
    pair: list[Answers] = [healthy(1), healthy(2)]
    pair[number - 1] = says(number)
    found = judged(*pair)
    assert found.status is Status.UNKNOWN
    assert f"`{COMMAND}` on quay-{'ab'[number - 1]} doesn't say" in found.statement


def test_the_actives_word_stands_in_for_a_standby_that_refuses() -> None:
    found = judged(None, {**healthy(2), COMMAND: REFUSED})
    assert found.status is Status.PASS
    assert f"quay-a's word stands for both, since quay-b refused `{COMMAND}`" in found.statement
    assert judged(None, unreached()).status is Status.PASS


def test_an_upgrade_that_only_the_active_can_tell_blocks() -> None:
    assert judged(says(1, in_progress=True), unreached()).status is Status.BLOCK


@pytest.mark.parametrize("lost", [CUT_OFF, UNREADABLE, MISSING])
def test_what_was_lost_is_unknown_and_named(lost: Lost) -> None:
    found = judged(None, {**healthy(2), COMMAND: lost})
    assert found.status is Status.UNKNOWN
    assert f"`{COMMAND}` on quay-b can't be used: {lost.problem}" in found.statement
    assert found.evidence == ()
    assert found.remedy


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ({**healthy(1), COMMAND: REFUSED}, healthy(2)),
        (unreached(), healthy(2)),
        ({**healthy(1), COMMAND: REFUSED}, {**healthy(2), COMMAND: REFUSED}),
        ({**healthy(1), "show redundancy": MISSING, "show chassis rmi": MISSING}, unreached()),
    ],
)
def test_only_the_active_stands_in(first: Answers, second: Answers) -> None:
    assert judged(first, second).status is Status.UNKNOWN


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (healthy(1), healthy(2)),
        (healthy(1), says(2, in_progress=True)),
        (says(1, in_progress=True), healthy(2)),
        (says(1, in_progress=True), unreached()),
        (says(1, in_progress=True), {**healthy(2), COMMAND: REFUSED}),
        (healthy(1), says(2, stage="Added state")),
    ],
)
def test_no_loss_makes_it_better(first: Answers, second: Answers) -> None:
    assert made_better(RULE, first, second, policy()) == []
