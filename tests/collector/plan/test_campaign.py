"""Campaigns against all assignments there are, with the solver and without it."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import combinations, product
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.plan import campaign_solver
from collector.plan.campaign import Answer, Campaign, Constraint, StaffedWindow, Upgrade, plan_campaign, solver_is_here
from collector.plan.campaign_work import Kind, work

START = datetime(2027, 2, 5, 22, tzinfo=UTC)
HOUR = timedelta(hours=1)


def window(number: int, people: int = 2, hours: float = 4, **other: object) -> StaffedWindow:
    start = START + timedelta(days=number)
    return replace(StaffedWindow(f"W{number}", start, start + hours * HOUR, people), **other)  # type: ignore[arg-type]


def windows(*people: int) -> list[StaffedWindow]:
    return [window(number, each) for number, each in enumerate(people, 1)]


def upgrade(name: str, hours: float = 3, **other: object) -> Upgrade:
    return replace(Upgrade(name, name, f"site of {name}", hours * HOUR), **other)  # type: ignore[arg-type]


def is_valid(
    upgrades: Sequence[Upgrade],
    staffed: Sequence[StaffedWindow],
    given: Mapping[str, str],
    only: Collection[Constraint] | None = None,
) -> bool:
    """Whether all that the issue asks for holds, or only these constraints; told apart from the code's own telling."""
    at = {each.id: each for each in staffed}
    on = {name: at[id].night for name, id in given.items()}

    def asked(kind: Kind, names: set[str], window: str | None = None) -> bool:
        return only is None or any(
            each.kind is kind and names <= set(each.upgrades) and each.window == window for each in only
        )

    for each in upgrades:
        if asked(Kind.LENGTH, {each.name}) and each.lasts > at[given[each.name]].end - at[given[each.name]].start:
            return False
        if any(asked(Kind.ORDER, {before, each.name}) and on[before] >= on[each.name] for before in each.after):
            return False
    for one, other in combinations(upgrades, 2):
        names, peers = {one.name, other.name}, one.pair in other.peers or other.pair in one.peers
        if on[one.name] == on[other.name] and (
            (one.site == other.site and asked(Kind.SITE, names)) or (peers and asked(Kind.PEERS, names))
        ):
            return False
    for open_, blocked in product(upgrades, repeat=2):
        late = blocked.blocked and not open_.blocked and on[open_.name] > on[blocked.name]
        if late and asked(Kind.BLOCKED_LAST, {blocked.name}):
            return False
    return all(
        list(given.values()).count(each.id) <= each.people for each in staffed if asked(Kind.PEOPLE, set(), each.id)
    )


def all_ways(upgrades: Sequence[Upgrade], staffed: Sequence[StaffedWindow]) -> list[dict[str, str]]:
    names = [each.name for each in upgrades]
    return [dict(zip(names, ids, strict=True)) for ids in product([each.id for each in staffed], repeat=len(upgrades))]


def nights(staffed: Sequence[StaffedWindow], given: Mapping[str, str]) -> int:
    return len({each.night for each in staffed if each.id in given.values()})


def kinds(found: Campaign) -> list[Kind]:
    return [each.kind for each in found.clash]


def test_the_solver_is_installed_with_the_tests() -> None:
    assert solver_is_here()


both = pytest.mark.parametrize("use_solver", [True, False], ids=["solver", "greedy"])


@both
def test_as_few_nights_as_can_be(use_solver: bool) -> None:
    upgrades, staffed = [upgrade(name) for name in "abcd"], windows(1, 2, 1, 2)
    found = plan_campaign(upgrades, staffed, use_solver=use_solver)
    assert (found.answer, found.nights, found.bound) == (Answer.PROVEN_BEST, 2, 2)
    assert set(found.windows.values()) == {"W2", "W4"}
    assert is_valid(upgrades, staffed, found.windows)


def test_of_as_many_nights_the_earliest() -> None:
    found = plan_campaign([upgrade("a"), upgrade("b")], windows(2, 2, 2), use_solver=True)
    assert set(found.windows.values()) == {"W1"}


@both
def test_one_site_has_one_night_for_each_of_its_pairs(use_solver: bool) -> None:
    upgrades = [upgrade(name, site="Harbour Quay") for name in "abc"]
    found = plan_campaign(upgrades, windows(9, 9, 9), use_solver=use_solver)
    assert (found.answer, found.nights) == (Answer.PROVEN_BEST, 3)


