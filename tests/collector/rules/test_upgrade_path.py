from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise, permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.finding import Answer, Status
from collector.rules.upgrade_path import RULE, is_direct, shortest, way
from inventory.policy import UpgradePath
from tests.collector.rules.building import CUT_OFF, MISSING, REFUSED, changed, healthy, policy, snapshot, unreached
from tests.collector.rules.test_release_support import running


def paths(*steps: tuple[str, str, bool]) -> tuple[UpgradePath, ...]:
    return tuple(UpgradePath.model_validate({"from": start, "to": end, "direct": d}) for start, end, d in steps)


def judged(release: str, target: str, *steps: tuple[str, str, bool], standby: str | None = None) -> Answer:
    second = standby or release
    pair = snapshot(running(1, release, second), running(2, second, release), target=target)
    return RULE.judge(pair, policy(upgrade_paths=paths(*steps)))


def test_a_listed_step_passes() -> None:
    found = judged("17.9.4a", "17.12.4", ("17.9", "17.12", True))
    assert found.status is Status.PASS
    assert "from 17.9.4a to 17.12.4" in found.statement


def test_a_step_that_is_not_listed_blocks() -> None:
    found = judged("17.9.4a", "17.12.4")
    assert found.status is Status.BLOCK
    assert "quay-a runs 17.9.4a, from which the policy has no direct in-service step to 17.12.4" in found.statement
    assert "no chain of steps" in found.statement
    assert "ward" in found.remedy


def test_a_block_names_the_shortest_chain() -> None:
    steps = [("17.3", "17.6", True), ("17.6", "17.9", True), ("17.9", "17.12", True), ("17.6", "17.12", True)]
    found = judged("17.3.6", "17.12.4", *steps)
    assert found.status is Status.BLOCK
    assert "2 steps, 17.3.6 to 17.6 to 17.12.4" in found.statement


def test_a_longer_chain_is_not_named_though_the_policy_lists_it_last() -> None:
    short = [("17.3", "17.9", True), ("17.9", "17.12", True)]
    long = [("17.3", "17.6", True), ("17.6", "17.7", True), ("17.7", "17.12", True)]
    for steps in (short + long, long + short):
        assert shortest(paths(*steps), "17.3.6", "17.12.4") == ("17.3.6", "17.9", "17.12.4")


def test_a_release_may_lead_through_another_of_its_own_train() -> None:
    steps = [("17.9", "17.9", True), ("17.9", "17.12", True), ("17.9.1", "17.12", False)]
    assert "17.9.1 to 17.9 to 17.12.4" in judged("17.9.1", "17.12.4", *steps).statement


def test_running_the_target_already_is_a_caution() -> None:
    found = judged("17.12.4", "17.12.4", ("17.12", "17.12", True))
    assert found.status is Status.CAUTION
    assert "already runs the target 17.12.4" in found.statement


def test_the_standbys_release_is_asked_too() -> None:
    found = judged("17.9.4a", "17.12.4", ("17.9", "17.12", True), standby="17.6.6")
    assert found.status is Status.BLOCK
    assert "quay-b runs 17.6.6, from which" in found.statement


def test_a_release_that_is_not_known_is_unknown() -> None:
    assert RULE.judge(snapshot(b=changed(healthy(2), show_version=CUT_OFF)), policy()).status is Status.UNKNOWN
    assert RULE.judge(snapshot(b=changed(healthy(2), show_version=MISSING)), policy()).status is Status.UNKNOWN
    both = changed(healthy(1), show_redundancy=REFUSED), unreached()
    assert RULE.judge(snapshot(*both), policy()).status is Status.UNKNOWN


EXACTNESS = [("17.9.4a", "17.12.4"), ("17.9.4a", "17.12"), ("17.9", "17.12.4"), ("17.9", "17.12")]


@pytest.mark.parametrize("winner", range(3))
@pytest.mark.parametrize("direct", [True, False])
def test_the_more_exact_entry_wins_wherever_it_stands(winner: int, direct: bool) -> None:
    entries = [(*ends, direct if rank == winner else not direct) for rank, ends in enumerate(EXACTNESS)][winner:]
    for order in permutations(entries):
        assert is_direct(paths(*order), "17.9.4a", "17.12.4") is direct


