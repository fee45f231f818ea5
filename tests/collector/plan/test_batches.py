"""Batches of access points that restart together, and what their restart leaves unserved."""

from __future__ import annotations

from collections import Counter
from itertools import combinations
from math import ceil

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.plan.batches import Heard, Hole, Rolling, Why, plan_batches

LEVEL = -70.0


def both(*pairs: tuple[str, str]) -> list[Heard]:
    """Reports of both sides, well above the level."""
    return [Heard(*each, -55) for one, other in pairs for each in ((one, other), (other, one))]


def at(site: str, *names: str) -> dict[str, str]:
    return dict.fromkeys(names, site)


def test_neighbours_restart_apart_and_others_together() -> None:
    plan = plan_batches(both(("a", "b"), ("b", "c")), at("Pier", "a", "b", "c"), level_dbm=LEVEL, share=1)
    assert plan.batches == (("b",), ("a", "c"))
    assert (plan.bound, plan.proven_fewest, plan.holes) == (2, True, ())


@pytest.mark.parametrize(("dbm", "together"), [(-69.9, False), (-70, False), (-70.1, True)])
def test_one_sides_report_at_the_level_is_enough_to_keep_two_apart(dbm: float, together: bool) -> None:
    heard = [Heard("a", "b", dbm), Heard("b", "a", -90)]
    plan = plan_batches(heard, at("Pier", "a", "b"), level_dbm=LEVEL, share=1)
    assert (len(plan.batches) == 1) == together


def test_but_only_its_own_report_serves_an_access_point() -> None:
    heard = [Heard("a", "b", -60), Heard("b", "a", -71)]
    plan = plan_batches(heard, at("Pier", "a", "b"), level_dbm=LEVEL, share=1)
    assert plan.holes == (Hole("b", "Pier", False, Why.HEARS_NONE, plan.batches.index(("b",)) + 1),)


def test_the_loudest_report_of_several_counts() -> None:
    heard = [Heard("a", "b", -80), Heard("a", "b", -60), Heard("a", "b", -75), Heard("b", "a", -60)]
    plan = plan_batches(heard, at("Pier", "a", "b"), level_dbm=LEVEL, share=1)
    assert len(plan.batches) == 2
    assert plan.holes == ()


def test_who_hears_none_leaves_a_hole_and_critical_ones_come_first() -> None:
    sites = {"a": "Ward", "b": "Ward", "c": "Archive", "d": "Ward"}
    heard = [*both(("a", "b")), Heard("c", "a", -88), Heard("d", "a", -90)]
    plan = plan_batches(heard, sites, level_dbm=LEVEL, share=1, critical={"d"})
    assert [(hole.ap, hole.critical, hole.why) for hole in plan.holes] == [
        ("d", True, Why.HEARS_NONE),
        ("c", False, Why.HEARS_NONE),
    ]
    assert all(hole.ap in plan.batches[hole.batch - 1] for hole in plan.holes)


def test_of_an_access_point_without_a_report_nobody_knows() -> None:
    heard = [Heard("a", "b", -60)]
    plan = plan_batches(heard, at("Pier", "a", "b", "c"), level_dbm=LEVEL, share=1)
    assert plan.unreported == ("b", "c")
    assert {hole.ap: hole.why for hole in plan.holes} == {"b": Why.NO_REPORT, "c": Why.NO_REPORT}


def test_an_empty_report_is_a_report() -> None:
    plan = plan_batches([], at("Pier", "a"), level_dbm=LEVEL, share=1, reported={"a"})
    assert plan.unreported == ()
    assert plan.holes == (Hole("a", "Pier", False, Why.HEARS_NONE, 1),)


def test_strangers_and_its_own_echo_neither_serve_nor_stand_in_the_way() -> None:
    heard = [Heard("a", "elsewhere", -40), Heard("elsewhere", "a", -40), Heard("a", "a", -30), Heard("b", "x", -40)]
    plan = plan_batches(heard, at("Pier", "a", "b"), level_dbm=LEVEL, share=1)
    assert plan.batches == (("a", "b"),)
    assert [hole.ap for hole in plan.holes] == ["a", "b"]


@pytest.mark.parametrize(
    ("size", "share", "number"), [(10, 0.25, 5), (12, 0.25, 4), (3, 0.1, 3), (200, 0.145, 7), (1, 0.01, 1), (7, 1, 1)]
)
def test_the_share_of_a_site_is_rounded_down_but_one_may_always_restart(size: int, share: float, number: int) -> None:
    """Of ten a quarter is two, so five batches; 0.145 of 200 is 29 and not the 28 of binary fractions."""
    plan = plan_batches([], at("Pier", *map(str, range(size))), level_dbm=LEVEL, share=share)
    assert (len(plan.batches), plan.share_bound, plan.proven_fewest) == (number, number, True)
    assert max(map(len, plan.batches)) <= max(1, round(size * share, 6))


