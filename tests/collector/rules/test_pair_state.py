from __future__ import annotations

from typing import Any

import pytest

from collector.finding import Answer, Status
from collector.rules.pair_state import RULE
from parsers.facts.core import Facts
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

COMMANDS = ("show redundancy", "show chassis rmi")


def redundancy(number: int, **changes: Any) -> Answers:
    """A member whose `show redundancy` says something else."""
    said = healthy(number)["show redundancy"]
    assert isinstance(said, Redundancy)
    return changed(healthy(number), show_redundancy=_with(said, **changes))


def rows(number: int, of: int, **changes: Any) -> Answers:
    """A member whose `show chassis rmi` says something else of one chassis."""
    said = healthy(number)["show chassis rmi"]
    assert isinstance(said, Chassis)
    members = tuple(_with(row, **changes) if row.number == of else row for row in said.members)
    return changed(healthy(number), show_chassis_rmi=_with(said, members=members))


def _with(item: Any, **changes: Any) -> Any:
    return type(item)(**{**item.__dict__, **changes})


def state(words: str | None) -> Processor:
    return Processor(location="slot 2", state=words)


def judged(first: Answers | None = None, second: Answers | None = None) -> Answer:
    return RULE.judge(snapshot(first, second), policy())


TROUBLES: list[tuple[Answers, Answers, str]] = [
    (healthy(1), redundancy(2, this=state("STANDBY COLD")), "quay-b is STANDBY COLD, "),
    (healthy(1), redundancy(2, this=state("STANDBY COLD-BULK")), "quay-b is STANDBY COLD-BULK, "),
    (redundancy(1, peer=state("STANDBY COLD")), healthy(2), "as quay-a tells it"),
    (redundancy(1, peer=state("DISABLED")), unreached(), "quay-b is DISABLED, "),
    (redundancy(1, hardware_mode="Simplex"), healthy(2), "hardware mode is Simplex"),
    (redundancy(1, peer=None, hardware_mode="Simplex"), unreached(), "hardware mode is Simplex"),
    (healthy(1), redundancy(2, operating_mode="rpr"), "the operating redundancy mode is rpr, not SSO, as quay-b"),
    (redundancy(1, operating_mode="Non-redundant"), healthy(2), "mode is Non-redundant"),
    (redundancy(1, configured_mode="RPR plus"), healthy(2), "the configured redundancy mode is RPR plus"),
    (healthy(1), redundancy(2, this=state("ACTIVE")), "quay-a and quay-b both say that they are active"),
    (rows(1, 2, role="Active"), healthy(2), "it isn't agreed who is active: quay-b is"),
    (redundancy(1, peer=state("ACTIVE")), unreached(), "it isn't agreed who is active"),
    (rows(1, 2, state="Removed", role="Member"), healthy(2), "chassis 2 is Removed, not Ready"),
    (healthy(1), rows(2, 1, state="HA sync in progress"), "chassis 1 is HA sync in progress"),
    (rows(1, 2, role="Member"), healthy(2), "chassis 2 has the role Member"),
]


def test_one_active_and_one_hot_standby_pass() -> None:
    found = judged()
    assert found.status is Status.PASS
    assert found.statement.startswith("quay-a is ACTIVE and quay-b is STANDBY HOT, both chassis are Ready")
    assert "stands for" not in found.statement
    assert told(found.evidence) == {
        ("quay-a", "show redundancy"): (5, 6, 7, 11, 21),
        ("quay-b", "show redundancy"): (5, 6, 7, 11, 21),
        ("quay-a", "show chassis rmi"): (5, 6),
        ("quay-b", "show chassis rmi"): (5, 6),
    }


def test_who_is_active_is_what_the_controllers_say() -> None:
    found = judged(healthy(2), healthy(1))
    assert found.status is Status.PASS
    assert found.statement.startswith("quay-b is ACTIVE and quay-a is STANDBY HOT")


@pytest.mark.parametrize(
    "mode", ["sso", "SSO", "Stateful Switchover", "Stateful Switchover (SSO)", "stateful  switchover"]
)
def test_a_mode_may_be_spelled_out(mode: str) -> None:
    assert judged(redundancy(1, operating_mode=mode, configured_mode=mode)).status is Status.PASS


@pytest.mark.parametrize("mode", ["rpr", "Non-redundant", "RPR plus", "rpr-plus", "not sso", "stateful"])
def test_any_other_mode_blocks(mode: str) -> None:
    assert judged(redundancy(1, operating_mode=mode)).status is Status.BLOCK


@pytest.mark.parametrize(("first", "second", "words"), TROUBLES)
def test_one_witness_of_trouble_is_enough(first: Answers, second: Answers, words: str) -> None:
    found = judged(first, second)
    assert found.status is Status.BLOCK
    assert words in found.statement
    assert found.evidence
    assert "drop clients" in found.remedy
    assert "the people who run the ward" in found.remedy


