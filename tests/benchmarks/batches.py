"""Batches of 6,000 access points that hear 20 others each: the CPU's seconds, and how many batches against the bound.

Two kinds of places. On a plane of thirty sites an access point hears those within a radius. In planted graphs the
access points are dealt into k batches beforehand and hear others only across them, by lot, with k of different batches
that all hear each other: so k batches are enough, and fewer are not.
"""

from __future__ import annotations

import math
import random
import time
from collections import defaultdict
from collections.abc import Iterable
from itertools import combinations, product

from collector.plan.batches import Heard, plan_batches

APS, NEIGHBOURS, SECONDS, RATIO = 6_000, 20, 5.0, 1.1
PLANTED = (7, 8, 10, 12, 15)
FEW_PLANTED = (4, 5, 6)
Edges = set[tuple[int, int]]


def on_a_plane(seed: int) -> tuple[Edges, dict[str, str]]:
    """Those within the radius that gives 20 neighbours in the mean, and sites of a sixth by a fifth of the plane."""
    lot = random.Random(seed)
    radius = math.sqrt(NEIGHBOURS / (APS * math.pi))
    places = [(lot.random(), lot.random()) for _ in range(APS)]
    cells: dict[tuple[int, int], list[int]] = defaultdict(list)
    for number, (x, y) in enumerate(places):
        cells[int(x / radius), int(y / radius)].append(number)
    edges: Edges = set()
    for (x, y), members in list(cells.items()):
        near = [each for a, b in product((-1, 0, 1), repeat=2) for each in cells.get((x + a, y + b), ())]
        edges |= {(a, b) for a in members for b in near if a < b and math.dist(places[a], places[b]) < radius}
    return edges, {str(number): f"{int(x * 6)}/{int(y * 5)}" for number, (x, y) in enumerate(places)}


def planted(batches: int, seed: int) -> tuple[Edges, dict[str, str]]:
    """Access points dealt into batches, with 20 neighbours in the mean, all of other batches."""
    lot = random.Random(seed)
    names = lot.sample(range(APS), APS)
    edges: Edges = {(min(pair), max(pair)) for pair in combinations(names[:batches], 2)}
    while len(edges) < APS * NEIGHBOURS // 2:
        one, other = lot.randrange(APS), lot.randrange(APS)
        if one % batches != other % batches:
            edges.add((min(names[one], names[other]), max(names[one], names[other])))
    return edges, {str(number): "one" for number in range(APS)}


def measure(what: str, edges: Iterable[tuple[int, int]], sites: dict[str, str], share: float) -> None:
    """Print one line."""
    heard = [Heard(str(a), str(b), -60) for one, other in edges for a, b in ((one, other), (other, one))]
    start = time.process_time()
    plan = plan_batches(heard, sites, level_dbm=-70, share=share, percentages=(5, 15, 25))
    seconds = time.process_time() - start
    number, clique = len(plan.batches), len(plan.hear_each_other)
    kind = "proven fewest" if plan.proven_fewest else "fewest found"
    against = f"{number / (max(clique, plan.share_bound) + 1):.2f} x (bound + 1)"
    rounds = ", ".join(f"{each.percentage:g} %: {each.simulated} rounds" for each in plan.rolling)
    print(
        f"{what}: {number} batches, {kind}; clique {clique}, share needs {plan.share_bound}; {against}; "
        f"{seconds:.2f} s CPU; rolling {rounds}"
    )


def main() -> None:
    """Print a line for each graph; allowed are 5 s and 1.1 x (bound + 1)."""
    print(f"{APS} access points, {NEIGHBOURS} neighbours in the mean; allowed: {SECONDS} s CPU, {RATIO} x (bound + 1)")
    edges, sites = on_a_plane(1)
    for share in (1, 0.25, 0.05):
        measure(f"plane, share {share:.0%}", edges, sites, share)
    for batches in PLANTED:
        measure(f"planted {batches}", *planted(batches, batches), 1)
    print(
        "fewer planted than a graph by lot with as many neighbours needs, so that they are hard to find; no limit kept:"
    )
    for batches in FEW_PLANTED:
        measure(f"planted {batches}", *planted(batches, batches), 1)


if __name__ == "__main__":
    main()
