"""Plans without lifting, against an exhaustive search and a general graph library."""

from pathlib import Path
from runpy import run_path
from types import SimpleNamespace

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maskgen.colour.mix import ColourModel
from maskgen.errors import NoPlanError
from maskgen.model.dyeing import ApplyMask, DyeBath, Recipe, Strip
from maskgen.model.job import Finish, Permission
from maskgen.plan.order import plan_order
from maskgen.plan.replay import replay

HERE = Path(__file__).parent
plain = SimpleNamespace(**run_path(str(HERE / "exhaustive.py")))
jobs = SimpleNamespace(**run_path(str(HERE / "order_jobs.py")))

MODELS = {(): ColourModel(jobs.shelf_of())}


def plan_of(choices, *, lasting=(), overdye=Permission.ALLOW):
    shelf = jobs.shelf_of(lasting)
    if lasting not in MODELS:
        MODELS[lasting] = ColourModel(shelf)
    wanted = jobs.wanted_of(choices)
    plan = plan_order(wanted, shelf, MODELS[lasting], finish=Finish(overdye=overdye))
    end = replay(plan.sequence.steps, [w.key for w in wanted], lasting=lasting)[-1]
    for region, colour in zip(plan.regions, wanted, strict=True):
        assert region.recipe in colour.recipes
        assert end.recipe[region.key] == region.recipe
    return plan


def counts(plan):
    return plan.sequence.strips, plan.sequence.masks, plan.sequence.baths


def growing(first, then):
    return all(then.minutes(d) >= m for d, m in first.doses)


@pytest.mark.parametrize("block", range(6))
def test_pinned_jobs_are_least_in_strips_masks_and_baths(block):
    for seed in range(block * 50, block * 50 + 50):
        rng = jobs.seeded(seed)
        recipes = jobs.different_recipes(rng, rng.randint(2, 8), rng.randint(1, 3), range(1, rng.randint(2, 4)))
        lasting, never = jobs.some_lasting(rng), rng.random() < 0.3
        least = plain.fewest_without_lifting(recipes, lasting=lasting, never=never)
        overdye = Permission.NEVER if never else Permission.ALLOW
        if least is None:
            with pytest.raises(NoPlanError, match="stand in each other's way"):
                plan_of([[r] for r in recipes], lasting=lasting, overdye=overdye)
            continue
        plan = plan_of([[r] for r in recipes], lasting=lasting, overdye=overdye)
        assert counts(plan) == least, (seed, recipes)
        assert plan.optimal
        assert plan.lower_bound == plan.sequence.strips
        assert len(plan.why) == plan.lower_bound + 1


@pytest.mark.parametrize("seed", range(60))
def test_strips_are_one_less_than_the_widest_antichain(seed):
    rng = jobs.seeded(seed)
    recipes = [Recipe.of(r) for r in jobs.different_recipes(rng, 12, 3, range(1, 5))]
    order = nx.DiGraph()
    order.add_nodes_from(recipes)
    order.add_edges_from((a, b) for a in recipes for b in recipes if a != b and growing(a, b))
    matching = nx.bipartite.maximum_matching(
        nx.Graph((("from", a), ("to", b)) for a, b in order.edges), top_nodes=[("from", a) for a, _ in order.edges]
    )
    plan = plan_of([[dict(r.doses)] for r in recipes])
    assert plan.sequence.strips + 1 == len(recipes) - len(matching) // 2
    proof = [r.recipe for r in plan.regions if r.key in plan.why]
    assert len(proof) == plan.sequence.strips + 1
    assert not any(a != b and growing(a, b) for a in proof for b in proof)


def test_the_largest_antichain_of_networkx_has_as_many():
    recipes = [Recipe.of(r) for r in jobs.different_recipes(jobs.seeded("antichain"), 9, 3, range(1, 4))]
    order = nx.DiGraph((a, b) for a in recipes for b in recipes if a != b and growing(a, b))
    order.add_nodes_from(recipes)
    assert plan_of([[dict(r.doses)] for r in recipes]).sequence.strips + 1 == max(map(len, nx.antichains(order)))


@pytest.mark.parametrize("block", range(3))
def test_matched_jobs_are_least_over_every_choice(block):
    for seed in range(block * 40, block * 40 + 40):
        rng = jobs.seeded(f"choice {seed}")
        dyes, doses = rng.randint(1, 3), range(1, rng.randint(2, 4))
        choices = [jobs.different_recipes(rng, rng.randint(1, 4), dyes, doses) for _ in range(rng.randint(2, 4))]
        lasting, never = jobs.some_lasting(rng), rng.random() < 0.3
        least = plain.fewest_over_choices(choices, lasting=lasting, never=never)
        overdye = Permission.NEVER if never else Permission.ALLOW
        if least is None:
            with pytest.raises(NoPlanError):
                plan_of(choices, lasting=lasting, overdye=overdye)
        else:
            assert counts(plan_of(choices, lasting=lasting, overdye=overdye)) == least, (seed, choices)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.randoms(use_true_random=False))
