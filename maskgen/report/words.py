"""Every word the reports say, in one place, so that another language can stand beside it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from maskgen.model.dyeing import ApplyMask, DyeBath, Lift, Plan, Recipe, Seal, Step, Strip
from maskgen.model.finding import Severity
from maskgen.model.job import Carrier, Job, Part, Shape
from maskgen.model.masks import Sheet
from maskgen.model.result import Forgiveness, IslandChange, SmallestSize
from maskgen.report.words_bench import listed
from maskgen.report.words_names import NamesWords
from maskgen.report.words_page import PageWords

TEXT_FONT = "Noto Sans"
"""The family the printed words stand in: it has the letters of most names."""


class Words(PageWords, NamesWords):
    """The words in English; another language is another class with the same names."""

    untitled = "Job without a title"
    worst_trial = "The worst of the trials"
    islands = "Islands that were changed"
    proof_title = "How the part will look"
    actual_size = "At actual size, printed at 100 %"
    from_the_front = "From the front"
    unrolled = "All round, unrolled"
    colours_vary = "Predicted colours; dyed metal varies."
    nothing_to_make = "None of the names can be made as they stand: there is nothing to do at the bench."
    recipes = "Colours and recipes"

    def size_of(self, part: Part) -> str:
        """Say what the part is and how large."""
        match part.shape:
            case Shape.PLATE:
                return f"Plate, {part.width_mm:g} x {part.height_mm:g} mm"
            case Shape.TUBE:
                return f"Tube, {part.diameter_mm:g} mm across, {part.length_mm:g} mm long"
            case Shape.DISC:
                return f"Disc, {part.diameter_mm:g} mm across"

    def part_to_make(self, part: Part, quantity: int) -> str:
        """Say what the part is and how many are to be made."""
        return f"{self.size_of(part)}, {quantity} to make"

    def mm(self, value: float) -> str:
        """Say a length as it was given."""
        return f"{value:g} mm"

    def mm_round(self, value: float) -> str:
        """Say a length round a tube, which has no end of digits."""
        return f"{value:.1f} mm round"

    def wide(self, value: float) -> str:
        """Say a width."""
        return f"{value:.1f} mm wide"

    def fine_mm(self, value: float) -> str:
        """Say how far an edge is off."""
        return f"{value:.3f} mm"

    def share_of_face(self, share: float) -> str:
        """Say a share of the part's face."""
        return f"{100 * share:.2f} % of the face"

    def colour_of(self, name: str, *, bare: bool) -> str:
        """Name a colour for the customer."""
        return f"{name} (the plain metal)" if bare else name

    def verdict(self, counts: Mapping[Severity, int]) -> str:
        """Sum the findings up."""
        if counts[Severity.ERROR]:
            return f"Not yet: {counts[Severity.ERROR]} to mend before anything is cut"
        if counts[Severity.WARNING]:
            return f"Can be cut; {counts[Severity.WARNING]} places to look at first"
        return "Ready to cut"

    def why(self, plan: Plan, names: Mapping[str, str]) -> str:
        """Say why it cannot be done with fewer strips."""
        if len(plan.why) < 2:
            return ""
        colours = [names[key] for key in plan.why]
        return (
            f"It cannot be done with fewer than {plan.lower_bound} "
            f"{'strip' if plan.lower_bound == 1 else 'strips'}: no two of {listed(colours)} can be reached one after the other "
            "without bleaching in between."
        )

    def state(self, masks_on: Sequence[str], open_regions: Sequence[str]) -> str:
        """Say what is covered and what is open after a step."""
        covered = f"Film on: {', '.join(masks_on)}." if masks_on else "No film on."
        return f"{covered} Open: {', '.join(open_regions)}." if open_regions else f"{covered} Nothing is open."

    def recipe(self, recipe: Recipe) -> str:
        """Say a recipe."""
        return " + ".join(f"{dye} {minutes:g} min" for dye, minutes in recipe.doses) or "bare"

    def sheet(self, sheet: Sheet, used: float) -> str:
        """Say what is on a sheet, and what share of its film ends up on parts."""
        masks = Counter(placement.mask for placement in sheet.placements)
        counts = ", ".join(f"{number} x {mask}" for mask, number in sorted(masks.items()))
        drawing = sheet.drawing
        return f"Sheet {sheet.number}, {drawing.width:.0f} x {drawing.height:.0f} mm, {100 * used:.0f} % of the film used: {counts}. The numbers are not in the cut file."

    def film(self, carrier: Carrier, masks: int, sheets: int) -> str:
        """Say how the film comes."""
        how = {
            Carrier.TAPE: "laid with transfer tape",
            Carrier.LOOSE: "pieces laid one by one",
            Carrier.STENCIL: "each mask one sheet",
        }[carrier]
        return f"{masks} {'mask' if masks == 1 else 'masks'} for each part, {how}; sheets: {sheets}"

    def money(self, value: float, job: Job) -> str:
        """Say a price."""
        return f"{value:.2f} {job.rates.currency if job.rates else ''}".strip()

    def island(self, change: IslandChange, names: Mapping[str, str]) -> str:
        """Say what was done to an island."""
        did = {"keep": "kept", "drop": "left out", "grow": "grown", "bridge": "bridged"}[change.choice]
        x, y = change.at_mm
        return (
            f"{names.get(change.region, change.region)} at {x:.1f}, {y:.1f} mm ({change.area_mm2:.2f} mm²): {did}, "
            f"{change.changed_mm2:.2f} mm² changed"
        )

    def trials_text(self, trials: Forgiveness) -> str:
        """Sum the displaced trials up."""
        return (
            f"{trials.trials} trials with every mask up to {trials.placement_mm:g} mm off: {100 * trials.seamless_share:.0f} % "
            f"show no seam. Wrong colour: no more than {trials.median_wrong_mm2:.1f} mm² in half of them, "
            f"{trials.worst_wrong_mm2:.1f} mm² in the worst. Edges are off by no more than {trials.median_edge_mm:.2f} mm in half of "
            f"them, by {trials.worst_edge_mm:.2f} mm in the worst."
        )

    def smallest_text(self, smallest: SmallestSize) -> str:
        """Say how small the artwork can be."""
        if smallest.width_mm is None:
            return f"No width was found at which everything holds: {smallest.obstacle}"
        return f"Down to {smallest.width_mm:.1f} mm wide nothing is lost. Below that: {smallest.obstacle}"

    def step(self, step: Step, names: dict[str, str]) -> str:
        """Say a step in one line; `names` are the regions' names by id."""
        match step:
            case DyeBath(dye, minutes):
                return f"Dye: {dye}, {minutes:g} min"
            case ApplyMask(mask, regions):
                return f"Lay mask {mask} over {listed([names[r] for r in regions])}"
            case Strip():
                return "Strip everything open back to bare oxide"
            case Lift(masks):
                return f"Take off {listed(masks)}"
            case Seal():
                return "Seal"


WORDS = Words()
