"""Displaced masks: what the trials tell, on drawings simple enough to know the answer."""

import numpy as np
import pytest
import shapely

from maskgen.model.job import Resist
from maskgen.plan.forgiveness import affordable, displacements, forgive
from maskgen.plan.masks import grow_masks


def three_stripes(hand, **resist):
    partition = hand.partition(30, 20, hand.stripes([0, 10, 20, 30], 20))
    plan, part, profile = hand.plan([["r1"], ["r2"], ["r3"]]), hand.plate(30, 20), Resist(**resist)
    masks, _ = grow_masks(partition, plan, part=part, resist=profile)
    return forgive(partition, plan, masks, part=part, resist=profile, trials=30)


def test_displacements_are_uniform_in_the_disc():
    places = np.array(displacements(np.random.default_rng(1), 20_000, 0.3))
    away = np.hypot(*places.T)
    assert away.max() <= 0.3
    # Uniform by area: a quarter lies within half the radius, the mean distance is two thirds of it.
    assert (away < 0.15).mean() == pytest.approx(0.25, abs=0.015)
    assert away.mean() == pytest.approx(0.2, abs=0.005)
    assert np.abs(places.mean(axis=0)).max() < 0.005


def test_a_lap_forgives_and_no_lap_does_not(hand):
    # Two masks each up to 0.3 mm off are up to 0.6 mm apart; a lap of 0.65 mm covers that, and half of that most of it.
    assert three_stripes(hand, lap_mm=0.65).seamless_share == 1.0
    some = three_stripes(hand, lap_mm=0.2).seamless_share
    none = three_stripes(hand, lap_mm=0.0).seamless_share
    assert none < some < 1.0
    assert none < 0.7


def test_masks_put_on_straight_are_all_the_same(hand):
    still = three_stripes(hand, placement_mm=0.0)
    assert still.seamless_share == 1.0
    assert still.worst_wrong_mm2 == still.median_wrong_mm2 < 0.1
    assert still.worst_edge_mm < 0.01


def test_edges_move_with_their_masks(hand):
    # One upright edge of 20 mm: it moves with the mask's sideways displacement x, and the wrong area is 20 |x|.
    partition = hand.partition(30, 20, hand.stripes([0, 12, 30], 20))
    plan, part, resist = hand.plan([["r1"], ["r2"]]), hand.plate(30, 20), Resist()
    masks, _ = grow_masks(partition, plan, part=part, resist=resist)
    told = forgive(partition, plan, masks, part=part, resist=resist, trials=15, seed=4)
    generator = np.random.default_rng(4)
    aside = np.abs([displacements(generator, 1, 0.3)[0][0] for _ in range(15)])
    assert told.median_edge_mm == pytest.approx(np.median(aside), abs=0.003)
    assert told.worst_edge_mm == pytest.approx(aside.max(), abs=0.003)
    assert told.median_wrong_mm2 == pytest.approx(20 * np.median(aside), rel=0.03)
    assert told.worst_wrong_mm2 == pytest.approx(20 * aside.max(), rel=0.03)
    assert told.seamless_share == 1.0
    shapes = {r.key: r for r in told.worst.regions}
    assert set(shapes) == {"r1", "r2"}


def test_the_same_seed_tells_the_same(hand):
    first, second = (three_stripes(hand, lap_mm=0.1) for _ in range(2))
    assert first == second


def test_a_disc_in_its_ground_shows_no_seam(hand):
    disc, face = hand.disc(15, 10, 6), shapely.box(0, 0, 30, 20)
    partition = hand.partition(30, 20, [disc, face.difference(disc)])
    plan, part, resist = hand.plan([["r1"], ["r2"]]), hand.plate(30, 20), Resist()
    masks, _ = grow_masks(partition, plan, part=part, resist=resist)
    told = forgive(partition, plan, masks, part=part, resist=resist, trials=10)
    assert told.seamless_share == 1.0
    # Two equal discs a small d apart differ by 4 r d in area: at most with the whole placement.
    assert told.worst_wrong_mm2 <= 4 * 6 * 0.3 * 1.02


def test_trials_are_asked_for(hand):
    partition = hand.partition(30, 20, hand.stripes([0, 12, 30], 20))
    with pytest.raises(ValueError, match="trial"):
        forgive(partition, hand.plan([["r1"], ["r2"]]), (), part=hand.plate(30, 20), resist=Resist(), trials=0)


def test_a_busy_job_gets_fewer_trials_and_never_none():
    trials = [affordable(work) for work in (0, 1_000, 10_000, 100_000, 10**9)]
    assert trials == sorted(trials, reverse=True)
    assert trials[0] == 25
    assert trials[-1] == 5
