"""What to do first; the order itself is common practice, no source."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import pytest

from collector import rules
from collector.finding import Finding, Status
from collector.judging import aimed_at
from collector.ordering import MENDING, When, known, order, steps
from inventory.waivers import Waiver
from tests.demo_fleet import fleet, pairs, snapshot


def finding(rule: str, status: Status = Status.BLOCK, weight: str = "block", waiver: Waiver | None = None) -> Finding:
    return Finding(rule, "?", status, f"{rule} said.", f"Mend {rule}.", weight=weight, waiver=waiver)


def test_every_rule_has_its_place_and_names_places_that_are_there() -> None:
    assert set(rules.ids()) <= known()
    assert {id for mending in MENDING.values() for id in mending.after} <= known()


def test_whatever_the_order_of_the_findings_each_step_comes_after_those_it_waits_for() -> None:
    found = [finding(id) for id in sorted(known(), reverse=True)]
    listed = steps(found)
    assert [step.rule for step in listed] == list(order())
    for number, step in enumerate(listed):
        assert set(step.after) <= {before.rule for before in listed[:number]}


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("one-active", "pair-state"),
        ("one-active", "flash-space"),
        ("upgrade-activity", "pair-state"),
        ("pair-link", "pair-state"),
        ("pair-interface", "pair-state"),
        ("pair-state", "flash-space"),
        ("pair-state", "config-sync"),
        ("pair-state", "rom-monitor"),
        ("install-state", "flash-space"),
        ("install-mode", "boot-variable"),
        ("config-sync", "saved-configuration"),
        ("flash-space", "image-staged"),
        ("image-staged", "ap-staging"),
        ("release-support", "upgrade-path"),
        ("ap-staging", "evidence-age"),
    ],
)
def test_what_is_mended_before_what(first: str, second: str) -> None:
    before, after = steps([finding(second), finding(first)])
    assert (before.rule, after.rule) == (first, second)
    assert (before.after, after.after) == ((), (first,))


def test_two_actives_come_before_everything() -> None:
    for other in known() - {"one-active"}:
        assert steps([finding(other), finding("one-active")])[0].rule == "one-active"


def test_every_two_of_the_same_pair_keep_their_order() -> None:
    places = order()
    for one, other in combinations(sorted(known()), 2):
        listed = [step.rule for step in steps([finding(one), finding(other)])]
        assert listed == sorted(listed, key=places.index)


def test_a_step_says_when_it_may_be_taken_and_what_it_may_do() -> None:
    state, flash = steps([finding("flash-space"), finding("pair-state")])
    assert (state.when, state.disruptive, state.remedy) == (When.IN_A_WINDOW, True, "Mend pair-state.")
    assert (flash.when, flash.disruptive) == (When.ANY_TIME, False)


def test_finding_out_disrupts_nothing() -> None:
    (unknown,) = steps([Finding("pair-state", "?", Status.UNKNOWN, "It isn't known.")])
    assert (unknown.when, unknown.disruptive) == (When.ANY_TIME, False)
    assert unknown.remedy == "Find out what isn't known: It isn't known."


def test_another_plan_disrupts_nothing() -> None:
    target = next(each for each in fleet().pairs if each.name == "quay")
    seen = snapshot("quay")
    for release, when in (("17.13.1", When.ANY_TIME), ("17.12.4", When.IN_A_WINDOW)):
        aimed = replace(seen, pair=aimed_at(target, release))
        strict = fleet().policy.model_copy(update={"minimum_release": "17.12.4"} if release == "17.12.4" else {})
        (step,) = (each for each in steps(rules.judge(aimed, strict)) if each.rule == "release-support")
        assert (step.when, step.disruptive) == (when, when is When.IN_A_WINDOW)


def test_only_what_decides_is_a_step() -> None:
    waiver = Waiver("quay", "flash-space", "R. Vane", "why", fleet().pairs[0].window.start)  # type: ignore[union-attr]
    assert (
        steps(
            [
                finding("flash-space", waiver=waiver),
                finding("rom-monitor", Status.CAUTION),
                finding("clock", Status.UNKNOWN, weight="caution"),
                finding("install-mode", Status.PASS),
            ]
        )
        == ()
    )


def test_the_table_agrees_with_what_the_remedies_warn_of() -> None:
    """Of the demo's blocks: what reloads a controller needs a window, what must be agreed upon may disrupt."""
    seen = set()
    for pair in pairs():
        for step in steps(rules.judge(snapshot(pair), fleet().policy)):
            seen.add(step.rule)
            status = next(f.status for f in rules.judge(snapshot(pair), fleet().policy) if f.rule == step.rule)
            agreed = status is Status.BLOCK and ("agree it" in step.remedy or "agreed through" in step.remedy)
            assert step.disruptive or not agreed, step
            warns = "It can reload" in step.remedy or "It reloads" in step.remedy or "takes the pair off" in step.remedy
            assert not (warns and step.when is When.ANY_TIME), step
    assert {"pair-state", "flash-space", "upgrade-path"} <= seen
