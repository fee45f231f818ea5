from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from collector.finding import Answer, Status
from collector.rules.ap_joined import RULE
from parsers.facts.access_points import AccessPoint, ApSummary
from parsers.facts.joining import JoinRecord, JoinSummary
from parsers.facts.redundancy import Chassis, Redundancy
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

SUMMARY, JOINS = "show ap summary", "show wireless stats ap join summary"


def judged(first: Answers | None = None, second: Answers | None = None) -> Answer:
    return RULE.judge(snapshot(first, second), policy())


def summary(place: int = 1, **values: Any) -> ApSummary:
    """The healthy table with values of one row replaced."""
    facts = healthy(1)[SUMMARY]
    assert isinstance(facts, ApSummary)
    aps = tuple(replace(ap, **values) if n == place else ap for n, ap in enumerate(facts.aps))
    return replace(facts, aps=aps)


def joins(place: int = 1, **values: Any) -> JoinSummary:
    """The healthy join summary with values of one row replaced."""
    facts = healthy(1)[JOINS]
    assert isinstance(facts, JoinSummary)
    aps = tuple(replace(ap, **values) if n == place else ap for n, ap in enumerate(facts.aps))
    return replace(facts, aps=aps)


AWAY: dict[str, Any] = {
    "status": "Not Joined",
    "last_failure_phase": "Join",
    "last_disconnect_reason": "Heart beat timer expiry",
}


def test_all_registered_passes_and_shows_the_counts_only() -> None:
    found = judged()
    assert found.status is Status.PASS
    assert found.statement == "3 access points known to quay-a, all registered."
    assert told(found.evidence) == {("quay-a", SUMMARY): (1,), ("quay-a", JOINS): (1,)}


def test_what_is_not_registered_is_listed_with_its_last_failure() -> None:
    found = judged({**healthy(1), SUMMARY: summary(state="Downloading"), JOINS: joins(**AWAY)})
    assert found.status is Status.BLOCK
    assert found.statement == (
        "1 access point in quay-a's table not registered: quay-hall-02 (Downloading, last failure: Join, last "
        "disconnect: Heart beat timer expiry); 1 access point in quay-a's join summary not joined now: quay-hall-02 "
        "(Not Joined, last failure: Join, last disconnect: Heart beat timer expiry)."
    )
    assert told(found.evidence) == {("quay-a", SUMMARY): (6,), ("quay-a", JOINS): (6,)}
    assert "people who run the ward" in found.remedy


@pytest.mark.parametrize(
    "answers", [{SUMMARY: summary(state="Registering")}, {JOINS: joins(**AWAY)}, {JOINS: joins(status="NA")}]
)
def test_either_table_tells_of_trouble(answers: dict[str, Any]) -> None:
    assert judged({**healthy(1), **answers}).status is Status.BLOCK


def test_one_that_joined_and_is_not_in_the_list_is_not_registered() -> None:
    facts = summary()
    found = judged({**healthy(1), SUMMARY: replace(facts, count=2, aps=facts.aps[:2])})
    assert found.status is Status.BLOCK
    assert "quay-hall-03 (not in the list of access points)" in found.statement


def test_a_row_is_recognised_by_any_of_its_marks_in_any_spelling() -> None:
    spelt = joins(name="NA", ethernet_mac="02:00:5E:10:00:02", base_mac="unknown")
    assert judged({**healthy(1), JOINS: spelt}).status is Status.PASS
    strange = joins(name="NA", ethernet_mac="0000.0000.0000", base_mac="0200.5e80.0fff")
    found = judged({**healthy(1), JOINS: strange})
    assert found.status is Status.BLOCK
    assert "0200.5e80.0fff (not in the list" in found.statement


@pytest.mark.parametrize(
    ("row", "record"),
    [
        ({"ethernet_mac": "0000.0000.0000"}, {"ethernet_mac": "0000.0000.0000"}),
        ({"ethernet_mac": "0200.5e80.0fff"}, {"base_mac": "0200.5e80.0fff"}),
    ],
    ids=["zeros", "another kind"],
)
def test_an_address_of_zeros_or_of_another_kind_makes_no_two_rows_one(
    row: dict[str, Any], record: dict[str, Any]
) -> None:
    gone = {"name": "gone", "base_mac": "0200.5e80.0eee", "ethernet_mac": None, **record}
    assert judged({**healthy(1), SUMMARY: summary(**row), JOINS: joins(**gone)}).status is Status.BLOCK


def test_no_access_points_at_all_pass_where_both_tables_say_so() -> None:
    none = {SUMMARY: ApSummary(count=0), JOINS: JoinSummary(count=0)}
    found = judged({**healthy(1), **none})
    assert (found.status, found.statement) == (Status.PASS, "quay-a knows of no access points.")
    assert judged({**healthy(1), **none, SUMMARY: ApSummary()}).status is Status.UNKNOWN
    assert judged({**healthy(1), **none, JOINS: JoinSummary()}).status is Status.UNKNOWN


def test_of_many_ten_are_named_and_twenty_shown() -> None:
    aps = tuple(AccessPoint(name=f"ap-{n}", radio_mac=f"0200.5e80.{n:04x}", state="Down", at=n + 1) for n in range(57))
    found = judged({**healthy(1), SUMMARY: ApSummary(count=57, aps=aps), JOINS: JoinSummary(count=0)})
    assert "57 access points in quay-a's table not registered: ap-0 (Down), " in found.statement
    assert found.statement.endswith("ap-9 (Down) and 47 more.")
    assert len(told(found.evidence)["quay-a", SUMMARY]) == 20