def test_the_order_in_the_job_changes_no_count(seed, shuffler):
    rng = jobs.seeded(f"shuffle {seed}")
    choices = [jobs.different_recipes(rng, rng.randint(1, 3), 2, (1, 2, 3)) for _ in range(5)]
    shuffled = list(choices)
    shuffler.shuffle(shuffled)
    assert counts(plan_of(choices)) == counts(plan_of(shuffled))


def test_pale_then_deep_of_one_dye_need_no_strip():
    plan = plan_of([[{"blue": 10.0}], [{"blue": 2.0}]])
    assert plan.sequence.steps[:3] == (DyeBath("blue", 2.0), ApplyMask("M1", ("r2",)), DyeBath("blue", 8.0))
    assert counts(plan) == (0, 1, 2)


def test_blue_over_gold_gives_green_with_no_strip_between():
    gold, green, blue = {"amber": 5.0}, {"amber": 5.0, "blue": 2.0}, {"blue": 4.0}
    plan = plan_of([[gold], [green], [blue]])
    steps = plan.sequence.steps
    assert counts(plan) == (1, 2, 3)
    between = steps[steps.index(ApplyMask("M1", ("r1",))) : steps.index(ApplyMask("M2", ("r2",)))]
    assert not any(isinstance(step, Strip) for step in between)
    assert set(plan.why) == {"r2", "r3"}


def test_black_goes_over_anything_that_stops_short_of_it():
    # A full black holds no other dye's minutes, so over gold it is black plus gold: still black to the eye.
    plan = plan_of([[{"amber": 5.0}], [{"dun": 15.0}, {"amber": 5.0, "dun": 15.0}]])
    assert counts(plan) == (0, 1, 2)
    assert plan.regions[1].recipe == Recipe.of({"amber": 5.0, "dun": 15.0})


def test_what_bleach_leaves_alone_comes_last():
    plan = plan_of([[{"amber": 5.0}], [{"dun": 5.0}], [{"blue": 5.0}]], lasting=("dun",))
    dyes = [step.dye for step in plan.sequence.steps if isinstance(step, DyeBath)]
    assert dyes[-1] == "dun"
    assert plan.sequence.strips == 2


def test_two_lasting_dyes_stand_in_each_others_way():
    with pytest.raises(NoPlanError, match=r"`colour 1` and `colour 2`"):
        plan_of([[{"amber": 5.0}], [{"dun": 5.0}], [{"blue": 5.0}]], lasting=("amber", "dun"))


def test_the_same_recipe_shares_a_mask():
    plan = plan_of([[{"amber": 5.0}], [{"blue": 5.0}], [{"amber": 5.0}]])
    assert counts(plan) == (1, 1, 2)
    assert any(isinstance(s, ApplyMask) and set(s.regions) == {"r1", "r3"} for s in plan.sequence.steps) or any(
        isinstance(s, ApplyMask) and s.regions == ("r2",) for s in plan.sequence.steps
    )


def test_never_gives_a_mixture_its_own_run():
    choices = [[{"amber": 5.0}], [{"amber": 5.0, "blue": 2.0}], [{}]]
    assert counts(plan_of(choices)) == (0, 2, 2)
    assert counts(plan_of(choices, overdye=Permission.NEVER)) == (1, 2, 3)


def test_the_laborious_region_is_left_without_a_mask():
    for laborious in (0, 1):
        wanted = jobs.wanted_of([[{"amber": 5.0}], [{"blue": 5.0}]])
        wanted = [w.__class__(w.key, w.name, w.source, w.recipes, float(i == laborious)) for i, w in enumerate(wanted)]
        plan = plan_order(wanted, jobs.shelf_of(), MODELS[()], finish=Finish())
        masked = [key for step in plan.sequence.steps if isinstance(step, ApplyMask) for key in step.regions]
        assert masked == [f"r{2 - laborious}"]


def test_only_bare_is_sealed_as_it_is():
    plan = plan_of([[{}], [{}]])
    assert len(plan.sequence.steps) == 1
    assert plan.why == ("r1",)


def test_dyes_of_the_jobs_are_on_the_shelf():
    assert [dye.name for dye in jobs.shelf_of().dyes] == list(jobs.DYES)
