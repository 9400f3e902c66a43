"""A short way, beside every way there is."""

from __future__ import annotations

from itertools import pairwise, permutations

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from alerts.dig.route import find_route


def measure(
    way: tuple[int, ...] | list[int], far: NDArray[np.float64], begin: NDArray[np.float64]
) -> float:
    return float(begin[way[0]] + sum(far[pair] for pair in pairwise(way)))


def scatter(seed: int, count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    rng = np.random.default_rng(seed)
    places, start = rng.uniform(size=(count, 2)), rng.uniform(size=2)
    far = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    return far, np.hypot(*(places - start).T)


def test_of_few_places_the_way_is_nearly_always_the_shortest_of_all() -> None:
    longer = []
    for seed in range(60):
        far, begin = scatter(seed, 2 + seed % 5)
        every = permutations(range(len(far)))
        least = min(measure(way, far, begin) for way in every)
        longer.append(measure(find_route(far, begin), far, begin) / least)
    assert np.mean(np.array(longer) < 1 + 1e-9) >= 0.98
    assert max(longer) < 1.1


def test_of_many_places_it_is_no_longer_than_a_library_s_way() -> None:
    # source: [NETWORKX-TOUR] threshold accepting from a greedy tour; a place near all
    # others makes a way of its tour, since what leads to it and from it costs nothing
    far, _ = scatter(7, 40)
    graph = nx.Graph()
    graph.add_weighted_edges_from((a, b, far[a, b]) for a in range(40) for b in range(a))
    graph.add_weighted_edges_from(("nowhere", a, 0.0) for a in range(40))
    tour = nx.approximation.threshold_accepting_tsp(
        graph, "greedy", source="nowhere", seed=1, max_iterations=20
    )
    anywhere = np.zeros(40)
    ours = find_route(far, None)
    assert sorted(ours) == list(range(40))
    assert measure(ours, far, anywhere) <= measure(tour[1:-1], far, anywhere)


def test_a_row_of_places_is_walked_along_from_its_start() -> None:
    at_km = np.array([3.0, 1.0, 2.0, 5.0])
    assert find_route(np.abs(at_km[:, None] - at_km), np.abs(at_km - 0.0)) == [1, 2, 0, 3]


def test_places_at_one_spot_come_in_the_order_given() -> None:
    assert find_route(np.zeros((5, 5)), np.zeros(5)) == [0, 1, 2, 3, 4]


def test_no_place_has_an_empty_way() -> None:
    assert find_route(np.zeros((0, 0)), None) == []