@pytest.mark.parametrize("lost", [CUT_OFF, MISSING, UNREADABLE, REFUSED])
@pytest.mark.parametrize("command", [SUMMARY, JOINS])
def test_both_tables_of_the_active_one_are_needed(command: str, lost: Lost) -> None:
    found = judged({**healthy(1), command: lost})
    assert found.status is Status.UNKNOWN
    assert found.remedy


def test_without_one_table_trouble_in_the_other_still_tells() -> None:
    assert judged({**healthy(1), SUMMARY: CUT_OFF, JOINS: joins(**AWAY)}).status is Status.BLOCK
    assert judged({**healthy(1), JOINS: CUT_OFF, SUMMARY: summary(state="Down")}).status is Status.BLOCK


@pytest.mark.parametrize("answers", [{SUMMARY: summary(state=None)}, {JOINS: joins(status=None)}])
def test_a_state_that_is_not_shown_is_unknown(answers: dict[str, Any]) -> None:
    found = judged({**healthy(1), **answers})
    assert found.status is Status.UNKNOWN
    assert "quay-hall-02" in found.statement


@pytest.mark.parametrize(
    "answers", [{SUMMARY: replace(summary(), count=4)}, {JOINS: replace(joins(), count=4)}], ids=["list", "joins"]
)
def test_fewer_rows_than_the_controller_counts_are_unknown(answers: dict[str, Any]) -> None:
    found = judged({**healthy(1), **answers})
    assert found.status is Status.UNKNOWN
    assert "counts 4 access points and lists 3" in found.statement


@pytest.mark.parametrize("second", [healthy(2), unreached()], ids=["refuses", "unreached"])
def test_a_standby_that_tells_nothing_costs_nothing(second: Answers) -> None:
    assert judged(second=second).status is Status.PASS


@pytest.mark.parametrize("copy", [summary(), ApSummary(count=0), summary(state="Down")])
def test_a_standbys_own_tables_are_not_heard(copy: ApSummary) -> None:
    second = {**healthy(2), SUMMARY: copy, JOINS: JoinSummary(count=0)}
    assert judged(second=second).status is Status.PASS
    assert judged({**healthy(1), SUMMARY: summary(state="Down")}, second).status is Status.BLOCK
    assert judged({**healthy(1), SUMMARY: CUT_OFF}, second).status is Status.UNKNOWN


def test_the_second_listed_member_may_be_the_active_one() -> None:
    found = judged(healthy(2), {**healthy(1), JOINS: joins(**AWAY)})
    assert found.status is Status.BLOCK
    assert "quay-b's join summary" in found.statement


@pytest.mark.parametrize("number", [1, 2])
@pytest.mark.parametrize("command", ["show redundancy", "show chassis rmi"])
def test_where_it_is_not_certain_who_is_active_it_is_unknown(number: int, command: str) -> None:
    """A lost answer could have contradicted the others about the roles."""
    pair = [healthy(1), healthy(2)]
    pair[number - 1][command] = CUT_OFF
    found = judged(*pair)
    assert found.status is Status.UNKNOWN
    assert "it isn't certain which member is active" in found.statement


def test_with_two_active_ones_the_trouble_of_both_is_heard() -> None:
    assert judged(healthy(1), healthy(1)).status is Status.UNKNOWN
    assert judged(healthy(1), {**healthy(1), JOINS: joins(**AWAY)}).status is Status.BLOCK
    silent = {**healthy(2), "show redundancy": Redundancy(), "show chassis rmi": Chassis()}
    assert judged(second=silent).status is Status.UNKNOWN


TROUBLES: list[tuple[Answers, Answers]] = [
    (healthy(1), healthy(2)),
    (healthy(1), healthy(1)),
    ({**healthy(1), SUMMARY: summary(state="Down")}, healthy(2)),
    ({**healthy(1), JOINS: joins(**AWAY)}, healthy(2)),
    ({**healthy(1), SUMMARY: summary(state=None)}, healthy(2)),
    ({**healthy(1), SUMMARY: ApSummary(count=0), JOINS: JoinSummary(count=0)}, healthy(2)),
]


@pytest.mark.parametrize(("first", "second"), TROUBLES)
def test_no_loss_makes_it_better(first: Answers, second: Answers) -> None:
    assert bettered(RULE, first, second, policy()) == []


def test_thousands_are_judged_with_each_row_looked_at_once() -> None:
    """The cost is counted in rows looked at, since seconds depend on the machine."""
    seen = 0

    class Counted(JoinRecord):
        def __getattribute__(self, name: str) -> Any:
            nonlocal seen
            seen += name == "status"
            return super().__getattribute__(name)

    number = 6_000
    macs = [f"02005e{n:06x}" for n in range(number)]
    aps = tuple(AccessPoint(name=f"ap-{n}", radio_mac=mac, state="Registered", at=n) for n, mac in enumerate(macs))
    records = tuple(Counted(base_mac=mac, name=f"ap-{n}", status="Joined", at=n) for n, mac in enumerate(macs))
    answers = {SUMMARY: ApSummary(count=number, aps=aps), JOINS: JoinSummary(count=number, aps=records)}
    assert judged({**healthy(1), **answers}).status is Status.PASS
    assert seen <= 4 * number
