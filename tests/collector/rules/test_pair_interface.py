from __future__ import annotations

from dataclasses import replace

import pytest

from collector.finding import Answer, Status
from collector.rules.pair_interface import RULE
from parsers.facts.software import RomVariables, Version
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

PHYSICAL, VIRTUAL, UNLISTED = "WX-9840", "WX-VC", "WX-1"


def says(number: int, model: str | None, interface: str | None) -> Answers:
    """A member of this model with this redundancy interface."""
    version = healthy(number)["show version"]
    assert isinstance(version, Version)
    variables = {"SWITCH_NUMBER": str(number)}
    if interface is not None:
        variables["CHASSIS_HA_IFNAME"] = interface
    at = {"variables": (1, 2), "variables.CHASSIS_HA_IFNAME": (2,)}
    return changed(
        healthy(number),
        show_version=replace(version, model=model),
        show_romvar=RomVariables(variables=variables, at=at),
    )


def judged(first: Answers, second: Answers) -> Answer:
    return RULE.judge(snapshot(first, second), policy())


def test_the_same_interface_on_both_passes() -> None:
    found = judged(says(1, VIRTUAL, "GigabitEthernet3"), says(2, VIRTUAL, "GigabitEthernet3 "))
    assert found.status is Status.PASS
    assert found.statement == "quay-a and quay-b both use GigabitEthernet3 as redundancy interface (CHASSIS_HA_IFNAME)."
    assert told(found.evidence) == {("quay-a", "show romvar"): (2,), ("quay-b", "show romvar"): (2,)}


@pytest.mark.parametrize(
    ("first", "second"),
    [(VIRTUAL, VIRTUAL), (VIRTUAL, None), (None, VIRTUAL), (UNLISTED, VIRTUAL), (None, None), (PHYSICAL, VIRTUAL)],
)
def test_interfaces_that_differ_block_unless_both_are_physical(first: str | None, second: str | None) -> None:
    found = judged(says(1, first, "GigabitEthernet2"), says(2, second, "GigabitEthernet3"))
    assert found.status is Status.BLOCK
    assert "CHASSIS_HA_IFNAME is GigabitEthernet2 on quay-a and GigabitEthernet3 on quay-b" in found.statement
    assert "Do not proceed" in found.remedy
    assert told(found.evidence)[("quay-b", "show romvar")] == (2,)


def test_two_physical_controllers_have_none() -> None:
    found = judged(says(1, PHYSICAL, None), says(2, "WX-9880", None))
    assert found.status is Status.NOT_APPLICABLE
    assert told(found.evidence) == {("quay-a", "show version"): (3,), ("quay-b", "show version"): (3,)}


@pytest.mark.parametrize(
    ("first", "second", "words"),
    [
        (PHYSICAL, None, "whether quay-b is a virtual controller isn't known"),
        (PHYSICAL, UNLISTED, "the policy doesn't list its model WX-1"),
        (PHYSICAL, VIRTUAL, "quay-a is a physical controller (WX-9840) but quay-b is a virtual controller (WX-VC)"),
        (VIRTUAL, None, "whether quay-b is a virtual controller isn't known"),
        (None, None, "whether quay-a is a virtual controller isn't known"),
    ],
)
def test_a_kind_that_is_not_known_is_never_taken_for_physical(
    first: str | None, second: str | None, words: str
) -> None:
    found = judged(says(1, first, "GigabitEthernet3"), says(2, second, "GigabitEthernet3"))
    assert found.status is Status.UNKNOWN
    assert words in found.statement


@pytest.mark.parametrize("interface", [None, "", " "])
def test_a_virtual_controller_without_the_variable_is_unknown(interface: str | None) -> None:
    found = judged(says(1, VIRTUAL, "GigabitEthernet3"), says(2, VIRTUAL, interface))
    assert found.status is Status.UNKNOWN
    assert "quay-b shows no CHASSIS_HA_IFNAME" in found.statement
    assert "isn't configured" in found.statement


@pytest.mark.parametrize("lost", [REFUSED, CUT_OFF, UNREADABLE, MISSING])
def test_nobody_can_tell_a_standbys_interface_for_it(lost: Lost) -> None:
    good = says(2, VIRTUAL, "GigabitEthernet3")
    found = judged(says(1, VIRTUAL, "GigabitEthernet3"), {**good, "show romvar": lost})
    assert found.status is Status.UNKNOWN
    assert "the redundancy interface of quay-b isn't known" in found.statement
    assert "`show romvar`" in found.statement


def test_a_physical_pair_with_an_unreachable_standby_is_unknown() -> None:
    assert judged(says(1, PHYSICAL, None), unreached()).status is Status.UNKNOWN


@pytest.mark.parametrize("models", [(VIRTUAL, VIRTUAL), (PHYSICAL, VIRTUAL), (None, VIRTUAL), (PHYSICAL, PHYSICAL)])
@pytest.mark.parametrize("interfaces", [("Gi2", "Gi3"), ("Gi3", "Gi3"), ("Gi3", None)])
def test_no_loss_makes_it_better(
    models: tuple[str | None, str | None], interfaces: tuple[str | None, str | None]
) -> None:
    first, second = (
        says(number, model, interface) for number, model, interface in zip((1, 2), models, interfaces, strict=True)
    )
    assert made_better(RULE, first, second, policy()) == []


def test_one_address_of_both_members_leaves_open_whose_answer_it_is() -> None:
    def at(number: int, address: str) -> Answers:
        variables = {"CHASSIS_HA_IFNAME": "GigabitEthernet3", "CHASSIS_HA_LOCAL_IP": address}
        return changed(says(number, VIRTUAL, None), show_romvar=RomVariables(variables=variables))

    assert judged(at(1, "198.51.100.1"), at(2, "198.51.100.2")).status is Status.PASS
    found = judged(at(1, "198.51.100.1"), at(2, "198.51.100.1"))
    assert found.status is Status.UNKNOWN
    assert "one of the answers isn't its own member's" in found.statement
