"""Which access points restart together: no two that hear each other, never too many of a site, few batches.

What an access point (AP) hears of another is the other's signal where the first one stands. So one side's report at or
above the level is enough to forbid a joint restart, since either one may be serving for the other; but only an AP's own
report shows that its place is served while it is away.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from math import ceil, floor

from collector.plan.colouring import Colouring, fewest
from collector.plan.partial_colouring import Graph


@dataclass(frozen=True)
class Heard:
    """One line of a neighbour report: `listener` hears `neighbour` at so many dBm."""

    listener: str
    neighbour: str
    dbm: float


class Why(StrEnum):
    """Why an AP's restart leaves a hole, or may."""

    HEARS_NONE = "it hears no neighbour at or above the level"
    NO_REPORT = "its own neighbour report was not seen, so that nobody knows"


@dataclass(frozen=True)
class Hole:
    """An AP that nothing is known to stand in for while it restarts, and the number of its batch, from 1.

    That AP is in a batch without its neighbours, so all of those it hears stay up meanwhile: what leaves a hole is to
    hear none, whatever the batches.
    """

    ap: str
    site: str
    critical: bool
    why: Why
    batch: int


@dataclass(frozen=True)
class Rolling:
    """A controller's own restart by percentage: `percentage` of all its APs at most in each round.

    `at_least` is the number of rounds that the percentage alone allows, `simulated` what a picker takes that goes
    through the APs left in the order of their names and takes none that hears one already down in the round, or is
    heard by it. How a controller really picks isn't known here. `over_share` are the sites of which a simulated round
    takes more than the policy's share.
    """

    percentage: float
    at_least: int
    simulated: int
    over_share: tuple[str, ...]


@dataclass(frozen=True)
class BatchPlan:
    """The batches in order, each with its APs by name, and the holes, those in critical areas first.

    `bound` is proven: with fewer batches it can't be done. It comes from APs that all hear each other, which
    `hear_each_other` names, from the share of a site (`share_bound`), or from having tried all ways. `unreported` are
    the APs whose own report was not seen: they may hear others than is known, and restart with them.
    """

    batches: tuple[tuple[str, ...], ...]
    bound: int
    share_bound: int
    hear_each_other: tuple[str, ...]
    holes: tuple[Hole, ...]
    unreported: tuple[str, ...]
    rolling: tuple[Rolling, ...]

    @property
    def proven_fewest(self) -> bool:
        """Whether fewer batches are impossible; otherwise these are only the fewest found."""
        return len(self.batches) == self.bound


def plan_batches(
    heard: Iterable[Heard],
    sites: Mapping[str, str],
    *,
    level_dbm: float,
    share: float,
    critical: Collection[str] = (),
    reported: Collection[str] | None = None,
    percentages: Sequence[float] = (),
) -> BatchPlan:
    """The batches for the APs that `sites` gives the site of.

    `share` is the part of a site (above 0, at most 1) that may restart together; one AP always may. `reported` are the
    APs whose neighbour report was seen, even an empty one; without it, those that heard anything at any level. Reports
    of APs that don't restart here neither join nor serve. ValueError where a share or percentage is out of its range.
    """
    _check(share, percentages)
    heard = tuple(heard)
    names = sorted(sites)
    graph = _graph(heard, names, sites, level_dbm, share)
    colouring = fewest(graph)
    batches = _in_order(colouring, names)
    seen = {each.listener for each in heard} if reported is None else set(reported)
    return BatchPlan(
        batches=batches,
        bound=colouring.bound,
        share_bound=colouring.group_bound,
        hear_each_other=tuple(names[each] for each in colouring.clique),
        holes=_holes(heard, sites, level_dbm, seen, critical, batches),
        unreported=tuple(name for name in names if name not in seen),
        rolling=tuple(_rolling(each, graph, sorted(set(sites.values()))) for each in percentages),
    )


def _check(share: float, percentages: Sequence[float]) -> None:
    if not 0 < share <= 1:
        raise ValueError(f"the share of a site must be above 0 and at most 1, not {share}")
    for each in percentages:
        if not 0 < each <= 100:
            raise ValueError(f"a percentage must be above 0 and at most 100, not {each}")


def _exact(number: float) -> Fraction:
    # 0.145 of 200 is 29, not the 28 that its nearest binary number gives.
    return Fraction(str(number))


def _graph(
    heard: Iterable[Heard], names: Sequence[str], sites: Mapping[str, str], level_dbm: float, share: float
) -> Graph:
    at = {name: number for number, name in enumerate(names)}
    neighbours: list[set[int]] = [set() for _ in names]
    for each in heard:
        one, other = at.get(each.listener), at.get(each.neighbour)
        if one is not None and other is not None and one != other and each.dbm >= level_dbm:
            neighbours[one].add(other)
            neighbours[other].add(one)
    groups = {site: number for number, site in enumerate(sorted(set(sites.values())))}
    sizes = [0] * len(groups)
    for name in names:
        sizes[groups[sites[name]]] += 1
    limits = tuple(max(1, floor(size * _exact(share))) for size in sizes)
    return Graph(tuple(map(frozenset, neighbours)), tuple(groups[sites[name]] for name in names), limits)


def _in_order(colouring: Colouring, names: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """The batches, the smallest first: a restart that goes wrong is seen where it hurts least."""
    batches: list[list[str]] = [[] for _ in range(colouring.number)]
    for name, colour in zip(names, colouring.colours, strict=True):
        batches[colour].append(name)
    return tuple(tuple(batch) for batch in sorted(batches, key=lambda batch: (len(batch), batch)))


def _holes(
    heard: Iterable[Heard],
    sites: Mapping[str, str],
    level_dbm: float,
    reported: Collection[str],
    critical: Collection[str],
    batches: Sequence[Sequence[str]],
) -> tuple[Hole, ...]:
    served = {
        each.listener
        for each in heard
        if each.dbm >= level_dbm and each.neighbour in sites and each.neighbour != each.listener
    }
    found = [
        Hole(name, sites[name], name in critical, Why.HEARS_NONE if name in reported else Why.NO_REPORT, number)
        for number, batch in enumerate(batches, 1)
        for name in batch
        if name not in served
    ]
    return tuple(sorted(found, key=lambda hole: (not hole.critical, hole.site, hole.ap)))


def _rolling(percentage: float, graph: Graph, sites: Sequence[str]) -> Rolling:
    share = _exact(percentage) / 100
    most = max(1, floor(len(graph.neighbours) * share))
    left = list(range(len(graph.neighbours)))
    rounds, over = 0, set[int]()
    while left:
        down = _picked(left, graph, most)
        left = [each for each in left if each not in down]
        over |= _over(down, graph)
        rounds += 1
    at_least = min(len(graph.neighbours), ceil(1 / share))
    return Rolling(percentage, at_least, rounds, tuple(sites[group] for group in sorted(over)))


def _picked(left: Iterable[int], graph: Graph, most: int) -> set[int]:
    down: set[int] = set()
    for each in left:
        if len(down) == most:
            break
        if graph.neighbours[each].isdisjoint(down):
            down.add(each)
    return down


def _over(down: Iterable[int], graph: Graph) -> set[int]:
    """The groups of which more are down than their limit allows."""
    counts: dict[int, int] = {}
    for each in down:
        counts[graph.groups[each]] = counts.get(graph.groups[each], 0) + 1
    return {group for group, count in counts.items() if count > graph.limits[group]}
