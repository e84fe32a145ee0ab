"""Bleach that comes in through drilled holes, against the area the simulated baths leave wrong."""

import math
import re

import pytest

from maskgen.model.job import Hole, Resist
from maskgen.plan.masks import grow_masks
from maskgen.plan.rims import rim_notes
from maskgen.plan.simulate import simulate


@pytest.mark.parametrize("strips", [0, 1, 3])
def test_the_rim_told_is_the_rim_the_baths_leave(hand, strips):
    """Two stripes, a hole in each; round the one under vinyl a ring of width w holds pi (d + w) w of another colour.

    Vinyl ends 0.01 mm outside the hole, so the ring begins there.
    """
    partition = hand.partition(30, 20, hand.stripes([0, 15, 30], 20))
    plan, part = hand.plan([["r1"], ["r2"]], strips=strips), hand.plate(30, 20)
    resist, holes = Resist(creep_mm=0.15), (Hole((7.0, 10.0), 4.0), Hole((24.0, 10.0), 4.0))
    masks, _ = grow_masks(partition, plan, part=part, resist=resist, holes=holes)
    notes = rim_notes(plan, masks, holes=holes, creep_mm=resist.creep_mm)
    simulation = simulate(partition, plan, masks, part=part, resist=resist, holes=holes)
    if not strips:
        assert notes == ()
        return
    (note,) = notes
    assert "7.0, 10.0 mm" in note
    width = float(re.search(r"creeps ([\d.]+) mm under M1", note)[1])
    assert width == pytest.approx(0.15 * strips)
    assert simulation.wrong_mm2 == pytest.approx(math.pi * (4.0 + width + 0.01) * (width + 0.01), rel=0.01)
