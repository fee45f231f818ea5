from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from collector.finding import Answer, Status
from collector.rules.install_state import RULE
from parsers.facts.upgrade import InstallSummary, Package, Scope
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

COMMAND = "show install summary"
OLD, NEW, FIX = "17.09.04a.0.6", "17.09.05.0.4112", "bootflash:fix.SSA.smu.bin"
COMMITTED = f"IMG C {OLD}"
BOTH, SLOTS, OWN = ("1", "2"), ("1/R0", "2/R0"), ("R0",)


def says(
    number: int, *scopes: tuple[Sequence[str], Sequence[str]], timer: Any = "inactive", left: Any = None
) -> Answers:
    """A member whose scopes hold these rows, each written as printed; rows stand from line 6 of each ten on."""
    found = []
    for place, (locations, rows) in enumerate(scopes):
        packages = []
        for at, row in enumerate(rows, 6 + 10 * place):
            kind, state, name = row.split()
            packages.append(Package(type=kind, state=state, name=name, at=at))
        found.append(Scope(locations=tuple(locations), packages=tuple(packages), at=1 + 10 * place))
    timer_lines = {"auto_abort": (50,), "auto_abort_seconds_left": (50,)}
    summary = InstallSummary(scopes=tuple(found), auto_abort=timer, auto_abort_seconds_left=left, at=timer_lines)
    return changed(healthy(number), show_install_summary=summary)


def judged(first: Answers | None = None, second: Answers | None = None) -> Answer:
    return RULE.judge(snapshot(first, second), policy())


APART = ((("1",), [COMMITTED]), (("2",), [COMMITTED, f"IMG I {NEW}"]))
TROUBLES: list[tuple[Answers, Answers, str]] = [
    (healthy(1), says(2, (OWN, [COMMITTED, f"IMG I {NEW}"])), f"IMG {NEW} on quay-b: inactive (I), as quay-b tells it"),
    (says(1, *APART), healthy(2), f"IMG {NEW} on quay-b: inactive (I), as quay-a tells it"),
    (says(1, *APART), unreached(), f"IMG {NEW} on quay-b: inactive (I)"),
    (says(1, (BOTH, [COMMITTED, f"IMG I {OLD}"])), healthy(2), f"IMG {OLD} on quay-a and quay-b: inactive (I)"),
    (says(1, (SLOTS, [f"IMG U {OLD}"])), healthy(2), "activated but not committed (U)"),
    (healthy(1), says(2, (OWN, [COMMITTED, f"SMU D {FIX}"])), "deactivated but not committed (D)"),
    (healthy(1), says(2, (OWN, [])), "no image is activated and committed (IMG C) on quay-b"),
    (healthy(1), says(2, (OWN, [f"SMU C {FIX}"])), "no image is activated and committed (IMG C) on quay-b"),
    (healthy(1), says(2, (OWN, [f"IMG C {NEW}"])), f"quay-b has IMG {NEW} by the word of quay-b"),
    (
        says(1, (("1",), [COMMITTED]), (("2",), [f"IMG C {NEW}"])),
        healthy(2),
        f"quay-b has IMG {NEW} by the word of quay-a",
    ),
    (healthy(1), says(2, (OWN, [COMMITTED, f"SMU C {FIX}"])), "quay-b has SMU fix.SSA.smu.bin"),
    (says(1, (BOTH, [COMMITTED]), timer="active", left=6582), healthy(2), "with 1:49:42 left before the rollback"),
    (healthy(1), says(2, (OWN, [COMMITTED]), timer="active"), "the auto-abort timer is running, as quay-b tells it"),
]


@pytest.mark.parametrize("scope", [BOTH, SLOTS])
@pytest.mark.parametrize("own", [BOTH, SLOTS, OWN, ("2",), ("2/R0",)])
def test_committed_software_the_same_on_both_passes(scope: Sequence[str], own: Sequence[str]) -> None:
    found = judged(says(1, (scope, [COMMITTED])), says(2, (own, [COMMITTED])))
    assert found.status is Status.PASS
    assert found.statement == (
        f"quay-a and quay-b have the same software, all activated and committed (IMG {OLD}), "
        "and the auto-abort timer is inactive."
    )
    assert told(found.evidence) == {("quay-a", COMMAND): (1, 6, 50), ("quay-b", COMMAND): (1, 6, 50)}


def test_each_may_tell_of_its_own_processor_only() -> None:
    assert judged(says(1, (OWN, [COMMITTED])), says(2, (OWN, [COMMITTED]))).status is Status.PASS


