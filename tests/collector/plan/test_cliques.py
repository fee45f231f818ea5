"""Cliques against an exact search by another library."""

from __future__ import annotations

from itertools import combinations

import networkx
import pytest

from collector.plan.cliques import large_clique, smallest_last


def neighbours(graph: networkx.Graph[int]) -> tuple[frozenset[int], ...]:
    return tuple(frozenset(graph[vertex]) for vertex in sorted(graph))


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize(("vertices", "part"), [(12, 0.5), (30, 0.3), (40, 0.6), (60, 0.15)])
def test_it_is_a_clique_and_none_is_larger(vertices: int, part: float, seed: int) -> None:
    graph = networkx.gnp_random_graph(vertices, part, seed)
    found = large_clique(neighbours(graph))
    assert all(graph.has_edge(one, other) for one, other in combinations(found, 2))
    assert len(found) == max(map(len, networkx.find_cliques(graph)))


def test_where_all_are_neighbours_all_are_in_it_however_many() -> None:
    assert large_clique(neighbours(networkx.complete_graph(400))) == tuple(range(400))


def test_few_looks_still_give_a_clique() -> None:
    graph = networkx.gnp_random_graph(60, 0.5, 3)
    found = large_clique(neighbours(graph), looks=1)
    assert found
    assert all(graph.has_edge(one, other) for one, other in combinations(found, 2))


def test_nobody_and_somebody_alone() -> None:
    assert large_clique(()) == ()
    assert large_clique((frozenset(),)) == (0,)


@pytest.mark.parametrize("seed", range(5))
def test_the_order_tells_the_core_that_each_vertex_is_in(seed: int) -> None:
    graph = networkx.gnp_random_graph(40, 0.2, seed)
    order = smallest_last(neighbours(graph))
    assert order == networkx.core_number(graph)
    places = {vertex: place for place, vertex in enumerate(order)}
    for vertex, core in order.items():
        assert sum(places[other] > places[vertex] for other in graph[vertex]) <= core
