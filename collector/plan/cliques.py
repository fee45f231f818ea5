"""Large cliques of a graph: vertices that are all neighbours of each other, so that each needs a colour of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush

Neighbours = Sequence[frozenset[int]]
_LOOKS = 3_000_000


def smallest_last(neighbours: Neighbours) -> dict[int, int]:
    """The vertices in the order in which the one with the fewest neighbours left is taken out (J. ACM 30, 1983).

    With each stands the most neighbours that any had left up to then: the densest parts come last and have the most.
    """
    left = [len(each) for each in neighbours]
    heap = [(degree, vertex) for vertex, degree in enumerate(left)]
    heapify(heap)
    most = 0
    order: dict[int, int] = {}
    while heap:
        degree, vertex = heappop(heap)
        if vertex in order or degree != left[vertex]:
            continue
        most = max(most, degree)
        order[vertex] = most
        for other in neighbours[vertex]:
            if other not in order:
                left[other] -= 1
                heappush(heap, (left[other], other))
    return order


def large_clique(neighbours: Neighbours, looks: int = _LOOKS) -> tuple[int, ...]:
    """The largest clique that a bounded number of looks at a vertex finds: on sparse graphs it is the largest there is.

    Each vertex is searched with those that come behind it in the smallest-last order, the densest part first.
    """
    order = smallest_last(neighbours)
    place = {vertex: number for number, vertex in enumerate(order)}
    search = _Search(looks)
    for vertex in sorted(order, key=lambda each: (-order[each], place[each])):
        behind = sorted(other for other in neighbours[vertex] if place[other] > place[vertex])
        if len(behind) >= len(search.best):
            search.among(vertex, behind, neighbours)
    return tuple(sorted(search.best))


@dataclass
class _Branch:
    """A clique, the candidates that may still join it (as bits), and those of them that were not tried yet."""

    chosen: tuple[int, ...]
    candidates: int
    left: list[tuple[int, int]]


class _Search:
    """Branch and bound; a greedy colouring of the candidates bounds what they can add (J. Global Optim. 37, 2007)."""

    def __init__(self, looks: int) -> None:
        self.best: tuple[int, ...] = ()
        self._looks = looks

    def among(self, vertex: int, candidates: Sequence[int], neighbours: Neighbours) -> None:
        """Look for a clique that holds the vertex and otherwise only candidates, which are all its neighbours."""
        inside = frozenset(candidates)
        candidates = [name for name in candidates if len(neighbours[name] & inside) >= len(self.best) - 1]
        if len(candidates) < len(self.best):
            return
        self._names = candidates
        at = {name: number for number, name in enumerate(candidates)}
        self._masks = [sum(1 << at[other] for other in neighbours[name] & at.keys()) for name in candidates]
        self._expand((vertex,), (1 << len(candidates)) - 1)

    def _expand(self, chosen: tuple[int, ...], candidates: int) -> None:
        branches = [self._branch(chosen, candidates)]
        while branches:
            branch = branches[-1]
            if not branch.left or len(branch.chosen) + branch.left[-1][1] <= len(self.best) or self._looks <= 0:
                branches.pop()
                continue
            each, _ = branch.left.pop()
            branch.candidates &= ~(1 << each)
            branches.append(self._branch((*branch.chosen, self._names[each]), branch.candidates & self._masks[each]))

    def _branch(self, chosen: tuple[int, ...], candidates: int) -> _Branch:
        self._looks -= candidates.bit_count() + 1
        if len(chosen) > len(self.best):
            self.best = chosen
        return _Branch(chosen, candidates, self._coloured(candidates))

    def _coloured(self, candidates: int) -> list[tuple[int, int]]:
        """Each candidate with the number of colours that it and those before it take."""
        found: list[tuple[int, int]] = []
        colours = 0
        while candidates:
            colours += 1
            free = candidates
            while free:
                lowest = free & -free
                each = lowest.bit_length() - 1
                found.append((each, colours))
                candidates ^= lowest
                free &= ~(lowest | self._masks[each])
        return found
