"""Whom two addresses lead to: the same controller, or one of another pair."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from collector.finding import Status
from collector.rules import mutual_view, one_active, pair_state
from collector.rules.identity import same_controller, strangers
from parsers.facts.redundancy import Chassis
from parsers.facts.software import Version
from tests.collector.rules.building import MISSING, REFUSED, Answers, healthy, policy, snapshot

VERSION, CHASSIS = "show version", "show chassis rmi"


def of(number: int, serial: str | None = None, **answers: Any) -> dict[str, Any]:
    """A healthy member's answers with a serial number, and others in place of some."""
    said: dict[str, Any] = dict(healthy(number))
    version = said[VERSION]
    assert isinstance(version, Version)
    said[VERSION] = replace(version, serial=serial, at={**version.at, "serial": (1,)})
    return {**said, **answers}


def with_macs(number: int, own: str, partner: str) -> Answers:
    """A healthy member that shows these addresses for its own chassis and its partner's."""
    said = healthy(number)
    table = said[CHASSIS]
    assert isinstance(table, Chassis)
    rows = tuple(replace(row, mac=own if row.is_local else partner) for row in table.members)
    return {**said, CHASSIS: replace(table, members=rows)}


@pytest.mark.parametrize("judge", [one_active.judge, pair_state.judge, mutual_view.judge])
@pytest.mark.parametrize("number", [1, 2])
def test_one_controller_by_two_addresses_is_told_in_place_of_all_that_follows_from_it(judge: Any, number: int) -> None:
    found = judge(snapshot(of(number, "WXS1"), of(number, "WXS1")), policy())
    assert found.status is Status.BLOCK
    assert found.statement.startswith("both addresses lead to the same controller: quay-a and quay-b show one and the ")
    assert "serial number WXS1 and chassis 0200.5e00.530" in found.statement
    assert found.remedy.startswith("Find out what each of the addresses of quay-a and quay-b in the inventory leads to")
    # Nothing on a controller is to be touched for it.
    assert found.replan
    assert {(item.member, item.command) for item in found.evidence} == {
        (member, command) for member in ("quay-a", "quay-b") for command in (VERSION, CHASSIS)
    }


@pytest.mark.parametrize("lost", [REFUSED, MISSING])
def test_the_serial_number_alone_will_do(lost: Any) -> None:
    found = same_controller(snapshot(of(1, "WXS1", **{CHASSIS: lost}), of(1, "WXS1")))
    assert found is not None
    assert "one and the same serial number WXS1, so" in found.clause


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (of(1, "WXS1"), of(2, "WXS2")),
        (of(1, "WXS1"), of(1, "WXS2")),
        (of(1, None), of(1, None)),
        (of(1, ""), of(1, "")),
        # Two copies of one virtual machine: two active controllers, not one.
        (of(1, "WXS1"), of(2, "WXS1")),
    ],
)
def test_two_controllers_are_never_taken_for_one(first: Answers, second: Answers) -> None:
    assert same_controller(snapshot(first, second)) is None


def test_members_of_two_pairs_are_told() -> None:
    found = snapshot(with_macs(1, "0200.0000.0001", "0200.0000.0002"), with_macs(2, "0200.0000.0009", "0200.0000.0008"))
    answer = mutual_view.judge(found, policy())
    assert answer.status is Status.BLOCK
    assert answer.statement == (
        "quay-a and quay-b aren't partners: quay-a's partner is the chassis 0200.0000.0002, not 0200.0000.0009, and "
        "quay-b's partner is the chassis 0200.0000.0008, not 0200.0000.0001, so an address may lead to a controller of "
        "another pair."
    )
    assert not answer.replan
    assert len(answer.evidence) == 2


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (healthy(1), healthy(2)),
        (with_macs(1, "0200.0000.0001", "0000.0000.0000"), with_macs(2, "0200.0000.0002", "0000.0000.0000")),
        (with_macs(1, "0200.0000.0001", "0200.0000.0009"), with_macs(2, "0200.0000.0002", "02:00:00:00:00:01")),
        ({**healthy(1), CHASSIS: MISSING}, with_macs(2, "0200.0000.0009", "0200.0000.0008")),
    ],
)
def test_who_may_be_partners_are_no_strangers(first: Answers, second: Answers) -> None:
    assert strangers(snapshot(first, second)) is None


def test_one_serial_number_on_two_chassis_leaves_open_whose_answer_it_is() -> None:
    found = mutual_view.judge(snapshot(of(1, "WXS1"), of(2, "WXS1")), policy())
    assert found.status is Status.UNKNOWN
    assert "one answer to `show version` isn't its own member's" in found.statement
    assert VERSION in {item.command for item in found.evidence}
    assert mutual_view.judge(snapshot(of(1, "WXS1"), of(2, "WXS2")), policy()).status is Status.PASS
