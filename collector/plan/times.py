"""Three-point estimates, the distribution of their sum, and moments on the wall clock.

A duration's mean is (a + 4m + b) / 6 and its standard deviation (b - a) / 6 ("Application of a Technique for Research
and Development Program Evaluation", Operations Research 7(5), 1959). It is taken for the beta distribution on [a, b]
that has exactly these two. Stages one after the other are taken for independent of each other (as in that paper), so
that their sum's distribution is the convolution; it is computed on a grid of cells, each stage's mean kept exactly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from functools import lru_cache
from itertools import pairwise
from math import ceil, exp, lgamma, log, log1p
from zoneinfo import ZoneInfo

from collector.plan.plan import Estimate
from inventory.pairs import Pair

_CELLS = 600
_FRACTION_STEPS = 300
_TINY = 1e-300
_CLOSE = 1e-13


@dataclass(frozen=True)
class Sum:
    """How long several stages take together, in seconds: masses on points `step` apart, the first one at `start`."""

    start: float
    step: float
    masses: tuple[float, ...]

    def percentile(self, percent: float) -> float:
        """The duration that isn't exceeded in so many of 100 cases, each point's mass spread evenly around it."""
        if not 0 < percent < 100:
            raise ValueError(f"{percent} is no percentile between 0 and 100")
        wanted, reached = percent / 100, 0.0
        for number, mass in enumerate(self.masses):
            if reached + mass >= wanted:
                return self.start + (number - 0.5 + (wanted - reached) / mass) * self.step
            reached += mass
        return self.start + (len(self.masses) - 0.5) * self.step


def mean(estimates: Sequence[Estimate]) -> float:
    """The mean of the sum, in seconds."""
    return sum(estimate.mean for estimate in estimates)


def deviation(estimates: Sequence[Estimate]) -> float:
    """The standard deviation of the sum of independent stages, in seconds."""
    return float(sum(estimate.deviation**2 for estimate in estimates) ** 0.5)


def percentile(estimates: Sequence[Estimate], percent: float) -> float:
    """The percentile of the sum, in seconds; 0 for no stages."""
    return total(tuple(estimates)).percentile(percent)


@lru_cache(maxsize=2048)
def total(estimates: tuple[Estimate, ...]) -> Sum:
    """The distribution of the sum of independent stages."""
    width = sum(estimate.pessimistic - estimate.optimistic for estimate in estimates)
    start = sum(estimate.optimistic for estimate in estimates)
    if width <= 0:
        return Sum(start, 0.0, (1.0,))
    step = width / _CELLS
    start, masses = 0.0, [1.0]
    for estimate in estimates:
        cells = _cells(estimate, step)
        # Cells stand for their middles; the little that this misses of the mean is given back here.
        start += estimate.mean - step * sum(number * mass for number, mass in enumerate(cells))
        masses = _convolved(masses, cells)
    return Sum(start, step, tuple(masses))


def beta_shape(estimate: Estimate) -> tuple[float, float]:
    """The two parameters of the beta distribution on [a, b] with the paper's mean and deviation; needs a < b."""
    place = (estimate.mean - estimate.optimistic) / (estimate.pessimistic - estimate.optimistic)
    together = 36 * place * (1 - place) - 1
    return place * together, (1 - place) * together


def _cells(estimate: Estimate, step: float) -> list[float]:
    width = estimate.pessimistic - estimate.optimistic
    if width <= 0:
        return [1.0]
    alpha, beta = beta_shape(estimate)
    number = max(1, ceil(width / step - 1e-9))
    edges = [_incomplete_beta(alpha, beta, min(1.0, step * place / width)) for place in range(number)] + [1.0]
    return [upper - lower for lower, upper in pairwise(edges)]


def _convolved(first: Sequence[float], second: Sequence[float]) -> list[float]:
    found = [0.0] * (len(first) + len(second) - 1)
    for place, mass in enumerate(first):
        for beside, other in enumerate(second, place):
            found[beside] += mass * other
    return found


def _incomplete_beta(alpha: float, beta: float, x: float) -> float:
    """The regularised incomplete beta function (DLMF 8.17.2), by the continued fraction of DLMF 8.17.22."""
    if x <= 0 or x >= 1:
        return float(x >= 1)
    front = exp(lgamma(alpha + beta) - lgamma(alpha) - lgamma(beta) + alpha * log(x) + beta * log1p(-x))
    # The fraction converges fast on this side of the mean only; DLMF 8.17.4 mirrors the other one.
    if x < (alpha + 1) / (alpha + beta + 2):
        return front / alpha / _fraction(alpha, beta, x)
    return 1 - front / beta / _fraction(beta, alpha, 1 - x)


def _fraction(alpha: float, beta: float, x: float) -> float:
    """1 + d1/(1 + d2/(1 + …)), front to back."""
    value, numerator, denominator = 1.0, 1.0, 0.0
    for step in range(1, _FRACTION_STEPS):
        term = _term(alpha, beta, x, step)
        denominator = 1 / (_away_from_zero(1 + term * denominator))
        numerator = _away_from_zero(1 + term / numerator)
        value *= numerator * denominator
        if abs(numerator * denominator - 1) < _CLOSE:
            break
    return value


def _term(alpha: float, beta: float, x: float, step: int) -> float:
    half = step // 2
    if step % 2:
        return -(alpha + half) * (alpha + beta + half) * x / ((alpha + 2 * half) * (alpha + 2 * half + 1))
    return half * (beta - half) * x / ((alpha + 2 * half - 1) * (alpha + 2 * half))


def _away_from_zero(value: float) -> float:
    return value if abs(value) > _TINY else _TINY


def zone_of(pair: Pair) -> tuple[tzinfo, str]:
    """The zone in which the pair's moments are shown, and its name: its own, else its window's offset, else UTC."""
    if pair.time_zone is not None:
        return ZoneInfo(pair.time_zone), pair.time_zone
    offset = pair.window.start.utcoffset() if pair.window is not None else None
    if offset is None:
        return UTC, "UTC"
    zone = timezone(offset)
    return zone, str(zone)


def shown(moment: datetime, zone: tzinfo) -> datetime:
    """The moment as the zone's clocks show it, with the offset in force then, to the second.

    The offset is fixed in the result: two moments of one changing zone would be subtracted as clocks show them.
    """
    rounded = (moment.astimezone(UTC) + timedelta(microseconds=500_000)).replace(microsecond=0)
    local = rounded.astimezone(zone)
    offset = local.utcoffset() or timedelta(0)
    return local.replace(tzinfo=timezone(offset, local.tzname() or ""), fold=0)


def later(moment: datetime, seconds: float) -> datetime:
    """The moment so many seconds later (earlier where negative), in UTC: no clock change lengthens a stage."""
    return moment.astimezone(UTC) + timedelta(seconds=seconds)
