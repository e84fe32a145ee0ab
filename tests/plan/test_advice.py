"""Notes and findings about plans: each is there when it should be, names its colours, and is away otherwise."""

import pytest
from coloraide import Color

from maskgen.model.dyeing import (
    ApplyMask,
    Dye,
    DyeBath,
    Plan,
    PlannedRegion,
    Recipe,
    Seal,
    Sequence,
    Shelf,
    Strip,
    Swatch,
)
from maskgen.model.finding import Code, Severity
from maskgen.plan.advice import advice, oxide_needed_um
from maskgen.plan.finished import contrast_findings, unreached_findings


def shelf(thickness=25.0, temperature=45.0):
    return Shelf(
        "#c9cccf",
        thickness,
        (
            Dye("ink", (Swatch(20.0, "#17181a"),), temperature_c=temperature),
            Dye("iron", (Swatch(9.0, "#a78338"),), strips=False),
        ),
    )


def region(key="r1", predicted="#17181a", recipe=None, *, delta_e=0.0, measured=False):
    doses = {"ink": 20.0} if recipe is None else recipe
    return PlannedRegion(key, f"colour {key}", "#000000", Recipe.of(doses), predicted, delta_e, measured)


def notes(regions=(), steps=(), bench=None):
    return " ".join(advice(regions or [region()], [*steps, Seal()], bench or shelf()))


def test_thin_oxide_names_the_deep_shade_and_its_source():
    assert "colour r1 about 23 µm" in notes(bench=shelf(thickness=10.0))
    assert "Metal Finishing Guidebook" in notes(bench=shelf(thickness=10.0))
    assert "too thin" not in notes(bench=shelf(thickness=25.0))
    assert "too thin" not in notes([region(recipe={})], bench=shelf(thickness=2.0))


def test_oxide_needed_runs_from_pastel_to_black():
    # 0.1 mil for pastels, 1.0 mil for black (25.4 um): Metal Finishing Guidebook 2011-12, p. 412.
    assert oxide_needed_um("#c9cccf", "#c9cccf") == pytest.approx(0.1 * 25.4, abs=0.1)
    assert oxide_needed_um("#000000", "#c9cccf") == pytest.approx(1.0 * 25.4, abs=0.5)


def test_three_strips_are_many():
    assert "3 strips" in notes(steps=[Strip()] * 3)
    assert "strips" not in notes(steps=[Strip()] * 2).replace("does not strip", "")


def test_hot_baths_count_only_with_vinyl_on():
    steps = [DyeBath("ink", 4.0), ApplyMask("M1", ("r1",)), DyeBath("ink", 6.5)]
    assert "Vinyl is on for 6.5 minutes in dye of up to 60 °C" in notes(steps=steps, bench=shelf(temperature=60.0))
    assert "begins to seal" in notes(steps=steps, bench=shelf(temperature=85.0))
    assert "Vinyl" not in notes(steps=steps)
    assert "Vinyl" not in notes(steps=steps[:1], bench=shelf(temperature=60.0))


def test_lasting_dyes_and_predicted_mixtures_are_named():
    mixed = {"ink": 1.0, "iron": 2.0}
    assert "does not take out iron" in notes([region(recipe=mixed)])
    assert "Predicted, not measured: colour r1" in notes([region(recipe=mixed)])
    assert "Predicted" not in notes([region(recipe=mixed, measured=True)])
    assert "iron" not in notes()


def test_bath_time_is_summed():
    assert "10.5 minutes in all, in 2 baths" in notes(steps=[DyeBath("ink", 4.0), DyeBath("ink", 6.5)])
    assert "long for film" in notes(steps=[DyeBath("ink", 61.0)])
    assert "long for film" not in notes(steps=[DyeBath("ink", 60.0)])


def test_every_claim_says_where_it_is_from():
    for note in advice([region()], [Strip(), Strip(), Strip(), ApplyMask("M1", ("r1",)), DyeBath("ink", 70.0), Seal()],
                       shelf(10.0, 85.0)):  # fmt: skip
        assert any(word in note for word in ("p. 412", "FINAT", "common practice", "no source", "finishingandcoating"))


def plan(*regions):
    return Plan(regions, Sequence((Seal(),)), True, 0)


def test_unreached_colours_are_told_with_the_nearest():
    (finding,) = unreached_findings(
        plan(region("r1", delta_e=7.0), region("r2", delta_e=2.0), region("r3", delta_e=9.0)),
        matched=["r1", "r2"],
        tolerance_delta_e=3.0,
    )
    assert (finding.code, finding.severity) == (Code.COLOUR_UNREACHED, Severity.WARNING)
    assert (finding.value, finding.limit) == (7.0, 3.0)
    assert "`colour r1`" in finding.message
    assert "#17181a at 7.0, ink 20 min" in finding.message


@pytest.mark.parametrize(
    ("first", "second", "alike"),
    [
        ("#2b4a8f", "#2e4d90", True),
        ("#c9cccf", "#c4c8cc", True),
        ("#17181a", "#cdb60f", False),
        ("#a01a2b", "#18397f", False),  # little contrast, but nobody takes red for blue
    ],
)
def test_neighbours_too_alike(first, second, alike):
    findings = contrast_findings(plan(region("r1", first), region("r2", second)), [("r2", "r1"), ("r1", "r2")])
    assert len(findings) == alike
    for finding in findings:
        assert finding.code is Code.LOW_CONTRAST
        ratio = Color(first).contrast(Color(second), method="wcag21")
        assert finding.value == pytest.approx(ratio, abs=0.01)
        assert first in finding.message
        assert second in finding.message
        assert f"{ratio:.2f}:1" in finding.message


def test_colours_that_do_not_touch_may_be_alike():
    assert contrast_findings(plan(region("r1"), region("r2")), []) == ()
