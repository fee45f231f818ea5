"""The slope against scipy.stats.theilslopes, which follows the same paper."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import theilslopes

from collector.nights.slope import Slope, slope

Points = list[tuple[float, float]]

_DAYS = st.lists(st.integers(0, 400), min_size=2, max_size=30, unique=True)
_BYTES = st.integers(0, 26_458_804_224) | st.integers(0, 3)


def figures(found: Slope) -> list[float]:
    return [found.median, found.low, found.high]


def by_scipy(points: Points, confidence: float = 0.95) -> object:
    found = theilslopes([y for _, y in points], [x for x, _ in points], confidence)
    return pytest.approx([found.slope, found.low_slope, found.high_slope])


@given(st.data(), _DAYS)
def test_whatever_the_series_the_figures_are_scipys(data: st.DataObject, days: list[int]) -> None:
    """Nights missing and figures that tie among them."""
    figure = st.lists(_BYTES, min_size=len(days), max_size=len(days))
    points = [(float(x), float(y)) for x, y in zip(days, data.draw(figure), strict=True)]
    assert figures(slope(points)) == by_scipy(points)


@pytest.mark.parametrize("confidence", [0.5001, 0.8, 0.95, 0.999])
@pytest.mark.parametrize("many", [2, 3, 7, 30, 60])
def test_the_interval_is_scipys_at_any_confidence(confidence: float, many: int) -> None:
    random = Random(many)
    points = [(day + random.random() / 10, 1e10 - 4e7 * day + random.gauss(0, 2e7)) for day in range(many)]
    assert figures(slope(points, confidence)) == by_scipy(points, confidence)


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3)), min_size=8, max_size=12, unique=True))
def test_points_of_one_x_are_counted_as_scipy_counts_them(pairs: list[tuple[int, int]]) -> None:
    points = [(float(x), float(y)) for x, y in pairs]
    if len({x for x, _ in points}) > 2:
        assert figures(slope(points)) == by_scipy(points)


def test_a_constant_series_has_no_slope_at_all() -> None:
    assert slope([(float(day), 7.0) for day in range(9)]) == Slope(0, 0, 0)


def test_two_points_have_one_slope() -> None:
    assert slope([(0, 10), (4, 2)]) == Slope(-2, -2, -2)


@pytest.mark.parametrize("points", [[], [(1, 2)], [(1, 2), (1, 3)]])
def test_without_two_different_x_there_is_none(points: Points) -> None:
    with pytest.raises(ValueError, match="two points of different x"):
        slope(points)


def test_a_quarter_of_the_points_may_be_anything() -> None:
    points = [(float(day), -3.0 * day + (1e9 if day % 4 == 2 else 0)) for day in range(24)]
    assert slope(points).median == pytest.approx(-3)
