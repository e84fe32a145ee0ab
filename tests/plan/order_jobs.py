"""Random jobs for the planner's tests, the same in every run."""

import random

from maskgen.model.dyeing import Dye, Recipe, Shelf, Swatch, WantedColour

DYES = ("amber", "blue", "coral", "dun")
SWATCHES = ("#c0a020", "#2020c0", "#c06050", "#807060")


def shelf_of(lasting=()):
    dyes = zip(DYES, SWATCHES, strict=True)
    return Shelf("#c9cccf", 18.0, tuple(Dye(d, (Swatch(5.0, c),), strips=d not in lasting) for d, c in dyes))


def wanted_of(choices):
    """One wanted colour per list of recipes (dicts of minutes by dye)."""
    return [
        WantedColour(f"r{i}", f"colour {i}", "#808080", tuple(Recipe.of(r) for r in recipes))
        for i, recipes in enumerate(choices, start=1)
    ]


def different_recipes(rng, number, dyes, doses):
    """At most `number` different recipes of these dyes; fewer where there are no more."""
    found = set()
    while len(found) < min(number, (len(doses) + 1) ** dyes):
        found.add(tuple(rng.choice([0, 0, *doses]) for _ in range(dyes)))
    recipes = [{d: m for d, m in zip(DYES, doses_, strict=False) if m} for doses_ in sorted(found)]
    rng.shuffle(recipes)
    return recipes


def some_lasting(rng):
    return tuple(d for d in DYES if rng.random() < 0.12)


def seeded(seed):
    return random.Random(f"dye order {seed}")
