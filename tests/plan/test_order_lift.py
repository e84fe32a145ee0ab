"""Plans with lifting: the whole front, against going through all steps at the bench."""

from pathlib import Path
from runpy import run_path
from types import SimpleNamespace

import pytest

from maskgen.colour.mix import ColourModel
from maskgen.model.dyeing import ApplyMask, DyeBath
from maskgen.model.job import Finish, Permission
from maskgen.plan.order import plan_order
from maskgen.plan.replay import replay

HERE = Path(__file__).parent
plain = SimpleNamespace(**run_path(str(HERE / "exhaustive.py")))
jobs = SimpleNamespace(**run_path(str(HERE / "order_jobs.py")))

LIFT = Finish(lift=Permission.ALLOW)
# Colours, dyes, doses; doses are even so that halves, which baths shared crosswise can need, are whole minutes.
SIZES = [
    (2, 2, (2, 4, 6)),
    (2, 3, (2, 4)),
    (3, 1, (2, 4, 6)),
    (3, 2, (2, 4)),
    (3, 3, (2,)),
    (4, 1, (2, 4, 6)),
    (4, 2, (2,)),
]


def plan_of(recipes, *, lasting=(), finish=LIFT):
    shelf = jobs.shelf_of(lasting)
    wanted = jobs.wanted_of([[r] for r in recipes])
    plan = plan_order(wanted, shelf, ColourModel(shelf), finish=finish)
    for sequence in plan.alternatives:
        end = replay(sequence.steps, [w.key for w in wanted], lasting=lasting)[-1]
        assert [end.recipe[w.key] for w in wanted] == [w.recipes[0] for w in wanted]
    return plan


def costs(plan):
    return [(s.strips, s.masks, s.baths, s.lifts) for s in plan.alternatives]


@pytest.mark.parametrize("seed", range(60))
def test_the_front_is_the_exhaustive_one(seed):
    rng = jobs.seeded(f"lift {seed}")
    recipes = jobs.different_recipes(rng, *SIZES[seed % len(SIZES)])
    lasting = jobs.some_lasting(rng)
    most = max((m for r in recipes for m in r.values()), default=1)
    front = plain.front_with_lifting(recipes, range(1, most + 1), lasting=lasting)
    plan = plan_of(recipes, lasting=lasting)
    assert costs(plan) == front, recipes
    assert plan.optimal
    assert plan.sequence == plan.alternatives[0]
    assert plan.why == ()


def test_lifting_lets_two_lasting_dyes_live_side_by_side():
    plan = plan_of([{"amber": 4}, {"blue": 4}], lasting=("amber", "blue"))
    assert costs(plan) == [(0, 2, 2, 1)]


def test_baths_shared_crosswise_are_found():
    # By hand: open together {1,2}, {1,3}, {2,3} for 1, 2, 3 minutes of amber and 3, 2, 1 of blue.
    plan = plan_of([{"amber": 3, "blue": 5}, {"amber": 4, "blue": 4}, {"amber": 5, "blue": 3}])
    assert (0, 3, 6, 2) in costs(plan)


def test_overdye_never_dyes_a_mixture_in_one_go():
    finish = Finish(lift=Permission.ALLOW, overdye=Permission.NEVER)
    plan = plan_of([{"amber": 4}, {"amber": 4, "blue": 2}, {"blue": 2}], finish=finish)
    for sequence in plan.alternatives:
        steps = sequence.steps
        mixed = [i for i, s in enumerate(steps) if isinstance(s, DyeBath)]
        opened = replay(steps, ["r1", "r2", "r3"])
        baths_of_mixture = [i for i in mixed if "r2" in opened[i].open and opened[i].recipe["r2"].doses]
        last = baths_of_mixture[-2:]
        assert last[1] - last[0] == 1, "a mask or a lift between the two dyes of the mixture"


def test_more_recipes_than_can_be_proven_still_get_plans():
    plan = plan_of([{"amber": m} for m in (1, 2, 3)] + [{"blue": m} for m in (1, 2, 3)])
    assert not plan.optimal
    assert (0, 6, 6, 1) in costs(plan)
    assert (1, 5, 6, 0) in costs(plan)
    assert any("not proven" in note for note in plan.notes)


def test_a_mask_number_is_never_used_again():
    for sequence in plan_of([{"amber": 2}, {"blue": 2}, {"coral": 2}]).alternatives:
        names = [s.mask for s in sequence.steps if isinstance(s, ApplyMask)]
        assert names == [f"M{i}" for i in range(1, len(names) + 1)]
