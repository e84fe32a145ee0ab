"""Short ways, against every order there is where that can be tried."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maskgen.shape.route import Stops, best_choice, route_length, short_route

HOME = (0.0, 0.0)


def walked(stops, order, back):
    entry = np.where(back[order][:, None], stops.entry_back[order], stops.entry[order])
    leave = np.where(back[order][:, None], stops.leave_back[order], stops.leave[order])
    return np.hypot(*(entry - np.vstack([[HOME], leave[:-1]])).T).sum()


def random_stops(seed, count):
    ends = np.random.default_rng(seed).uniform(0, 100, (2, count, 2))
    return Stops(ends[0], ends[1], ends[1], ends[0])  # the other way round: in at the exit, out at the entry


@pytest.mark.parametrize("two_ways", [False, True])
def test_is_nearly_the_shortest_there_is(two_ways):
    ratios = []
    for seed in range(15):
        stops = random_stops(seed, 5)
        if not two_ways:
            stops = Stops.one_way(stops.entry, stops.leave)
        flips = (
            [np.array(back) for back in itertools.product((False, True), repeat=5)] if two_ways else [np.zeros(5, bool)]
        )
        orders = [np.array(order) for order in itertools.permutations(range(5))]
        shortest = min(walked(stops, order, back) for back in flips for order in orders)
        ratios.append(walked(stops, *short_route(stops, home=HOME)) / shortest)
    assert min(ratios) >= 1 - 1e-12
    assert max(ratios) < 1.2
    assert np.mean(ratios) < 1.04


@given(st.integers(0, 2**32), st.integers(0, 60))
@settings(max_examples=30, deadline=None)
def test_visits_every_stop_once(seed, count):
    order, back = short_route(random_stops(seed, count), home=HOME)
    assert sorted(order.tolist()) == list(range(count))
    assert back.shape == (count,)


def test_near_the_expected_length_of_the_best_tour():
    # Beardwood, Halton and Hammersley 1959: the best tour of n random points on area A tends to 0.7124 sqrt(n A)
    # (constant after Johnson and McGeoch 1996); with an edge of the square near, it is a few percent longer
    points = np.random.default_rng(5).uniform(0, 300, (800, 2))
    order, _ = short_route(Stops.one_way(points, points), home=HOME)
    length = route_length(points[order], points[order], home=HOME)
    assert 0.7124 * np.sqrt(800 * 300**2) * 0.97 < length < 0.7124 * np.sqrt(800 * 300**2) * 1.12


def test_many_stops_on_one_place_are_no_trouble():
    points = np.ones((30, 2))
    order, _ = short_route(Stops.one_way(points, points), home=HOME)
    assert sorted(order.tolist()) == list(range(30))


@given(st.lists(st.lists(st.tuples(st.floats(0, 9), st.floats(0, 9)), min_size=1, max_size=3), max_size=5))
@settings(max_examples=60, deadline=None)
def test_choice_is_the_best_there_is(offers):
    arrays = [np.array(o) for o in offers]
    chosen = best_choice(arrays, home=HOME)

    def length(choice):
        points = np.array([HOME, *(a[c] for a, c in zip(arrays, choice, strict=True))])
        return np.hypot(*np.diff(points, axis=0).T).sum()

    assert length(chosen) == pytest.approx(min(map(length, itertools.product(*(range(len(o)) for o in offers)))))
