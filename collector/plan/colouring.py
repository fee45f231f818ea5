"""Few colours for a graph whose neighbours differ and whose groups have limits, and how few are possible at all.

A first colouring, then a bounded search for one colour less as often as it succeeds, then the sizes are evened out. No
clock and no chance that can't be repeated: the same graph gives the same colours everywhere.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush

from collector.plan.cliques import large_clique
from collector.plan.exact_colouring import Outcome, decide
from collector.plan.partial_colouring import NONE, Graph, PartialColouring

SMALL = 120
_WORK_EACH = 1_500
_LEAST_WORK = 400_000
_EXACT_STEPS = 60_000
_SAMPLE = 10
_SEED = 17


@dataclass(frozen=True)
class Colouring:
    """The colour of each vertex, 0 … number-1, and the proven `bound`: with fewer colours than that there is none.

    The vertices of `clique` are all neighbours of each other, `group_bound` is what the limits alone need; where the
    bound is above both, all colourings with fewer have been tried.
    """

    colours: tuple[int, ...]
    number: int
    bound: int
    group_bound: int
    clique: tuple[int, ...]

    @property
    def proven(self) -> bool:
        """Whether no colouring has fewer colours."""
        return self.number == self.bound


def fewest(graph: Graph, work: int | None = None, exact_steps: int = _EXACT_STEPS) -> Colouring:
    """The colouring with the fewest colours that a bounded search finds, its colours taken about equally often.

    `work` bounds the search for fewer colours in looks at a vertex or a colour, by default by the number of vertices;
    `exact_steps` bounds the trial of all colourings, which is made for graphs of at most SMALL vertices.
    """
    if work is None:
        work = max(_LEAST_WORK, _WORK_EACH * len(graph.neighbours))
    clique = large_clique(graph.neighbours)
    bound = max(len(clique), graph.group_bound())
    colours = _fewer(graph, first_colouring(graph), bound, work)
    if len(graph.neighbours) <= SMALL:
        colours, bound = _exactly(graph, colours, bound, clique, exact_steps)
    number = _number(colours)
    even = even_out(PartialColouring.of(graph, colours, number))
    return Colouring(tuple(even), number, bound, graph.group_bound(), clique)


def first_colouring(graph: Graph) -> list[int]:
    """Vertex by vertex the lowest colour that fits, first where the neighbours have most colours (CACM 22, 1979)."""
    state = PartialColouring(graph)
    heap = [(0, -len(neighbours), vertex) for vertex, neighbours in enumerate(graph.neighbours)]
    heapify(heap)
    lowest = [0] * len(graph.limits)
    while heap:
        colours, _, vertex = heappop(heap)
        if state.colours[vertex] != NONE or -colours != len(state.around[vertex]):
            continue
        group = graph.groups[vertex]
        while state.full(group, lowest[group]):
            lowest[group] += 1
        colour = lowest[group]
        while not state.fits(vertex, colour):
            colour += 1
        state.number = max(state.number, colour + 1)
        _give(state, vertex, colour, heap)
    return state.colours


def _give(state: PartialColouring, vertex: int, colour: int, heap: list[tuple[int, int, int]]) -> None:
    state.give(vertex, colour)
    for other in state.graph.neighbours[vertex]:
        if state.colours[other] == NONE and state.around[other][colour] == 1:
            heappush(heap, (-len(state.around[other]), -len(state.graph.neighbours[other]), other))


def _fewer(graph: Graph, colours: list[int], bound: int, work: int) -> list[int]:
    """As few colours as the work finds: half of it for the bound itself, the rest for one colour less at a time.

    The leap comes first, since few colours that are there by design are found from afar or not at all.
    """
    if _number(colours) == bound:
        return colours
    found = _Search(graph, work // 2).within(bound, colours)
    if found is not None:
        return found
    search = _Search(graph, work // 2)
    while (number := _number(colours)) > bound + 1:
        found = search.within(number - 1, colours)
        if found is None:
            break
        colours = found
    return colours


def _exactly(graph: Graph, colours: list[int], bound: int, clique: Sequence[int], steps: int) -> tuple[list[int], int]:
    """The colours, fewer if a trial of all colourings finds them, and the bound, raised if it finds none."""
    while (number := _number(colours)) > bound:
        outcome, found = decide(graph, number - 1, clique, steps)
        if outcome is Outcome.UNFINISHED:
            break
        if found is None:
            return colours, number
        colours = found
    return colours, bound


def _number(colours: Sequence[int]) -> int:
    return max(colours, default=NONE) + 1


class _Search:
    """Colours a graph with a given number of colours, as far as its work reaches.

    A vertex without a colour takes one from those that stand in its way, which then look for another and may not come
    back for a while: tabu search over partial colourings (Computers & Operations Research 35, 2008), with limits.
    """

    def __init__(self, graph: Graph, work: int) -> None:
        self._graph = graph
        self._work = work
        self._random = random.Random(_SEED)  # noqa: S311 - nothing secret, and the same everywhere

    def within(self, number: int, colours: Sequence[int]) -> list[int] | None:
        """All vertices with at most this number of colours, from colours that are more; None if the work ends first."""
        self._state = _without_the_rarest(self._graph, colours, number)
        self._waiting = dict.fromkeys(self._state.uncoloured())
        self._until: dict[tuple[int, int], int] = {}
        self._turn = 0
        while self._waiting and self._work > 0:
            self._turn += 1
            self._step()
        return None if self._waiting else self._state.colours

    def _step(self) -> None:
        waiting = list(self._waiting)
        if len(waiting) > _SAMPLE:
            waiting = self._random.sample(waiting, _SAMPLE)
        move = self._cheapest(waiting)
        if move is not None:
            self._place(*move)

    def _cheapest(self, waiting: Sequence[int]) -> tuple[int, int] | None:
        """The vertex and the colour that turn out the fewest others; by lot among equals."""
        state, best, ties = self._state, len(self._graph.neighbours) + 1, 0
        found: tuple[int, int] | None = None
        for vertex in waiting:
            around, group = state.around[vertex], self._graph.groups[vertex]
            self._work -= state.number
            for colour in range(state.number):
                cost = around.get(colour, 0)
                if cost > best or self._until.get((vertex, colour), 0) > self._turn:
                    continue
                cost += state.full(group, colour)
                if cost < best:
                    best, ties, found = cost, 1, (vertex, colour)
                elif cost == best:
                    ties += 1
                    if self._random.random() * ties < 1:
                        found = (vertex, colour)
            if best == 0:
                break
        return found

    def _place(self, vertex: int, colour: int) -> None:
        state, group = self._state, self._graph.groups[vertex]
        if colour in state.around[vertex]:
            for other in sorted(self._graph.neighbours[vertex]):
                if state.colours[other] == colour:
                    self._turn_out(other)
        if state.full(group, colour):
            self._make_room(group, colour)
        state.give(vertex, colour)
        del self._waiting[vertex]
        self._work -= len(self._graph.neighbours[vertex])

    def _make_room(self, group: int, colour: int) -> None:
        """Move one of the group that another colour fits, or turn one out."""
        members = list(self._state.members(group, colour))
        self._random.shuffle(members)
        for each in members:
            self._work -= self._state.number
            other = next(self._state.free(each), None)
            if other is not None:
                self._state.take(each)
                self._state.give(each, other)
                return
        self._turn_out(members[0])

    def _turn_out(self, vertex: int) -> None:
        colour = self._state.take(vertex)
        self._waiting[vertex] = None
        self._until[vertex, colour] = self._turn + len(self._waiting) * 3 // 5 + self._random.randrange(10)
        self._work -= len(self._graph.neighbours[vertex])


def _without_the_rarest(graph: Graph, colours: Sequence[int], number: int) -> PartialColouring:
    sizes = PartialColouring.of(graph, colours, _number(colours)).sizes()
    kept = sorted(sorted(range(len(sizes)), key=lambda colour: (-sizes[colour], colour))[:number])
    names = {colour: name for name, colour in enumerate(kept)}
    return PartialColouring.of(graph, [names.get(colour, NONE) for colour in colours], number)


def even_out(state: PartialColouring) -> list[int]:
    """The colours after moving single vertices from colours taken often to those taken at least two times less."""
    sizes = state.sizes()
    moved = True
    while moved:
        moved = False
        for vertex, colour in enumerate(state.colours):
            target = _rarer(state, sizes, vertex, colour)
            if target is None:
                continue
            state.take(vertex)
            state.give(vertex, target)
            sizes[colour] -= 1
            sizes[target] += 1
            moved = True
    return state.colours


def _rarer(state: PartialColouring, sizes: Sequence[int], vertex: int, colour: int) -> int | None:
    found: int | None = None
    for other, size in enumerate(sizes):
        if size <= (sizes[colour] if found is None else sizes[found] + 1) - 2 and state.fits(vertex, other):
            found = other
    return found