@both
@pytest.mark.parametrize("told_by", ["a", "b"])
def test_mobility_peers_share_no_night_whichever_side_tells_it(use_solver: bool, told_by: str) -> None:
    upgrades = [
        upgrade("a", peers=frozenset({"b"} if told_by == "a" else {"elsewhere"})),
        upgrade("b", peers=frozenset({"a"} if told_by == "b" else ())),
    ]
    found = plan_campaign(upgrades, windows(2, 2), use_solver=use_solver)
    assert found.nights == 2
    assert found.windows["a"] != found.windows["b"]


@both
def test_an_intermediate_release_comes_on_an_earlier_night(use_solver: bool) -> None:
    upgrades = [
        upgrade("quay to 17.12.4", pair="quay", site="Quay", after=("quay to 17.9.4",)),
        upgrade("quay to 17.9.4", pair="quay", site="Quay"),
        upgrade("pier"),
    ]
    found = plan_campaign(upgrades, windows(2, 2, 2), use_solver=use_solver)
    assert (found.answer, found.nights) == (Answer.PROVEN_BEST, 2)
    assert found.windows["quay to 17.9.4"] < found.windows["quay to 17.12.4"]


@both
def test_blocked_pairs_come_last_and_may_share_the_last_night(use_solver: bool) -> None:
    upgrades = [upgrade("a", blocked=True), upgrade("b", blocked=True), upgrade("c"), upgrade("d"), upgrade("e")]
    found = plan_campaign(upgrades, windows(2, 2, 2), use_solver=use_solver)
    assert found.nights == 3
    assert max(found.windows[name] for name in "cde") <= min(found.windows[name] for name in "ab")


@both
def test_an_upgrade_gets_a_window_that_is_long_enough(use_solver: bool) -> None:
    found = plan_campaign([upgrade("a", hours=5)], [window(1), window(2, hours=5), window(3)], use_solver=use_solver)
    assert found.windows == {"a": "W2"}


@both
def test_the_length_is_the_real_one_where_the_clocks_change(use_solver: bool) -> None:
    """In the night to 28 March 2027 clocks in the European Union go on from 2 to 3 (Directive 2000/84/EC)."""
    zone = ZoneInfo("Europe/Berlin")
    spring = StaffedWindow("spring", datetime(2027, 3, 27, 23, tzinfo=zone), datetime(2027, 3, 28, 3, tzinfo=zone), 1)
    autumn = StaffedWindow("autumn", datetime(2027, 10, 30, 23, tzinfo=zone), datetime(2027, 10, 31, 3, tzinfo=zone), 1)
    assert (spring.lasts, autumn.lasts) == (3 * HOUR, 5 * HOUR)
    found = plan_campaign([upgrade("a", hours=3.5)], [spring], use_solver=use_solver)
    assert (found.answer, kinds(found)) == (Answer.IMPOSSIBLE, [Kind.LENGTH])
    assert plan_campaign([upgrade("a", hours=5)], [spring, autumn], use_solver=use_solver).windows == {"a": "autumn"}


@both
def test_two_windows_of_one_night_are_one_night(use_solver: bool) -> None:
    """Before and after midnight it is still the same night for a site; each window has its own people."""
    early, late = window(1, people=1), window(1, people=1, id="late", start=START + 28 * HOUR, end=START + 32 * HOUR)
    found = plan_campaign([upgrade("a"), upgrade("b")], [late, early], use_solver=use_solver)
    assert (found.nights, set(found.windows.values())) == (1, {"W1", "late"})
    same = [upgrade("a", site="Quay"), upgrade("b", site="Quay")]
    found = plan_campaign(same, [late, early], use_solver=use_solver)
    assert (found.answer, kinds(found)) == (Answer.IMPOSSIBLE, [Kind.SITE])


@both
def test_too_few_people_are_named_with_their_windows(use_solver: bool) -> None:
    found = plan_campaign([upgrade(name) for name in "abcd"], windows(1, 2, 0), use_solver=use_solver)
    assert (found.answer, found.windows) == (Answer.IMPOSSIBLE, {})
    assert [each.sentence for each in found.clash] == [
        "One person is on shift in the window W1.",
        "2 people are on shift in the window W2.",
        "Nobody is on shift in the window W3.",
    ]


@both
def test_a_site_with_more_pairs_than_nights_is_named_and_nothing_else(use_solver: bool) -> None:
    upgrades = [upgrade(name, site="Harbour Quay") for name in "abc"] + [upgrade("d", peers=frozenset("a"))]
    found = plan_campaign(upgrades, windows(4, 4), use_solver=use_solver)
    assert [each.sentence for each in found.clash] == [
        "a, b and c are all at Harbour Quay, and a site has one of them a night."
    ]


