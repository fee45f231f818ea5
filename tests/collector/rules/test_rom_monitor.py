from __future__ import annotations

import pytest

from collector.finding import Status
from collector.rules.rom_monitor import RULE
from parsers.facts.redundancy import Chassis, Redundancy
from parsers.facts.software import RomMonitorVersion, Version
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

ACTIVE, STANDBY = (f"show rom-monitor chassis {role} R0" for role in ("active", "standby"))
NOBODY = {"show_redundancy": Redundancy(), "show_chassis_rmi": Chassis()}


def version(text: str | None) -> RomMonitorVersion:
    return RomMonitorVersion(version=text, at={"version": (1,)} if text else {})


def has(number: int, active: str | None, standby: str | None) -> Answers:
    """A healthy member that tells these versions of the active and the standby chassis."""
    return {**healthy(number), ACTIVE: version(active), STANDBY: version(standby)}


def model(answers: Answers, name: str | None) -> Answers:
    return changed(answers, show_version=Version(model=name, at={"model": (3,)}))


def judged(first: Answers | None = None, second: Answers | None = None) -> tuple[Status, str]:
    found = RULE.judge(snapshot(first, second), policy())
    return found.status, found.statement


@pytest.mark.parametrize("text", ["16.12(3r)", "17.12.1r", "16.12(4r)"])
def test_the_minimum_and_above_pass(text: str) -> None:
    found = RULE.judge(snapshot(has(1, text, text), has(2, text, text)), policy())
    assert found.status is Status.PASS
    assert text in found.statement
    assert set(told(found.evidence)) == {(m, c) for m in ("quay-a", "quay-b") for c in (ACTIVE, STANDBY)}


def test_below_the_minimum_on_the_standby_alone_blocks() -> None:
    status, said = judged(has(1, "16.12(4r)", "16.12(2r)"), has(2, "16.12(4r)", "16.12(2r)"))
    assert status is Status.BLOCK
    assert said.startswith("quay-b has ROM monitor 16.12(2r), below the minimum 16.12(3r)")
    assert "quay-a has ROM monitor" not in said


def test_versions_belong_to_the_roles_not_to_the_inventorys_order() -> None:
    status, said = judged(has(2, "16.12(4r)", "16.12(2r)"), has(1, "16.12(4r)", "16.12(2r)"))
    assert status is Status.BLOCK
    assert said.startswith("quay-a has ROM monitor 16.12(2r)")


def test_versions_that_differ_are_a_caution() -> None:
    status, said = judged(has(1, "17.12.1r", "16.12(4r)"), has(2, "17.12.1r", "16.12(4r)"))
    assert status is Status.CAUTION
    assert said == "the ROM monitors differ: quay-a has 17.12.1r, quay-b has 16.12(4r)."


@pytest.mark.parametrize("number", [1, 2])
def test_one_sessions_word_is_enough_to_block(number: int) -> None:
    telling = has(number, "17.12.1r", "16.12(2r)")
    status, said = judged(telling) if number == 1 else judged(None, telling)
    assert status is Status.BLOCK
    assert "quay-b has ROM monitor 16.12(2r)" in said


def test_virtual_controllers_have_none_that_matters() -> None:
    first, second = (
        model(has(1, None, None), "WX-VC"),
        model({**healthy(2), ACTIVE: REFUSED, STANDBY: REFUSED}, "WX-VC"),
    )
    assert judged(first, second)[0] is Status.NOT_APPLICABLE
    assert judged(model(healthy(1), "WX-VC"), healthy(2))[0] is Status.PASS


def test_without_a_minimum_only_the_difference_counts() -> None:
    old = [model(has(number, "12.2(1r)", "12.2(1r)"), "WX-9880") for number in (1, 2)]
    assert judged(*old)[0] is Status.PASS
    unlike = [model(has(number, "12.2(1r)", "12.2(2r)"), "WX-9880") for number in (1, 2)]
    assert judged(*unlike)[0] is Status.CAUTION


@pytest.mark.parametrize("name", [None, "WX-1"])
def test_without_a_known_model_there_is_no_minimum(name: str | None) -> None:
    status, said = judged(second=model(healthy(2), name))
    assert status is Status.UNKNOWN
    assert "quay-b's model" in said


def test_the_partners_model_does_not_stand_in() -> None:
    status, said = judged(second=unreached())
    assert status is Status.UNKNOWN
    assert "quay-b's model isn't known" in said


def test_the_active_ones_session_is_enough_where_the_standby_refuses_wherever_it_is_listed() -> None:
    refusing = {**healthy(2), ACTIVE: REFUSED, STANDBY: REFUSED}
    for first, second in ((healthy(1), refusing), (refusing, healthy(1))):
        status, said = judged(first, second)
        assert status is Status.PASS
        assert "told by" not in said


def test_the_standbys_session_stands_in_where_the_active_one_refuses() -> None:
    status, said = judged({**healthy(1), ACTIVE: REFUSED, STANDBY: REFUSED})
    assert status is Status.PASS
    assert "quay-a has ROM monitor 17.12.1r, the minimum is 16.12(3r), told by quay-b, since quay-a refused" in said


@pytest.mark.parametrize("lost", [CUT_OFF, UNREADABLE, MISSING])
@pytest.mark.parametrize("command", [ACTIVE, STANDBY])
@pytest.mark.parametrize("number", [1, 2])
def test_a_lost_answer_is_unknown_whatever_the_other_session_says(number: int, command: str, lost: Lost) -> None:
    answers = {**healthy(number), command: lost}
    assert (judged(answers) if number == 1 else judged(None, answers))[0] is Status.UNKNOWN


@pytest.mark.parametrize("text", [None, "new enough"])
def test_a_version_that_was_not_shown_or_is_none_is_unknown(text: str | None) -> None:
    assert judged(has(1, "17.12.1r", text))[0] is Status.UNKNOWN


def test_where_the_roles_are_not_known_bad_news_counts_and_good_news_does_not() -> None:
    assert judged(changed(healthy(1), **NOBODY), changed(healthy(2), **NOBODY))[0] is Status.UNKNOWN
    status, said = judged(changed(has(1, "17.12.1r", "16.12(2r)"), **NOBODY), changed(healthy(2), **NOBODY))
    assert status is Status.BLOCK
    assert said.startswith("the standby chassis has ROM monitor 16.12(2r)")
