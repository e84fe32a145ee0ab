"""The dye order of wanted colours, matched ones giving way where their nearest recipes leave no order at all."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Sequence

from maskgen.colour.match import match_recipes
from maskgen.colour.mix import ColourModel
from maskgen.colour.spaces import difference
from maskgen.errors import NoPlanError
from maskgen.model.dyeing import Plan, Recipe, Shelf, WantedColour
from maskgen.model.job import Finish
from maskgen.plan.order import plan_order


def order_dyes(wanted: Sequence[WantedColour], model: ColourModel, *, finish: Finish, matched: Collection[str]) -> Plan:
    """Order the dyes; `matched` are the ids of the colours whose recipe was looked for.

    Dyes that bleach does not take out may stand only in the last run, so two colours whose nearest recipes hold one may
    leave no order. Matched ones then take, one after the other, the nearest recipe without such a dye: first the one
    that comes nearest with it.

    Raises
    ------
    NoPlanError
        When no order exists even so; the message names the colours that stand in each other's way.
    """
    try:
        return plan_order(wanted, model.shelf, model, finish=finish)
    except NoPlanError:
        others = _without_lasting(wanted, model, finish, matched)
        given: dict[str, WantedColour] = {}
        for other in sorted(others, key=lambda w: _gap(model, w)):
            given[other.key] = other
            try:
                plan = plan_order([given.get(w.key, w) for w in wanted], model.shelf, model, finish=finish)
            except NoPlanError:
                continue
            names = ", ".join(w.name for w in given.values())
            note = f"{names}: a nearer recipe holds a dye that bleach does not take out, and would have left no order."
            return dataclasses.replace(plan, notes=(note, *plan.notes))
        raise


def _without_lasting(
    wanted: Sequence[WantedColour], model: ColourModel, finish: Finish, matched: Collection[str]
) -> list[WantedColour]:
    """Give the matched colours that need a lasting dye, with their nearest recipes without one."""
    lasting = frozenset(dye.name for dye in model.shelf.dyes if not dye.strips)
    bound = [w for w in wanted if w.key in matched and all(_holds(r, lasting) for r in w.recipes)]
    if not bound:
        return []
    rest = ColourModel(_shelf_without(model.shelf, lasting))
    return [
        dataclasses.replace(
            w, recipes=match_recipes(rest, w.source, tolerance_delta_e=finish.match_delta_e).recipes or (Recipe(),)
        )
        for w in bound
    ]


def _holds(recipe: Recipe, dyes: frozenset[str]) -> bool:
    return any(dye in dyes for dye, _ in recipe.doses)


def _shelf_without(shelf: Shelf, dyes: frozenset[str]) -> Shelf:
    return dataclasses.replace(
        shelf,
        dyes=tuple(dye for dye in shelf.dyes if dye.name not in dyes),
        mixes=tuple(mix for mix in shelf.mixes if not _holds(mix.recipe, dyes)),
    )


def _gap(model: ColourModel, wanted: WantedColour) -> float:
    return difference(model.predict(wanted.recipes[0]).colour, wanted.source)
