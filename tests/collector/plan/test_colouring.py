"""Colourings against published chromatic numbers, against all ways of colouring, and on their own terms."""

from __future__ import annotations

from collections import Counter
from itertools import product
from typing import Any

import networkx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.plan.colouring import Colouring, even_out, fewest, first_colouring
from collector.plan.partial_colouring import Graph, PartialColouring


def plain(graph: networkx.Graph[Any], limit: int | None = None) -> Graph:
    numbers = {vertex: number for number, vertex in enumerate(sorted(graph))}
    neighbours = tuple(frozenset(numbers[other] for other in graph[vertex]) for vertex in numbers)
    return Graph(neighbours, (0,) * len(numbers), (limit or len(numbers),))


def queens(size: int) -> networkx.Graph[tuple[int, int]]:
    """The squares of a board, those joined that a queen moves between."""
    squares = [(row, column) for row in range(size) for column in range(size)]
    graph: networkx.Graph[tuple[int, int]] = networkx.Graph()
    graph.add_nodes_from(squares)
    for (a, b), (c, d) in product(squares, repeat=2):
        if (a, b) != (c, d) and (a == c or b == d or abs(a - c) == abs(b - d)):
            graph.add_edge((a, b), (c, d))
    return graph


def is_right(graph: Graph, colours: tuple[int, ...]) -> bool:
    """Whether no neighbours share a colour and no group is over its limit in one."""
    proper = all(
        colours[vertex] != colours[other] for vertex, around in enumerate(graph.neighbours) for other in around
    )
    counts = Counter(zip(graph.groups, colours, strict=True))
    return proper and all(count <= graph.limits[group] for (group, _), count in counts.items())


def check(graph: Graph, found: Colouring) -> None:
    assert is_right(graph, found.colours)
    assert set(found.colours) == set(range(found.number))
    assert max(len(found.clique), found.group_bound) <= found.bound <= found.number


@pytest.mark.parametrize("number", range(2, 8))
def test_mycielski_graphs(number: int) -> None:
    """Without a triangle, and yet they need any number of colours: Colloquium Mathematicum 3 (1955), 161-162."""
    graph = plain(networkx.mycielski_graph(number))
    found = fewest(graph)
    check(graph, found)
    assert found.number == number
    assert len(found.clique) == 2


@pytest.mark.parametrize("number", range(2, 6))
def test_of_the_smaller_mycielski_graphs_it_is_proven_although_no_clique_tells(number: int) -> None:
    found = fewest(plain(networkx.mycielski_graph(number)))
    assert found.proven
    assert found.bound == number


def test_the_petersen_graph() -> None:
    """Chromatic number 3, as in any handbook of graphs; it has no triangle."""
    graph = plain(networkx.petersen_graph())
    found = fewest(graph)
    check(graph, found)
    assert (found.number, found.bound, len(found.clique)) == (3, 3, 2)


@pytest.mark.parametrize(("size", "chromatic"), [(2, 4), (3, 5), (4, 5), (5, 5), (6, 7), (7, 7), (8, 9), (9, 10)])
def test_queen_graphs(size: int, chromatic: int) -> None:
    """OEIS A088202; queen5_5 to queen9_9 of the DIMACS colouring benchmarks."""
    graph = plain(queens(size))
    found = fewest(graph)
    check(graph, found)
    assert found.number == chromatic
    assert found.proven == (size < 8)


@pytest.mark.parametrize("size", [5, 8, 11])
def test_odd_and_even_rings(size: int) -> None:
    found = fewest(plain(networkx.cycle_graph(size)))
    assert (found.number, found.proven) == (2 + size % 2, True)


def test_a_limit_that_needs_more_colours_than_the_neighbours_do() -> None:
    graph = plain(networkx.cycle_graph(12), limit=3)
    found = fewest(graph)
    check(graph, found)
    assert (found.number, found.bound, found.group_bound) == (4, 4, 4)
    assert Counter(found.colours) == {0: 3, 1: 3, 2: 3, 3: 3}


def test_a_limit_that_does_not_divide_the_group_is_rounded_up() -> None:
    found = fewest(plain(networkx.cycle_graph(12), limit=5))
    assert (found.number, found.group_bound, found.proven) == (3, 3, True)


def test_neither_clique_nor_limit_tells_it_but_both_together_do() -> None:
    """A star of six, two at most in a colour: the limit alone allows three, but the middle keeps a colour to itself."""
    graph = plain(networkx.star_graph(5), limit=2)
    found = fewest(graph)
    check(graph, found)
    assert (found.number, found.bound, found.group_bound, len(found.clique)) == (4, 4, 3, 2)


def test_what_could_not_be_tried_is_not_proven() -> None:
    graph = plain(networkx.mycielski_graph(5))
    found = fewest(graph, exact_steps=5)
    check(graph, found)
    assert (found.number, found.bound, found.proven) == (5, 2, False)


def test_without_work_the_trial_of_all_colourings_still_finds_the_fewest() -> None:
    assert max(first_colouring(plain(queens(6)))) + 1 > 7
    found = fewest(plain(queens(6)), work=0)
    assert (found.number, found.proven) == (7, True)


def test_without_the_trial_the_work_finds_them() -> None:
    found = fewest(plain(queens(6)), exact_steps=0)
    assert (found.number, found.bound) == (7, 6)


def test_no_vertex_needs_no_colour() -> None:
    assert fewest(Graph((), (), ())) == Colouring((), 0, 0, 0, ())


def test_the_same_graph_gives_the_same_colours() -> None:
    assert fewest(plain(queens(8))) == fewest(plain(queens(8)))


@st.composite
def graphs(draw: st.DrawFn, most: int) -> Graph:
    size = draw(st.integers(0, most))
    edges = draw(st.sets(st.tuples(st.integers(0, max(0, size - 1)), st.integers(0, max(0, size - 1))), max_size=60))
    neighbours: list[set[int]] = [set() for _ in range(size)]
    for one, other in edges:
        if one != other and size:
            neighbours[one].add(other)
            neighbours[other].add(one)
    limits = tuple(draw(st.lists(st.integers(1, 5), min_size=1, max_size=3)))
    groups = tuple(draw(st.lists(st.integers(0, len(limits) - 1), min_size=size, max_size=size)))
    return Graph(tuple(map(frozenset, neighbours)), groups, limits)


@given(graphs(24), st.integers(0, 2000), st.integers(0, 200))
def test_whatever_the_graph_and_however_little_work_the_colouring_is_right(graph: Graph, work: int, steps: int) -> None:
    check(graph, fewest(graph, work, steps))


@given(graphs(6))
def test_of_small_graphs_no_colouring_has_fewer(graph: Graph) -> None:
    found = fewest(graph, work=2000)
    assert found.proven
    fewer = product(range(found.number - 1), repeat=len(graph.groups)) if found.number else ()
    assert not any(is_right(graph, colours) for colours in fewer)


@given(graphs(24))
def test_evening_out_leaves_no_single_move_that_would_even_more(graph: Graph) -> None:
    colours = first_colouring(graph)
    state = PartialColouring.of(graph, colours, max(colours, default=-1) + 1)
    even = even_out(state)
    assert is_right(graph, tuple(even))
    sizes = Counter(even)
    for vertex, colour in enumerate(even):
        assert not any(sizes[other] <= sizes[colour] - 2 for other in state.free(vertex))
