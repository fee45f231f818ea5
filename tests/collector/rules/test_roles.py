from __future__ import annotations

from dataclasses import replace

import pytest

from collector.rules.roles import claims, role, with_role
from parsers.facts.redundancy import Chassis, Redundancy
from tests.collector.rules.building import MISSING, Answers, changed, healthy, snapshot, told, unreached


def silent(number: int) -> Answers:
    return changed(healthy(number), show_redundancy=MISSING, show_chassis_rmi=MISSING)


def says(number: int, state: str) -> Answers:
    """A member whose `show redundancy` says this of itself."""
    answers = healthy(number)
    redundancy = answers["show redundancy"]
    assert isinstance(redundancy, Redundancy)
    assert redundancy.this is not None
    return changed(answers, show_redundancy=replace(redundancy, this=replace(redundancy.this, state=state)))


@pytest.mark.parametrize("active", [1, 2])
def test_the_controllers_say_who_is_active_whatever_the_inventorys_order(active: int) -> None:
    pair = snapshot(healthy(active), healthy(3 - active))
    roles = [role(pair, member) for member in pair.members]
    assert roles == (["active", "standby"] if active == 1 else ["standby", "active"])
    assert with_role(pair, "active") is pair.members[active - 1]


def test_a_silent_member_has_the_role_that_its_partner_leaves() -> None:
    pair = snapshot(healthy(1), unreached())
    assert role(pair, pair.members[1]) == "standby"
    pair = snapshot(silent(1), healthy(2))
    assert role(pair, pair.members[0]) == "active"


def test_one_of_two_outputs_is_enough() -> None:
    for lost in ("show_redundancy", "show_chassis_rmi"):
        pair = snapshot(changed(healthy(1), **{lost: MISSING}), silent(2))
        assert role(pair, pair.members[0]) == "active"


def test_nobodys_role_is_known_where_nobody_tells_or_both_claim_the_same() -> None:
    for first, second in ((silent(1), silent(2)), (healthy(1), healthy(1)), (healthy(2), healthy(2))):
        pair = snapshot(first, second)
        assert [role(pair, member) for member in pair.members] == [None, None]


def test_a_member_that_contradicts_itself_leaves_both_roles_unknown() -> None:
    pair = snapshot(says(1, "STANDBY COLD"), silent(2))
    assert set(claims(pair.members[0])) == {"active", "standby"}
    assert [role(pair, member) for member in pair.members] == [None, None]


def test_a_state_that_is_neither_claims_nothing() -> None:
    answers = changed(says(1, "DISABLED"), show_chassis_rmi=Chassis(members=()))
    assert claims(snapshot(answers).members[0]) == {}


def test_claims_show_the_lines_that_make_them() -> None:
    found = claims(snapshot().members[1])
    assert told(found["standby"]) == {("quay-b", "show redundancy"): (11,), ("quay-b", "show chassis rmi"): (6,)}
