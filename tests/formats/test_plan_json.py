"""`plan.json`: the published example of three colours, key by key, and a plan with a lift."""

import json

from maskgen.formats.plan_json import write_plan
from maskgen.model.dyeing import ApplyMask, DyeBath, Lift, Plan, PlannedRegion, Recipe, Seal, Sequence, Strip

LEMON, GREEN, BLUE = Recipe.of({"lemon": 5}), Recipe.of({"lemon": 5, "sea blue": 2}), Recipe.of({"sea blue": 4})
PLAN = Plan(
    (
        PlannedRegion("r1", "star", "#e8c81e", LEMON, "#e3c530", 1.1, area_mm2=21.7),
        PlannedRegion("r2", "hill", "#2f7d4b", GREEN, "#2e7d4f", 0.9, True, 260.0),
        PlannedRegion("r3", "sky", "#1b3f94", BLUE, "#2b4a8f", 1.8, area_mm2=1518.3),
    ),
    Sequence(
        (
            DyeBath("lemon", 5),
            ApplyMask("M1", ("r1",)),
            DyeBath("sea blue", 2.0),
            ApplyMask("M2", ("r2",)),
            Strip(),
            DyeBath("sea blue", 4.0),
            Seal(),
        )
    ),
    optimal=True,
    lower_bound=1,
    why=("r2", "r3"),
)
# The example of the format's description.
EXAMPLE = """
{
  "regions": [
    { "id": "r1", "name": "star", "source": "#e8c81e", "recipe": [ {"dye": "lemon", "minutes": 5.0} ],
      "predicted": "#e3c530", "delta_e": 1.1, "area_mm2": 21.7 },
    { "id": "r2", "name": "hill", "source": "#2f7d4b",
      "recipe": [ {"dye": "lemon", "minutes": 5.0}, {"dye": "sea blue", "minutes": 2.0} ],
      "predicted": "#2e7d4f", "delta_e": 0.9, "area_mm2": 260.0 },
    { "id": "r3", "name": "sky", "source": "#1b3f94", "recipe": [ {"dye": "sea blue", "minutes": 4.0} ],
      "predicted": "#2b4a8f", "delta_e": 1.8, "area_mm2": 1518.3 } ],
  "steps": [ {"op": "dye", "dye": "lemon", "minutes": 5.0},
             {"op": "mask", "mask": "M1", "regions": ["r1"]},
             {"op": "dye", "dye": "sea blue", "minutes": 2.0},
             {"op": "mask", "mask": "M2", "regions": ["r2"]},
             {"op": "strip"},
             {"op": "dye", "dye": "sea blue", "minutes": 4.0},
             {"op": "seal"} ],
  "strips": 1, "masks": 2, "baths": 3, "lifts": 0,
  "optimal": true, "lower_bound": 1, "why": ["r2", "r3"],
  "alternatives": []
}
"""


def without_additions(document):
    regions = [{k: v for k, v in r.items() if k != "measured"} for r in document["regions"]]
    return {k: v for k, v in document.items() if k != "notes"} | {"regions": regions}


def test_the_example_is_written_as_described():
    written = json.loads(write_plan(PLAN))
    assert without_additions(written) == json.loads(EXAMPLE)
    assert [r["measured"] for r in written["regions"]] == [False, True, False]
    assert list(without_additions(written)) == list(json.loads(EXAMPLE))


def test_times_are_decimal_numbers_and_areas_may_be_unknown():
    text = write_plan(
        Plan((PlannedRegion("r1", "a", "#000000", LEMON, "#000000", 0.0),), PLAN.sequence, True, 1)
    ).decode()
    assert '"minutes": 5.0' in text
    assert "area_mm2" not in text
    assert text.endswith("}\n")


def test_a_lift_and_the_alternatives():
    lifted = Sequence((ApplyMask("M1", ("r1",)), DyeBath("lemon", 1.0), Lift(("M1",)), Seal()))
    plan = Plan(PLAN.regions, lifted, True, 0, alternatives=(lifted, PLAN.sequence), notes=("mind the edge",))
    written = json.loads(write_plan(plan))
    assert written["steps"][2] == {"op": "lift", "masks": ["M1"]}
    assert (written["strips"], written["masks"], written["baths"], written["lifts"]) == (0, 1, 1, 1)
    assert [a["strips"] for a in written["alternatives"]] == [0, 1]
    assert written["alternatives"][0]["steps"] == written["steps"]
    assert written["notes"] == ["mind the edge"]
