"""The bench, played through: cases worked by hand from the meaning of the steps."""

import pytest

from maskgen.model.dyeing import ApplyMask, DyeBath, Lift, Recipe, Seal, Strip
from maskgen.plan.replay import StepError, replay


def test_a_mask_keeps_a_colour_through_dye_and_strip():
    moments = replay(
        [DyeBath("lemon", 5), ApplyMask("M1", ("a",)), DyeBath("blue", 2), Strip(), DyeBath("blue", 4), Seal()],
        ["a", "b"],
    )
    assert moments[2].recipe == {"a": Recipe.of({"lemon": 5}), "b": Recipe.of({"lemon": 5, "blue": 2})}
    assert moments[2].open == ("b",)
    assert moments[-1].recipe == {"a": Recipe.of({"lemon": 5}), "b": Recipe.of({"blue": 4})}


def test_a_lift_opens_a_region_with_the_recipe_it_had():
    moments = replay([ApplyMask("M1", ("a",)), DyeBath("red", 3), Lift(("M1",)), DyeBath("red", 2), Seal()], ["a", "b"])
    assert moments[2].mask == {"a": None, "b": None}
    assert moments[-1].recipe == {"a": Recipe.of({"red": 2}), "b": Recipe.of({"red": 5})}


@pytest.mark.parametrize(
    ("steps", "fault"),
    [
        ([Seal(), Strip()], "more steps follow"),
        ([Strip()], "not the seal"),
        ([], "not the seal"),
        ([ApplyMask("M1", ("a",)), ApplyMask("M2", ("a",)), Seal()], "not open"),
        ([ApplyMask("M1", ("x",)), Seal()], "not open"),
        ([ApplyMask("M1", ()), Seal()], "masks nothing"),
        ([ApplyMask("M1", ("a",)), Lift(("M1",)), ApplyMask("M1", ("a",)), Seal()], "again"),
        ([Lift(("M1",)), Seal()], "not on"),
        ([DyeBath("iron", 2), Strip(), Seal()], "does not strip"),
        ([DyeBath("red", 0), Seal()], "0 minutes"),
    ],
)
def test_what_cannot_be_done_is_refused(steps, fault):
    with pytest.raises(StepError, match=fault):
        replay(steps, ["a", "b"], lasting=["iron"])


def test_masked_lasting_dye_does_not_stand_in_the_way_of_a_strip():
    steps = [ApplyMask("M1", ("b",)), DyeBath("iron", 2), ApplyMask("M2", ("a",)), Lift(("M1",)), Strip(), Seal()]
    assert replay(steps, ["a", "b"], lasting=["iron"])[-1].recipe["a"] == Recipe.of({"iron": 2})