def test_each_site_has_a_share_of_its_own() -> None:
    sites = {**at("Pier", *"abcdefgh"), **at("Kiosk", "k")}
    plan = plan_batches([], sites, level_dbm=LEVEL, share=0.5)
    assert len(plan.batches) == 2
    assert [sum(sites[name] == "Pier" for name in batch) for batch in plan.batches] == [4, 4]


def test_it_names_those_that_all_hear_each_other() -> None:
    heard = both(*combinations("abcd", 2), ("d", "e"))
    plan = plan_batches(heard, at("Pier", *"abcde"), level_dbm=LEVEL, share=1)
    assert (plan.hear_each_other, plan.bound, len(plan.batches)) == (tuple("abcd"), 4, 4)


@pytest.mark.parametrize(("percentage", "at_least"), [(5, 20), (15, 7), (25, 4), (100, 1), (33.3, 4)])
def test_a_percentage_alone_allows_so_many_rounds(percentage: float, at_least: int) -> None:
    sites = at("Pier", *map(str, range(60)))
    (found,) = plan_batches([], sites, level_dbm=LEVEL, share=1, percentages=[percentage]).rolling
    assert found.at_least == at_least
    assert found.simulated == ceil(60 / int(60 * percentage / 100))


def test_a_picker_that_shuns_the_neighbours_of_the_round_needs_more_rounds() -> None:
    """A row of six, half of them a round. By name: a c e, then b d f; but where a hears all others, it goes alone."""
    row = both(*zip("abcde", "bcdef", strict=True))
    (found,) = plan_batches(row, at("Pier", *"abcdef"), level_dbm=LEVEL, share=1, percentages=[50]).rolling
    assert found == Rolling(50, 2, 2, ())
    star = both(*(("a", other) for other in "bcdef"))
    (found,) = plan_batches(star, at("Pier", *"abcdef"), level_dbm=LEVEL, share=1, percentages=[50]).rolling
    assert found == Rolling(50, 2, 3, ())


def test_it_tells_the_sites_of_which_a_round_takes_more_than_the_share() -> None:
    sites = {**at("Attic", *"abcd"), **at("Pier", *"efghijklmnopqrst")}
    plan = plan_batches([], sites, level_dbm=LEVEL, share=0.25, percentages=[20, 5])
    assert [each.over_share for each in plan.rolling] == [("Attic",), ()]


def test_no_access_points_need_no_batch() -> None:
    plan = plan_batches([], {}, level_dbm=LEVEL, share=0.25, percentages=[5])
    assert (plan.batches, plan.bound, plan.rolling) == ((), 0, (Rolling(5, 0, 0, ()),))


@pytest.mark.parametrize("share", [0, -0.1, 1.01, float("nan")])
def test_a_share_out_of_range_is_refused(share: float) -> None:
    with pytest.raises(ValueError, match="share"):
        plan_batches([], {}, level_dbm=LEVEL, share=share)


@pytest.mark.parametrize("percentage", [0, -5, 101, float("nan")])
def test_a_percentage_out_of_range_is_refused(percentage: float) -> None:
    with pytest.raises(ValueError, match="percentage"):
        plan_batches([], {}, level_dbm=LEVEL, share=1, percentages=[percentage])


names = st.sampled_from("abcdefghijkl")
reports = st.lists(st.builds(Heard, names, names, st.integers(-90, -50).map(float)), max_size=40)


@given(
    reports,
    st.dictionaries(names, st.sampled_from(["Pier", "Attic"]), max_size=12),
    st.floats(0.01, 1),
    st.sets(names),
    st.floats(1, 100),
)
def test_whatever_is_heard(
    heard: list[Heard], sites: dict[str, str], share: float, critical: set[str], percentage: float
) -> None:
    plan = plan_batches(
        heard, sites, level_dbm=LEVEL, share=share, critical=critical, percentages=[percentage], reported=set(sites)
    )
    assert sorted(name for batch in plan.batches for name in batch) == sorted(sites)
    assert plan.bound <= len(plan.batches)
    numbers = {name: number for number, batch in enumerate(plan.batches) for name in batch}
    loud = [each for each in heard if each.dbm >= LEVEL and {each.listener, each.neighbour} <= set(sites)]
    assert all(numbers[each.listener] != numbers[each.neighbour] for each in loud if each.listener != each.neighbour)
    for batch in plan.batches:
        for site, count in Counter(sites[name] for name in batch).items():
            assert count == 1 or count <= share * list(sites.values()).count(site) + 1e-9
    served = {
        each.listener for each in loud if numbers[each.neighbour] != numbers[each.listener]
    }  # those that hear one which stays up
    assert {hole.ap for hole in plan.holes} == set(sites) - served
    assert [hole.critical for hole in plan.holes] == sorted((hole.critical for hole in plan.holes), reverse=True)
    (rolling,) = plan.rolling
    assert rolling.at_least <= rolling.simulated <= len(sites)
