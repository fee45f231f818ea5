"""The slope of a series, robust against outliers: the median of the slopes between every two of its points.

P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", Journal of the American Statistical
Association 63 (1968), 1379-1389. Up to 29 % of the points may be anything. Our own few lines because the library that
has it (scipy) takes 200 MB with what it needs, and nothing else here does; the tests hold it to that library's figures.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import sqrt
from statistics import NormalDist, median


@dataclass(frozen=True)
class Slope:
    """The slope in units of y a unit of x, and the ends of its confidence interval."""

    median: float
    low: float
    high: float


def slope(points: Sequence[tuple[float, float]], confidence: float = 0.95) -> Slope:
    """The slope through points (x, y); the time it takes grows with the square of their number.

    Points of one x tell nothing about each other. ValueError where there are no two of different x. The interval takes
    the points for independent of each other, and no two of them for one night's.
    """
    slopes = sorted((y2 - y1) / (x2 - x1) for (x1, y1), (x2, y2) in combinations(points, 2) if x1 != x2)
    if not slopes:
        raise ValueError("a slope needs two points of different x")
    # Sen's equation 2.6, and the two slopes that stand so far from the middle of them all.
    half = NormalDist().inv_cdf((1 + confidence) / 2) * sqrt(_variance(points))
    low = max(round((len(slopes) - half) / 2) - 1, 0)
    high = min(round((len(slopes) + half) / 2), len(slopes) - 1)
    return Slope(median(slopes), slopes[low], slopes[high])


def _variance(points: Sequence[tuple[float, float]]) -> float:
    """Of Kendall's statistic, less what tied values take from it."""
    ties = [count for axis in (0, 1) for count in Counter(point[axis] for point in points).values() if count > 1]
    return (_spread(len(points)) - sum(_spread(count) for count in ties)) / 18


def _spread(count: int) -> int:
    return count * (count - 1) * (2 * count + 5)
