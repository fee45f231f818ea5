"""Whether a small graph can be coloured with a number of colours: all ways are tried, as far as the steps reach."""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum

from collector.plan.partial_colouring import NONE, Graph, PartialColouring


class Outcome(Enum):
    """How a trial of all colourings ended."""

    FOUND = "found"
    IMPOSSIBLE = "impossible"
    UNFINISHED = "unfinished"


def decide(graph: Graph, number: int, clique: Sequence[int], steps: int) -> tuple[Outcome, list[int] | None]:
    """Whether colours 0 … number-1 are enough, and the colours if so; UNFINISHED when the steps run out first."""
    search = _Trial(graph, number, steps)
    outcome = search.run(clique)
    return outcome, search.state.colours if outcome is Outcome.FOUND else None


class _Trial:
    def __init__(self, graph: Graph, number: int, steps: int) -> None:
        self.state = PartialColouring(graph, number)
        self._steps = steps

    def run(self, clique: Sequence[int]) -> Outcome:
        """Start with a colour for each of the clique, in whatever order: colours are alike until they are taken."""
        for colour, vertex in enumerate(clique):
            if colour >= self.state.number:
                return Outcome.IMPOSSIBLE
            self.state.give(vertex, colour)
        return self._extend(len(clique))

    def _extend(self, taken: int) -> Outcome:
        """Colour the rest; the first `taken` colours are in use; of the others, which are alike, one stands for all."""
        if self._steps <= 0:
            return Outcome.UNFINISHED
        self._steps -= 1
        vertex, free = self._tightest(taken)
        if vertex == NONE:
            return Outcome.FOUND
        for colour in free:
            self.state.give(vertex, colour)
            outcome = self._extend(max(taken, colour + 1))
            if outcome is not Outcome.IMPOSSIBLE:
                return outcome
            self.state.take(vertex)
        return Outcome.IMPOSSIBLE

    def _tightest(self, taken: int) -> tuple[int, list[int]]:
        """The vertex with the fewest colours left and these colours; among equals the one with most neighbours."""
        best, rank = NONE, (self.state.number + 1, 0)
        state = self.state
        for vertex, colour in enumerate(state.colours):
            if colour != NONE:
                continue
            left = state.number - len(state.around[vertex])
            here = (left, -len(state.graph.neighbours[vertex]))
            if here < rank:
                best, rank = vertex, here
        if best == NONE:
            return NONE, []
        return best, [colour for colour in range(min(taken + 1, state.number)) if state.fits(best, colour)]
