"""Three-point estimates, sums and moments, against scipy, a seeded simulation and the zone's own clocks.

The mean and the deviation are those of "Application of a Technique for Research and Development Program Evaluation",
Operations Research 7(5), 1959.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from collector.plan.plan import Estimate
from collector.plan.times import beta_shape, deviation, later, mean, percentile, shown, total, zone_of
from inventory.pairs import Member, Pair, Window

EVENING_WORK = [
    Estimate(60 * a, 60 * m, 60 * b)
    for a, m, b in [(4, 6, 12), (8, 11, 20), (4, 7, 15), (1, 2, 5), (12, 18, 32), (12, 16, 28), (15, 20, 40), (1, 2, 4)]
]


@st.composite
def estimates(draw: st.DrawFn) -> Estimate:
    a, m, b = sorted(draw(st.lists(st.integers(0, 10_000), min_size=3, max_size=3)))
    return Estimate(a, m, b + 1)


def test_mean_and_deviation_are_the_papers() -> None:
    one = Estimate(6, 12, 30)
    assert one.mean == (6 + 4 * 12 + 30) / 6
    assert one.deviation == (30 - 6) / 6
    assert mean([one, one]) == 28
    assert deviation([Estimate(0, 9, 18), Estimate(0, 12, 24)]) == 5, "3 and 4 at right angles"


@pytest.mark.parametrize("values", [(3, 2, 4), (-1, 2, 3), (1, 5, 4), (1, 2, float("nan")), (1, 2, float("inf"))])
def test_what_is_no_estimate_is_refused(values: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="no durations"):
        Estimate(*values)


@given(estimates())
def test_a_stage_has_the_distribution_that_scipy_gives_it(one: Estimate) -> None:
    """scipy.stats.beta as the independent distribution; tolerance: a thousandth of the stage's span."""
    alpha, beta = beta_shape(one)
    span = one.pessimistic - one.optimistic
    reference = stats.beta(alpha, beta, loc=one.optimistic, scale=span)
    assert reference.mean() == pytest.approx(one.mean)
    assert reference.std() == pytest.approx(one.deviation)
    for percent in (10, 50, 90, 99):
        assert percentile([one], percent) == pytest.approx(reference.ppf(percent / 100), abs=0.001 * span)


@given(st.lists(estimates(), min_size=1, max_size=6))
@settings(max_examples=30)
def test_a_sum_keeps_the_mean_and_the_deviation(work: list[Estimate]) -> None:
    found = total(tuple(work))
    points = [found.start + number * found.step for number in range(len(found.masses))]
    assert sum(found.masses) == pytest.approx(1)
    middle = sum(point * mass for point, mass in zip(points, found.masses, strict=True))
    spread = sum((point - middle) ** 2 * mass for point, mass in zip(points, found.masses, strict=True)) ** 0.5
    assert middle == pytest.approx(mean(work))
    assert spread == pytest.approx(deviation(work), rel=0.01, abs=found.step)


@pytest.mark.parametrize("work", [EVENING_WORK, EVENING_WORK[:2], [Estimate(0, 0, 60), Estimate(0, 300, 300)]])
def test_the_percentiles_of_a_sum_are_those_of_a_simulation(work: list[Estimate]) -> None:
    """A simulation with numpy's beta numbers, seeded; tolerance: half a hundredth of the sum's span."""
    generator = np.random.default_rng(20270206)
    drawn = np.zeros(400_000)
    for one in work:
        drawn += one.optimistic + (one.pessimistic - one.optimistic) * generator.beta(*beta_shape(one), drawn.size)
    span = sum(one.pessimistic - one.optimistic for one in work)
    for percent in (10, 50, 90):
        assert percentile(work, percent) == pytest.approx(float(np.quantile(drawn, percent / 100)), abs=0.005 * span)


def test_a_long_sum_is_nearly_normal() -> None:
    """The central limit theorem, with scipy.stats.norm; tolerance: a hundredth of the deviation at 30 stages alike."""
    work = [Estimate(60, 120, 180)] * 30
    reference = stats.norm(mean(work), deviation(work))
    for percent in (10, 50, 90):
        assert percentile(work, percent) == pytest.approx(reference.ppf(percent / 100), abs=0.01 * deviation(work))


def test_durations_that_are_certain_add_up() -> None:
    assert percentile([Estimate(5, 5, 5), Estimate(7, 7, 7)], 90) == 12
    assert percentile([], 90) == 0
    mixed = [Estimate(100, 100, 100), Estimate(0, 10, 20)]
    assert percentile(mixed, 90) == pytest.approx(100 + percentile(mixed[1:], 90))


def test_what_is_no_percentile_is_refused() -> None:
    with pytest.raises(ValueError, match="no percentile"):
        percentile(EVENING_WORK, 100)


# The clocks of the European Union change at 01:00 UTC on the last Sundays of March and October (directive 2000/84/EC).
SPRING = datetime(2027, 3, 28, 0, 30, tzinfo=UTC)
AUTUMN = datetime(2027, 10, 31, 0, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("start", "before", "after"),
    [(SPRING, "2027-03-28T01:30:00+01:00", "2027-03-28T03:30:00+02:00"),
     (AUTUMN, "2027-10-31T02:30:00+02:00", "2027-10-31T02:30:00+01:00")],
)  # fmt: skip
def test_an_hour_is_an_hour_across_a_change_of_clocks(start: datetime, before: str, after: str) -> None:
    zone = ZoneInfo("Europe/Amsterdam")
    first, second = shown(start, zone), shown(later(shown(start, zone), 3600), zone)
    assert (first.isoformat(), second.isoformat()) == (before, after)
    assert second - first == timedelta(hours=1), "shown moments may be subtracted as they are"


def test_later_is_later_by_so_many_seconds_whatever_clocks_show() -> None:
    half_past_one = datetime(2027, 3, 28, 1, 30, tzinfo=ZoneInfo("Europe/Amsterdam"))
    assert later(half_past_one, 3600) == datetime(2027, 3, 28, 1, 30, tzinfo=UTC)


def test_moments_are_shown_to_the_second() -> None:
    assert shown(datetime(2027, 2, 6, 22, 59, 59, 600_000, tzinfo=UTC), UTC).isoformat() == "2027-02-06T23:00:00+00:00"


def test_the_zone_is_the_pairs_then_the_windows_then_utc() -> None:
    members = (Member("a", "192.0.2.1", 22), Member("b", "192.0.2.2", 22))
    window = Window(datetime.fromisoformat("2027-02-06T23:00:00+05:30"), 60)
    assert zone_of(Pair("quay", "Quay", members, "17.12.4", window=window, time_zone="Europe/Oslo"))[1] == "Europe/Oslo"
    assert zone_of(Pair("quay", "Quay", members, "17.12.4", window=window))[1] == "UTC+05:30"
    assert zone_of(Pair("quay", "Quay", members, "17.12.4"))[1] == "UTC"
