"""Where a lap may not go: past half way to the open, against plain distances at thousands of places."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiLineString, box

from maskgen.plan.laps import HALF_MM, SAMPLE_MM, past_half_way

OWN = (
    [
        (26.98999999999999, 11.72218365618194),
        (26.98999999999999, 11.820698254364094),
    ],
    [
        (26.98999999999999, 11.820698254364094),
        (26.98999999999999, 11.92367620349654),
    ],
    [
        (26.98999999999999, 11.92367620349654),
        (26.98999999999999, 13.31266878974797),
    ],
    [
        (26.889999999999993, 11.72518365618194),
        (26.889999999999993, 11.822194513715715),
        (26.98999999999999, 11.820698254364094),
    ],
)
"""The edge of an earlier mask with a step where its growth changes, told twice: as it is, and straightened."""
FREE = [
    (26.889999999999997, 11.71920165985192),
    (26.889999999999997, 11.160000000000046),
    (26.89184674891073, 11.136534830243965),
    (26.897341522555724, 11.113647450843757),
    (26.90634902137175, 11.091901425039051),
    (26.918647450843743, 11.071832212156144),
    (26.933933982822012, 11.053933982822025),
    (26.951832212156113, 11.038647450843776),
    (26.971901425039103, 11.026349021371727),
    (26.993647450843753, 11.017341522555727),
    (27.01653483024396, 11.011846748910731),
    (27.039999999999978, 11.010000000000002),
    (28.15410845577014, 11.010000000000002),
]


def agrees(own, free, lap, lap_mm):
    """Compare with distances to the edges, but for places so near the middle that the spacing of points decides."""
    past = past_half_way(lap, own, free, lap_mm)
    chance = np.random.default_rng(1)
    left, top, right, bottom = lap.bounds
    places = shapely.points(chance.uniform((left, top), (right, bottom), (4000, 2)))
    places = places[shapely.intersects(lap, places)]
    to_own, to_free = shapely.distance(own, places), shapely.distance(free, places)
    near_free = to_free < lap_mm  # farther off nothing is cut away
    unsure = SAMPLE_MM + 2 * HALF_MM
    inside = shapely.intersects(past, places)
    assert inside[near_free & (to_free < to_own - unsure)].all()
    assert not inside[to_own < to_free - unsure].any()


def test_a_step_in_the_edge_takes_nothing_from_the_lap_beyond_it():
    """A search for the nearest point that got near-collinear points wrong left 0.7 mm of this edge without a lap."""
    agrees(MultiLineString(OWN), LineString(FREE), box(26.889999999999993, 11.72218365618194, 27.79, 13.5), 0.8)


@pytest.mark.parametrize("lap_mm", [0.3, 0.8])
@given(st.lists(st.tuples(st.floats(0.2, 3), st.floats(-0.4, 1.5)), min_size=2, max_size=5))
def test_half_way_is_where_both_are_as_far(lap_mm, steps):
    xs = np.cumsum([step for step, _ in steps])
    free = LineString([(-1.0, 1.0), *((float(x) - 1.0, 1.0 + rise) for x, (_, rise) in zip(xs, steps, strict=True))])
    own = LineString([(-1.0, 0.0), (float(xs[-1]), 0.0)])
    lap = box(-1.0, 0.0, float(xs[-1]), lap_mm)
    agrees(own, free, lap, lap_mm)