def test_of_two_entries_for_the_same_ends_the_cautious_one_counts() -> None:
    for order in permutations([("17.9", "17.12", True), ("17.9", "17.12", False)]):
        assert not is_direct(paths(*order), "17.9.4", "17.12.4")


def test_a_letter_is_another_release() -> None:
    assert not is_direct(paths(("17.9.4a", "17.12.4", True)), "17.9.4", "17.12.4")


def test_a_step_down_needs_an_entry_that_leads_down() -> None:
    assert not is_direct(paths(("17.9", "17.9", True)), "17.9.5", "17.9.4a")
    assert is_direct(paths(("17.9", "17.9", True)), "17.9.4a", "17.9.5")
    assert is_direct(paths(("17.9.5", "17.9.4a", True)), "17.9.5", "17.9.4a")
    assert not is_direct(paths(("17.9", "17.12", True)), "17.12.4", "17.9.5")
    assert is_direct(paths(("17.12", "17.9", True)), "17.12.4", "17.9.5")
    assert judged("17.9.5", "17.9.4a", ("17.9", "17.9", True)).status is Status.BLOCK


def test_no_chain_leads_back_by_way_of_a_train() -> None:
    steps = [("17.9", "17.9", True), ("17.9", "17.12", True)]
    assert shortest(paths(*steps), "17.9.4a", "17.9.1") == ("17.9.4a", "17.9", "17.9.1")
    assert way(paths(*steps), "17.9.4a", "17.9.1") == ()
    assert way(paths(("17.9.4a", "17.9.1", True)), "17.9.4a", "17.9.1") == ("17.9.4a", "17.9.1")
    found = judged("17.9.4a", "17.9.1", *steps)
    assert found.status is Status.BLOCK
    assert "17.9 to 17.9.1" not in found.statement


POINTS = ["17.3", "17.6", "17.9", "17.12", "17.3.6", "17.6.6", "17.9.1", "17.9.5", "17.12.4"]
STEPS = st.lists(st.tuples(st.sampled_from(POINTS), st.sampled_from(POINTS), st.booleans()), max_size=8)
RELEASES = st.sampled_from(["17.3.6", "17.3.8", "17.6.6", "17.9.1", "17.9.5", "17.12.4"])


def plainly_direct(steps: Sequence[tuple[str, str, bool]], start: str, end: str) -> bool:
    """The table's reading, written the long way: one list of entries for each exactness, the first with any decides."""

    def ordinal(point: str) -> tuple[int, ...]:
        return tuple(int(number) for number in point.split("."))

    def down(one: str, other: str) -> bool:
        short = 3 if one.count(".") == other.count(".") == 2 else 2
        return ordinal(other)[:short] < ordinal(one)[:short]

    def of_train(point: str) -> str:
        return ".".join(point.split(".")[:2])

    usable = [step for step in steps if not down(start, end) or down(step[0], step[1])]
    forms = [(start, end), (start, of_train(end)), (of_train(start), end), (of_train(start), of_train(end))]
    for form in forms:
        answers = [direct for one, other, direct in usable if (one, other) == form]
        if answers:
            return all(answers)
    return False


@given(STEPS, RELEASES, RELEASES)
def test_a_step_is_direct_as_the_long_way_reads_the_table(
    steps: list[tuple[str, str, bool]], start: str, end: str
) -> None:
    assert is_direct(paths(*steps), start, end) is plainly_direct(steps, start, end)


@given(STEPS, RELEASES, RELEASES)
def test_no_chain_is_shorter_than_the_one_that_is_named(
    steps: list[tuple[str, str, bool]], start: str, end: str
) -> None:
    """Against brute force: the set of points that n direct steps reach, for n from 1 up, from the start alone."""
    if start == end:
        return
    points = {end, *(point for one, other, _ in steps for point in (one, other))}
    reached, length = {start}, 0
    while end not in reached and length <= len(points):
        reached = reached | {to for at in reached for to in points if plainly_direct(steps, at, to)}
        length += 1
    chain = shortest(paths(*steps), start, end)
    if end not in reached:
        assert chain == ()
        return
    assert len(chain) - 1 == length
    assert (chain[0], chain[-1]) == (start, end)
    assert all(plainly_direct(steps, one, other) for one, other in pairwise(chain))
