"""From the job's colours and the artwork's to the colours the planner orders."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from maskgen.colour.match import match_recipes
from maskgen.colour.mix import ColourModel
from maskgen.colour.naming import name_colours
from maskgen.colour.spaces import ciede2000, hex_to_lab
from maskgen.errors import InputError, nearest_known
from maskgen.model.dyeing import Recipe, Shelf, WantedColour
from maskgen.model.job import ColourEntry, Dose, Ground, Job

GROUND = "ground"


@dataclass(frozen=True, slots=True)
class NamedColour:
    """One colour of the job: its id in the plan, its name, the artwork's colour, and what the job says of it."""

    key: str
    name: str
    source: str
    entry: ColourEntry | None


def name_artwork_colours(palette: Sequence[str], entries: Sequence[ColourEntry]) -> tuple[NamedColour, ...]:
    """Bring the artwork's colours and the job's entries together, in the order of `palette`.

    Every entry takes one colour of the artwork, so that the sum of the differences (CIEDE2000) is least; colours no
    entry names are matched later. Ids count through the entries first, then the other colours.

    Raises
    ------
    InputError
        When the job names more colours than the artwork has.
    """
    if len(entries) > len(palette):
        raise InputError(
            f"the job names {len(entries)} colours, the artwork has {len(palette)}: {', '.join(palette)}",
            where="[[colour]]",
            mend="take one out, or state the number with --colours",
        )
    taken = _assign(palette, entries)
    order = sorted(range(len(palette)), key=lambda index: (taken.get(index, len(entries)), index))
    rank = {index: position for position, index in enumerate(order, start=1)}
    names = _names([(colour, taken.get(index), entries) for index, colour in enumerate(palette)])
    return tuple(
        NamedColour(f"r{rank[i]}", names[i], colour, None)
        if i not in taken
        else NamedColour(f"r{rank[i]}", names[i], entries[taken[i]].source.lower(), entries[taken[i]])
        for i, colour in enumerate(palette)
    )


def name_listed_colours(entries: Sequence[ColourEntry]) -> tuple[NamedColour, ...]:
    """Take the job's entries as they stand: a job without artwork."""
    names = _names([(entry.source, index, entries) for index, entry in enumerate(entries)])
    return tuple(NamedColour(f"r{i + 1}", names[i], entry.source.lower(), entry) for i, entry in enumerate(entries))


def _assign(palette: Sequence[str], entries: Sequence[ColourEntry]) -> dict[int, int]:
    if not entries:
        return {}
    ours = np.array([hex_to_lab(colour) for colour in palette])
    theirs = np.array([hex_to_lab(entry.source) for entry in entries])
    rows, columns = linear_sum_assignment(ciede2000(theirs[:, None], ours[None, :]))
    return {int(column): int(row) for row, column in zip(rows, columns, strict=True)}


def _names(colours: Sequence[tuple[str, int | None, Sequence[ColourEntry]]]) -> list[str]:
    stated = [entries[index].name if index is not None else None for _, index, entries in colours]
    used = {name for name in stated if name} | {GROUND}
    names = []
    for name, everyday in zip(stated, name_colours([colour for colour, _, _ in colours]), strict=True):
        chosen, number = name or everyday, 2
        while name is None and chosen in used:
            chosen, number = f"{everyday} {number}", number + 1
        used.add(chosen)
        names.append(chosen)
    return names


def wanted_colours(
    colours: Sequence[NamedColour],
    model: ColourModel,
    job: Job,
    *,
    ground_key: str | None,
    hand_work: Mapping[str, float] | None = None,
) -> tuple[WantedColour, ...]:
    """Say which recipes count as each colour: the one the job pins, or all that come near enough.

    Parameters
    ----------
    ground_key
        The id of the ground, which comes last; None when there is none of its own.
    hand_work
        What masking a region costs by hand, by id.

    Raises
    ------
    InputError
        For a dye the shelf does not have.
    """
    work = hand_work or {}
    pinned = {c.key: pinned_recipe(c.entry, model.shelf, where=f"colour `{c.name}`") for c in colours}
    ground = pinned_recipe(job.ground, model.shelf, where="[ground]") or Recipe()
    also = [recipe for recipe in (*pinned.values(), ground if ground_key else None) if recipe is not None]
    wanted = []
    for named in colours:
        recipe = pinned[named.key]
        if recipe is None:
            matches = match_recipes(model, named.source, tolerance_delta_e=job.finish.match_delta_e, also=also)
        recipes = matches.recipes if recipe is None else (recipe,)
        wanted.append(WantedColour(named.key, named.name, named.source, recipes, work.get(named.key, 0.0)))
    if ground_key is not None:
        source = model.predict(ground).colour
        wanted.append(WantedColour(ground_key, GROUND, source, (ground,), work.get(ground_key, 0.0)))
    return tuple(wanted)


def matched_keys(colours: Sequence[NamedColour]) -> tuple[str, ...]:
    """Ids of the colours whose recipe was looked for."""
    return tuple(c.key for c in colours if c.entry is None or not (c.entry.dye or c.entry.recipe or c.entry.bare))


def check_recipes(job: Job, shelf: Shelf) -> None:
    """Check every dye the job names against the shelf, before any long work.

    Raises
    ------
    InputError
        For a dye the shelf does not have.
    """
    for entry in job.colour:
        pinned_recipe(entry, shelf, where=f"colour `{entry.name or entry.source}`")
    pinned_recipe(job.ground, shelf, where="[ground]")


def pinned_recipe(entry: ColourEntry | Ground | None, shelf: Shelf, *, where: str) -> Recipe | None:
    """Give the recipe an entry pins, None where it leaves the choice.

    Raises
    ------
    InputError
        For a dye the shelf does not have.
    """
    if entry is None:
        return None
    doses = (Dose(entry.dye, 0.0),) if entry.dye is not None else entry.recipe or ()
    for dose in doses:
        if dose.dye not in {dye.name for dye in shelf.dyes}:
            raise InputError(
                f"the shelf has no dye `{dose.dye}`",
                where=where,
                mend=nearest_known(dose.dye, [dye.name for dye in shelf.dyes]),
            )
    if entry.dye is not None:
        return Recipe.of({entry.dye: shelf.dye(entry.dye).full_minutes})
    if entry.recipe is not None:
        return Recipe.of({dose.dye: dose.minutes for dose in entry.recipe})
    return Recipe() if entry.bare else None