def test_a_path_in_front_of_a_name_makes_no_difference() -> None:
    first = says(1, (BOTH, [COMMITTED, f"SMU C {FIX}"]))
    second = says(2, (OWN, [COMMITTED, "SMU C /flash1/fix.SSA.smu.bin"]))
    assert judged(first, second).status is Status.PASS


@pytest.mark.parametrize(("first", "second", "words"), TROUBLES)
def test_one_witness_of_trouble_is_enough(first: Answers, second: Answers, words: str) -> None:
    found = judged(first, second)
    assert found.status is Status.BLOCK
    assert words in found.statement
    assert found.evidence
    assert found.remedy


def test_a_step_that_reloads_says_so() -> None:
    uncommitted = judged(says(1, (BOTH, [f"IMG U {OLD}"])))
    assert "A rollback reloads the controllers" in uncommitted.remedy
    assert "the people who run the ward" in uncommitted.remedy
    assert "vendor's procedure" in judged(says(1, *APART)).remedy
    assert "Decide before the timer ends" in judged(says(1, (BOTH, [COMMITTED]), timer="active")).remedy


def test_the_evidence_is_the_rows_and_the_scope_of_the_trouble() -> None:
    assert told(judged(says(1, *APART)).evidence) == {("quay-a", COMMAND): (11, 17)}


def test_many_packages_are_counted_rather_than_named() -> None:
    rows = [COMMITTED, *(f"SMU I fix{number}.bin" for number in range(9))]
    assert "SMU fix3.bin and 5 more on quay-b" in judged(None, says(2, (OWN, rows))).statement


def test_the_actives_scopes_stand_in_for_a_standby_that_refuses() -> None:
    found = judged(None, {**healthy(2), COMMAND: REFUSED})
    assert found.status is Status.PASS
    assert f"quay-a's word stands for both, since quay-b refused `{COMMAND}`" in found.statement
    assert judged(None, unreached()).status is Status.PASS


@pytest.mark.parametrize("second", [{**healthy(2), COMMAND: REFUSED}, unreached()])
@pytest.mark.parametrize("scope", [OWN, ("1",)])
def test_an_active_that_tells_of_itself_only_does_not_stand_in(scope: Sequence[str], second: Answers) -> None:
    found = judged(says(1, (scope, [COMMITTED])), second)
    assert found.status is Status.UNKNOWN
    assert f"`{COMMAND}` on quay-a doesn't show the software of quay-b" in found.statement


def test_a_standby_does_not_stand_in_for_the_active() -> None:
    assert judged({**healthy(1), COMMAND: REFUSED}).status is Status.UNKNOWN
    assert judged(unreached()).status is Status.UNKNOWN


@pytest.mark.parametrize("lost", [CUT_OFF, UNREADABLE, MISSING])
def test_what_was_lost_is_unknown_and_named(lost: Lost) -> None:
    found = judged(None, {**healthy(2), COMMAND: lost})
    assert found.status is Status.UNKNOWN
    assert f"`{COMMAND}` on quay-b can't be used: {lost.problem}" in found.statement


def test_a_timer_that_no_line_tells_about_is_unknown() -> None:
    found = judged(None, says(2, (OWN, [COMMITTED]), timer=None))
    assert found.status is Status.UNKNOWN
    assert "no line of `show install summary` on quay-b tells about the auto-abort timer" in found.statement


def test_a_session_that_does_not_show_its_own_chassis_is_unknown() -> None:
    found = judged(None, says(2, (("1",), [COMMITTED])))
    assert found.status is Status.UNKNOWN
    assert "quay-b doesn't show that controller's own software" in found.statement
    assert judged(None, says(2)).status is Status.UNKNOWN


def test_a_missing_block_of_the_other_chassis_may_have_held_trouble() -> None:
    assert judged(says(1, *APART)).status is Status.BLOCK
    found = judged(says(1, APART[0]))
    assert found.status is Status.UNKNOWN
    assert "quay-a doesn't show the software of quay-b" in found.statement


def test_chassis_are_told_apart_without_their_members_names() -> None:
    lost = {"show chassis rmi": MISSING}
    found = judged({**says(1, *APART), **lost}, {**healthy(2), **lost})
    assert found.status is Status.BLOCK
    assert f"IMG {NEW} on chassis 2: inactive (I)" in found.statement
    good = judged({**healthy(1), **lost}, {**healthy(2), **lost})
    assert good.status is Status.PASS


@pytest.mark.parametrize(
    ("first", "second"),
    [*((a, b) for a, b, _ in TROUBLES), (healthy(1), healthy(2)), (says(1, APART[0]), healthy(2))],
)
def test_no_loss_makes_it_better(first: Answers, second: Answers) -> None:
    assert made_better(RULE, first, second, policy()) == []
