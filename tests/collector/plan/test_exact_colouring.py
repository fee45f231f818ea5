"""Trials of all colourings against published chromatic numbers."""

from __future__ import annotations

import networkx
import pytest

from collector.plan.exact_colouring import Outcome, decide
from collector.plan.partial_colouring import Graph


def mycielski(number: int) -> Graph:
    """Needs as many colours as its number, and has no triangle: Colloquium Mathematicum 3 (1955), 161-162."""
    graph = networkx.mycielski_graph(number)
    neighbours = tuple(frozenset(graph[vertex]) for vertex in sorted(graph))
    return Graph(neighbours, (0,) * len(neighbours), (len(neighbours),))


@pytest.mark.parametrize("clique", [(), (0,), (0, 1)])
@pytest.mark.parametrize("number", [3, 4, 5])
def test_as_many_colours_as_the_graph_needs_are_found_and_one_less_is_impossible(
    number: int, clique: tuple[int, ...]
) -> None:
    graph = mycielski(number)
    outcome, colours = decide(graph, number, clique, 50_000)
    assert outcome is Outcome.FOUND
    assert colours is not None
    assert all(colours[one] != colours[other] for one, around in enumerate(graph.neighbours) for other in around)
    assert decide(graph, number - 1, clique, 50_000) == (Outcome.IMPOSSIBLE, None)


def test_it_says_when_the_steps_have_run_out() -> None:
    assert decide(mycielski(5), 4, (0, 1), 10) == (Outcome.UNFINISHED, None)


def test_a_clique_of_more_than_the_colours_is_impossible_at_once() -> None:
    assert decide(mycielski(3), 1, (0, 1), 0) == (Outcome.IMPOSSIBLE, None)


def test_limits_are_kept() -> None:
    apart = Graph((frozenset(),) * 5, (0, 0, 0, 1, 1), (2, 1))
    assert decide(apart, 1, (), 100) == (Outcome.IMPOSSIBLE, None)
    assert decide(apart, 2, (), 100)[0] is Outcome.FOUND