@both
def test_a_chain_that_is_longer_than_the_nights_is_named(use_solver: bool) -> None:
    upgrades = [upgrade("a"), upgrade("b", after=("a",)), upgrade("c", after=("b",)), upgrade("d")]
    found = plan_campaign(upgrades, windows(4, 4), use_solver=use_solver)
    assert [each.sentence for each in found.clash] == [
        "a comes on an earlier night than b.",
        "b comes on an earlier night than c.",
    ]


@both
def test_of_a_longer_chain_as_much_as_clashes_is_named(use_solver: bool) -> None:
    upgrades = [upgrade("a"), *(upgrade(name, after=(before,)) for before, name in ("ab", "bc", "cd"))]
    found = plan_campaign(upgrades, windows(4, 4), use_solver=use_solver)
    assert kinds(found) == [Kind.ORDER, Kind.ORDER]
    assert found.clash[0].upgrades[1] == found.clash[1].upgrades[0]


@both
def test_a_circle_is_named(use_solver: bool) -> None:
    upgrades = [upgrade("a", after=("b",)), upgrade("b", after=("a",)), upgrade("c")]
    found = plan_campaign(upgrades, windows(4, 4, 4, 4), use_solver=use_solver)
    assert found.answer is Answer.IMPOSSIBLE
    assert {each.upgrades for each in found.clash} == {("a", "b"), ("b", "a")}


def test_what_waits_for_a_blocked_pair_clashes_with_blocked_pairs_last() -> None:
    upgrades = [upgrade("a", blocked=True), upgrade("b", after=("a",))]
    found = plan_campaign(upgrades, windows(2, 2, 2), use_solver=True)
    assert [each.sentence for each in found.clash] == [
        "a comes on an earlier night than b.",
        "a is blocked, so no pair that isn't comes after it.",
    ]
    assert plan_campaign(upgrades, windows(2, 2, 2), use_solver=False).answer is Answer.NONE_FOUND


def test_a_clash_of_different_kinds_is_named_whole() -> None:
    """Two peers, both too long for all windows but one."""
    upgrades = [upgrade("a", hours=5, peers=frozenset("b")), upgrade("b", hours=5), upgrade("c")]
    found = plan_campaign(upgrades, [window(1), window(2, hours=5), window(3)], use_solver=True)
    assert [each.sentence for each in found.clash] == [
        "a takes 300 minutes, for which only W2 is long enough.",
        "b takes 300 minutes, for which only W2 is long enough.",
        "a and b are mobility peers and share no night.",
    ]


@both
def test_nothing_to_place_and_nowhere_to_place_it(use_solver: bool) -> None:
    assert plan_campaign([], windows(1), use_solver=use_solver) == Campaign(Answer.PROVEN_BEST)
    assert plan_campaign([upgrade("a")], [], use_solver=use_solver) == Campaign(Answer.IMPOSSIBLE)


def test_without_effort_the_solver_proves_nothing_but_what_counting_proves() -> None:
    upgrades = [upgrade(name, peers=frozenset("abcdef")) for name in "abcdef"]
    found = plan_campaign(upgrades, windows(2, 2, 2, 2, 2, 2), use_solver=True, effort=0)
    assert (found.answer, found.nights, found.bound) == (Answer.BEST_FOUND, 6, 3)


def test_a_fleet_of_sixty_pairs_is_proven() -> None:
    upgrades = [
        upgrade(f"p{number}", site=f"s{number % 20}", peers=frozenset({f"p{(number * 7 + 3) % 60}"}))
        for number in range(60)
    ]
    staffed = [window(number, 5) for number in range(20)]
    found = plan_campaign(upgrades, staffed)
    assert (found.answer, found.nights) == (Answer.PROVEN_BEST, 12)
    assert is_valid(upgrades, staffed, found.windows)
    assert plan_campaign(upgrades, staffed) == found


def test_more_pairs_of_a_site_than_nights_among_many_others_are_found_out() -> None:
    upgrades = [upgrade(f"p{number}", site="Quay" if number < 13 else str(number)) for number in range(40)]
    found = plan_campaign(upgrades, [window(number, 5) for number in range(12)], use_solver=True)
    assert (found.answer, kinds(found)) == (Answer.IMPOSSIBLE, [Kind.SITE])
    assert campaign_solver.clash(work(upgrades, [window(number, 5) for number in range(12)]), 1.0) == found.clash


