"""Vertices, some with a colour: no two neighbours share one, and none is taken by more of a group than its limit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

NONE = -1


@dataclass(frozen=True)
class Graph:
    """Vertices 0 … n-1: each one's neighbours and group, and per group the most that may take the same colour."""

    neighbours: tuple[frozenset[int], ...]
    groups: tuple[int, ...]
    limits: tuple[int, ...]

    def group_bound(self) -> int:
        """The colours that the limits alone need: the members of a group over its limit, rounded up."""
        sizes = [0] * len(self.limits)
        for group in self.groups:
            sizes[group] += 1
        return max((-(-size // limit) for size, limit in zip(sizes, self.limits, strict=True)), default=0)


class PartialColouring:
    """Colours of a graph's vertices, NONE where there is none yet; whoever gives one has asked `free` before."""

    def __init__(self, graph: Graph, number: int = 0) -> None:
        self.graph = graph
        self.number = number
        self.colours = [NONE] * len(graph.neighbours)
        self.around: list[dict[int, int]] = [{} for _ in graph.neighbours]
        self._members: dict[tuple[int, int], dict[int, None]] = {}

    @classmethod
    def of(cls, graph: Graph, colours: Sequence[int], number: int) -> PartialColouring:
        """The colouring with these colours, the numbers 0 … number-1."""
        made = cls(graph, number)
        for vertex, colour in enumerate(colours):
            if colour != NONE:
                made.give(vertex, colour)
        return made

    def give(self, vertex: int, colour: int) -> None:
        """Give a vertex that has none a colour."""
        self.colours[vertex] = colour
        self._members.setdefault((self.graph.groups[vertex], colour), {})[vertex] = None
        for other in self.graph.neighbours[vertex]:
            around = self.around[other]
            around[colour] = around.get(colour, 0) + 1

    def take(self, vertex: int) -> int:
        """Take a vertex's colour away, and tell which it was."""
        colour = self.colours[vertex]
        self.colours[vertex] = NONE
        del self._members[self.graph.groups[vertex], colour][vertex]
        for other in self.graph.neighbours[vertex]:
            around = self.around[other]
            around[colour] -= 1
            if not around[colour]:
                del around[colour]
        return colour

    def members(self, group: int, colour: int) -> Iterable[int]:
        """The vertices of a group with a colour, those that have had it longest first."""
        return self._members.get((group, colour), ())

    def full(self, group: int, colour: int) -> bool:
        """Whether as many of the group have the colour as its limit allows."""
        return len(self._members.get((group, colour), ())) >= self.graph.limits[group]

    def fits(self, vertex: int, colour: int) -> bool:
        """Whether no neighbour has the colour and the vertex's group has room in it."""
        return colour not in self.around[vertex] and not self.full(self.graph.groups[vertex], colour)

    def free(self, vertex: int) -> Iterator[int]:
        """The colours that fit the vertex, the lowest first."""
        return (colour for colour in range(self.number) if self.fits(vertex, colour))

    def uncoloured(self) -> list[int]:
        """The vertices without a colour."""
        return [vertex for vertex, colour in enumerate(self.colours) if colour == NONE]

    def sizes(self) -> list[int]:
        """How many vertices have each colour."""
        found = [0] * self.number
        for colour in self.colours:
            if colour != NONE:
                found[colour] += 1
        return found