def test_two_active_controllers_come_first() -> None:
    found = judged(redundancy(1, peer=state("DISABLED")), healthy(1))
    assert found.statement.startswith("quay-a and quay-b both say that they are active, which comes before anything")
    assert found.remedy.startswith("Mend this first")


def alike(role: str, words: str) -> Answers:
    """A member that gives both controllers one role."""
    table = rows(1, 2, role=role)["show chassis rmi"]
    assert isinstance(table, Chassis)
    members = tuple(_with(row, role=role) for row in table.members)
    both = redundancy(1, this=state(words), peer=state(words))
    return {**both, "show chassis rmi": Chassis(members=members)}


def test_no_active_controller_blocks() -> None:
    found = judged(alike("Standby", "STANDBY HOT"), alike("Standby", "STANDBY HOT"))
    assert found.status is Status.BLOCK
    assert found.statement == "neither quay-a nor quay-b is active."


def test_two_active_controllers_by_the_word_of_one_block() -> None:
    found = judged(alike("Active", "ACTIVE"), unreached())
    assert found.status is Status.BLOCK
    assert found.statement.startswith("quay-a and quay-b are both active")


def test_a_survivor_that_calls_itself_standby_does_not_stand_in() -> None:
    assert judged(healthy(2), unreached()).status is Status.UNKNOWN


def test_a_role_that_nobody_tells_is_named() -> None:
    table = rows(1, 2, role="Member", state="Removed")
    found = judged(
        {**redundancy(1, peer=state("DISABLED")), "show chassis rmi": table["show chassis rmi"]}, unreached()
    )
    assert found.status is Status.BLOCK
    assert "the role of quay-b isn't known" in found.statement


@pytest.mark.parametrize("command", COMMANDS)
def test_the_actives_word_stands_in_for_a_standby_that_refuses(command: str) -> None:
    found = judged(None, {**healthy(2), command: REFUSED})
    assert found.status is Status.PASS
    assert f"quay-a's word stands for both, since quay-b refused `{command}`" in found.statement


def test_the_actives_word_stands_in_for_a_standby_that_cannot_be_reached() -> None:
    found = judged(None, unreached())
    assert found.status is Status.PASS
    assert "since quay-b gave no answer" in found.statement


@pytest.mark.parametrize("lost", [REFUSED, CUT_OFF, UNREADABLE, MISSING])
@pytest.mark.parametrize("command", COMMANDS)
def test_a_standbys_word_does_not_stand_in_for_the_active(command: str, lost: Lost) -> None:
    assert judged({**healthy(1), command: lost}).status is Status.UNKNOWN


@pytest.mark.parametrize("lost", [CUT_OFF, UNREADABLE, MISSING])
@pytest.mark.parametrize("command", COMMANDS)
def test_what_was_lost_is_unknown_and_named(command: str, lost: Lost) -> None:
    found = judged(None, {**healthy(2), command: lost})
    assert found.status is Status.UNKNOWN
    assert f"`{command}` on quay-b can't be used: {lost.problem}" in found.statement


def chassis(**changes: Any) -> dict[str, Facts | Lost]:
    said = healthy(2)["show chassis rmi"]
    assert isinstance(said, Chassis)
    return changed(healthy(2), show_chassis_rmi=Chassis(members=said.members[: changes.pop("count")]))


@pytest.mark.parametrize(
    ("second", "words"),
    [
        (redundancy(2, operating_mode=None), "`show redundancy` on quay-b doesn't show the operating redundancy mode"),
        (redundancy(2, hardware_mode=None), "doesn't show the hardware mode"),
        (redundancy(2, this=None), "`show redundancy` on quay-b doesn't show the state of quay-b"),
        (redundancy(2, peer=None), "`show redundancy` on quay-b doesn't show the state of quay-a"),
        (redundancy(2, peer=state(None)), "`show redundancy` on quay-b doesn't show the state of quay-a"),
        (chassis(count=1), "`show chassis rmi` on quay-b shows 1 of the two chassis"),
        (rows(2, 2, is_local=False), "doesn't show which chassis is its own"),
        (rows(2, 2, state=""), "the state of chassis 2 isn't shown"),
    ],
)
def test_what_is_not_told_is_unknown(second: Answers, words: str) -> None:
    found = judged(None, second)
    assert found.status is Status.UNKNOWN
    assert words in found.statement


@pytest.mark.parametrize(
    ("first", "second"),
    [*((a, b) for a, b, _ in TROUBLES), (healthy(1), healthy(2)), (healthy(1), unreached()), (healthy(2), unreached())],
)
def test_no_loss_makes_it_better(first: Answers, second: Answers) -> None:
    assert made_better(RULE, first, second, policy()) == []