@pytest.mark.parametrize(
    ("upgrades", "staffed", "says"),
    [
        ([upgrade("a"), upgrade("a")], windows(1), "the upgrade a is given 2 times"),
        ([upgrade("a")], [window(1), window(1)], "the window W1 is given 2 times"),
        ([upgrade("a", after=("b",))], windows(1), "a comes after b, which the campaign doesn't have"),
        ([upgrade("a")], [window(1, start=datetime(2027, 2, 5, 22))], "offset from UTC"),
        ([upgrade("a")], [window(1, hours=0)], "ends before it begins"),
        ([upgrade("a")], [window(1, people=-1)], "fewer than no people"),
    ],
)
def test_what_makes_no_sense_is_refused(upgrades: list[Upgrade], staffed: list[StaffedWindow], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        plan_campaign(upgrades, staffed)


@st.composite
def campaigns(draw: st.DrawFn) -> tuple[list[Upgrade], list[StaffedWindow]]:
    names = "abcde"[: draw(st.integers(1, 5))]
    upgrades = [
        Upgrade(
            name,
            name,
            draw(st.sampled_from("XYZUV")),
            draw(st.sampled_from([2, 3, 3, 5])) * HOUR,
            frozenset(draw(st.sets(st.sampled_from(names), max_size=1))),
            draw(st.sampled_from([False, False, True])),
            tuple(draw(st.sets(st.sampled_from(names[:number]), max_size=1))) if number else (),
        )
        for number, name in enumerate(names)
    ]
    days = draw(st.lists(st.integers(1, 4), min_size=1, max_size=4))
    staffed = [
        window(day, draw(st.integers(0, 3)), draw(st.sampled_from([4, 4, 6])), id=f"V{number}")
        for number, day in enumerate(days)
    ]
    return upgrades, staffed


@settings(deadline=None)
@given(campaigns())
def test_the_solver_against_all_assignments(asked: tuple[list[Upgrade], list[StaffedWindow]]) -> None:
    upgrades, staffed = asked
    found = plan_campaign(upgrades, staffed, use_solver=True)
    ways = all_ways(upgrades, staffed)
    valid = [given for given in ways if is_valid(upgrades, staffed, given)]
    if valid:
        assert found.answer is Answer.PROVEN_BEST
        assert found.windows in valid
        assert found.nights == found.bound == min(nights(staffed, given) for given in valid)
        return
    assert found.answer is Answer.IMPOSSIBLE
    for clash in (found.clash, campaign_solver.clash(work(upgrades, staffed), 1.0)):
        assert not any(is_valid(upgrades, staffed, given, clash) for given in ways)
        for each in clash:
            rest = [other for other in clash if other is not each]
            assert any(is_valid(upgrades, staffed, given, rest) for given in ways), each.sentence


@settings(deadline=None)
@given(campaigns())
def test_without_the_solver_what_is_said_is_true(asked: tuple[list[Upgrade], list[StaffedWindow]]) -> None:
    upgrades, staffed = asked
    found = plan_campaign(upgrades, staffed, use_solver=False)
    ways = all_ways(upgrades, staffed)
    valid = [given for given in ways if is_valid(upgrades, staffed, given)]
    fewest = min((nights(staffed, given) for given in valid), default=0)
    if found.answer is Answer.IMPOSSIBLE:
        assert not any(is_valid(upgrades, staffed, given, found.clash) for given in ways)
        return
    assert not valid or found.bound <= fewest
    if found.answer is Answer.NONE_FOUND:
        assert found.windows == {}
        return
    assert found.windows in valid
    assert found.nights == nights(staffed, found.windows)
    assert (found.answer is Answer.PROVEN_BEST) == (found.nights == found.bound)


@given(campaigns())
def test_each_constraint_is_one_sentence(asked: tuple[list[Upgrade], list[StaffedWindow]]) -> None:
    for each in work(*asked).constraints:
        assert each.sentence.endswith(".")
        assert set(each.upgrades) <= {upgrade.name for upgrade in asked[0]}


def test_the_solver_leaves_ctrl_c_to_python() -> None:
    interrupted = (
        "import os, signal\n"
        "from tests.collector.plan.test_campaign import plan_campaign, upgrade, windows\n"
        "plan_campaign([upgrade('quay')], windows(1), use_solver=True)\n"
        "try:\n    os.kill(os.getpid(), signal.SIGINT)\n    signal.pause()\n"
        "except KeyboardInterrupt:\n    print('heard')\n"
    )
    done = subprocess.run([sys.executable, "-c", interrupted], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, "heard\n"), done.stderr
