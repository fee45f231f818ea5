from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from collector.finding import Answer, Status
from collector.rules.pair_link import RULE
from parsers.facts.redundancy import Chassis, Processor, Redundancy
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


def redundancy(number: int, **changes: Any) -> Answers:
    """A member whose `show redundancy` says something else."""
    said = healthy(number)["show redundancy"]
    assert isinstance(said, Redundancy)
    return changed(healthy(number), show_redundancy=replace(said, **changes))


def rows(number: int, **changes: Any) -> Answers:
    """A member whose `show chassis rmi` says something else of the other one."""
    said = healthy(number)["show chassis rmi"]
    assert isinstance(said, Chassis)
    members = tuple(row if row.is_local else replace(row, **changes) for row in said.members)
    return changed(healthy(number), show_chassis_rmi=replace(said, members=members))


def judged(first: Answers | None = None, second: Answers | None = None) -> Answer:
    return RULE.judge(snapshot(first, second), policy())


DOWN: dict[str, Any] = {"communications": "down", "communications_reason": "Failure"}
TROUBLES: list[tuple[Answers, Answers, str]] = [
    (healthy(1), redundancy(2, **DOWN), "communications are Down (Reason: Failure), as quay-b tells it"),
    (redundancy(1, communications="down", peer=None), unreached(), "communications are Down, as quay-a tells it"),
    (redundancy(1, peer=Processor(state="DISABLED")), healthy(2), "quay-a doesn't see quay-b, which is DISABLED"),
    (healthy(1), redundancy(2, peer=Processor(state="UNAVAILABLE")), "quay-b doesn't see quay-a"),
    (rows(1, state="Removed", ip=None, rmi_ip=None), healthy(2), "which is Removed with no address"),
    (healthy(1), rows(2, rmi_ip="0.0.0.0"), "quay-b doesn't see chassis 1"),
    (rows(1, ip="0.0.0.0"), {**healthy(2), "show redundancy": MISSING}, "quay-a doesn't see chassis 2"),
]


def test_a_pair_that_sees_each_other_passes() -> None:
    found = judged()
    assert found.status is Status.PASS
    assert found.statement == "quay-a and quay-b see each other, and their communications are up."
    assert told(found.evidence)[("quay-b", "show redundancy")] == (8, 21)
    assert told(found.evidence)[("quay-b", "show chassis rmi")] == (5,)


@pytest.mark.parametrize(("first", "second", "words"), TROUBLES)
def test_one_witness_of_trouble_is_enough(first: Answers, second: Answers, words: str) -> None:
    found = judged(first, second)
    assert found.status is Status.BLOCK
    assert words in found.statement
    assert found.evidence
    assert "drop clients" in found.remedy


@pytest.mark.parametrize("state", ["STANDBY HOT", "STANDBY COLD", "standby hot"])
def test_a_standby_is_seen_whatever_its_temperature(state: str) -> None:
    assert judged(redundancy(1, peer=Processor(state=state))).status is Status.PASS


@pytest.mark.parametrize("lost", [REFUSED, CUT_OFF, UNREADABLE, MISSING])
@pytest.mark.parametrize("number", [1, 2])
def test_each_member_has_to_tell_it_itself(number: int, lost: Lost) -> None:
    pair = [healthy(1), healthy(2)]
    pair[number - 1]["show redundancy"] = lost
    found = judged(*pair)
    assert found.status is Status.UNKNOWN
    assert "`show redundancy`" in found.statement
    assert f"quay-{'ab'[number - 1]}" in found.statement


def test_a_standby_that_cannot_be_reached_tells_nothing() -> None:
    assert judged(None, unreached()).status is Status.UNKNOWN


@pytest.mark.parametrize("lost", [CUT_OFF, UNREADABLE, MISSING])
def test_a_lost_table_of_chassis_is_unknown(lost: Lost) -> None:
    assert judged(None, {**healthy(2), "show chassis rmi": lost}).status is Status.UNKNOWN


def test_a_table_of_chassis_that_the_standby_refuses_is_told_by_the_active() -> None:
    found = judged(None, {**healthy(2), "show chassis rmi": REFUSED})
    assert found.status is Status.PASS
    assert "quay-a's word stands for both, since quay-b refused `show chassis rmi`" in found.statement


@pytest.mark.parametrize(
    "second",
    [
        redundancy(2, communications=None),
        redundancy(2, peer=None),
        redundancy(2, peer=Processor(state=None)),
        rows(2, rmi_ip=None),
        rows(2, ip=None),
        rows(2, ip=None, rmi_ip=None),
        rows(2, is_local=True),
    ],
)
def test_what_is_not_told_is_unknown(second: Answers) -> None:
    assert judged(None, second).status is Status.UNKNOWN


def test_a_pair_without_the_management_interface_link_has_no_such_address() -> None:
    pair = []
    for number in (1, 2):
        said = healthy(number)["show chassis rmi"]
        assert isinstance(said, Chassis)
        members = tuple(replace(row, rmi_ip=None) for row in said.members)
        pair.append(changed(healthy(number), show_chassis_rmi=replace(said, members=members)))
    assert judged(*pair).status is Status.PASS


@pytest.mark.parametrize(
    ("first", "second"),
    [*((a, b) for a, b, _ in TROUBLES), (healthy(1), healthy(2)), (healthy(1), unreached())],
)
def test_no_loss_makes_it_better(first: Answers, second: Answers) -> None:
    assert made_better(RULE, first, second, policy()) == []
