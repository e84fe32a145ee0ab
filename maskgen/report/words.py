"""Every word the reports say, in one place, so that another language can stand beside it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from maskgen.model.dyeing import ApplyMask, DyeBath, Lift, Plan, Recipe, Seal, Step, Strip
from maskgen.model.finding import Severity
from maskgen.model.job import Carrier, Job, Part, Peel, Shape
from maskgen.model.masks import Sheet
from maskgen.model.result import Forgiveness, IslandChange, SmallestSize

TEXT_FONT = "Noto Sans"
"""The family the printed words stand in: it has the letters of most names."""

_CODES = {
    "thin-land": "Vinyl too narrow",
    "narrow-gap": "Opening too narrow",
    "small-piece": "Piece too small to handle",
    "loose-island": "Loose piece inside an opening",
    "low-contrast": "Colours hard to tell apart",
    "colour-unreached": "Colour out of reach",
    "low-resolution": "Picture too coarse for this size",
    "no-flat-colours": "Picture without flat colours",
    "off-part": "Artwork over the edge, in the keepout or over a hole",
    "creep-overrun": "Bleach would eat through",
    "unread": "Not understood in the drawing",
}


@dataclass(frozen=True, slots=True)
class Words:
    """The words in English."""

    untitled: str = "Job without a title"
    worst_trial: str = "The worst of the trials"
    islands: str = "Islands that were changed"
    proof_title: str = "How the part will look"
    actual_size: str = "At actual size, printed at 100 %"
    from_the_front: str = "From the front"
    unrolled: str = "All round, unrolled"
    colours_vary: str = "Predicted colours; dyed metal varies."
    as_it_will_look: str = "As it will look"
    the_artwork: str = "The artwork on the part"
    findings: str = "What to look at before cutting"
    nothing_to_make: str = "None of the names can be made as they stand: there is nothing to do at the bench."
    no_findings: str = "Nothing was found that stands in the way."
    walk: str = "Step by step"
    masks: str = "Masks"
    sheets: str = "Sheets for the cutter"
    trials: str = "Masks placed a little off"
    figures: str = "Time, film and price"
    cautions_title: str = "Before you begin"
    recipes: str = "Colours and recipes"
    coupon_first: str = "Dye a coupon of the same metal and oxide first; compare it with the colours above."
    cautions: tuple[str, ...] = (
        "Bleach (hypochlorite) and acid make chlorine gas; bleach and ammonium salts make chloramines. Keep the bleach tub "
        "away from every acid, ferric ammonium oxalate or ammonium acetate bath, and rinse in full between them.",
        "Use a plastic tub for bleach, never the stainless dye pot. Bleach at room temperature, watch it, take the part out "
        "as soon as the colour is gone: bleach is alkaline and goes on to attack the oxide.",
        "Always acid into water, slowly. Never pour bleach and acid waste together.",
        "Gloves, goggles, an apron, and air that moves. The dye bath scalds in seconds, the hot seal at once.",
        "Ask your local authority where spent dye, seal and acid may go.",
        "The data sheets of your dyes, bleach and seal and your local rules come first; so does licensed practice.",
    )
    handling: str = (
        "Unsealed oxide takes grease from a bare finger: clean gloves from the anodising tank to the seal. Dye the same "
        "day (common practice, no source); keep the parts wet in deionised water until then."
    )

    def size_of(self, part: Part) -> str:
        """Say what the part is and how large."""
        match part.shape:
            case Shape.PLATE:
                return f"Plate, {part.width_mm:g} x {part.height_mm:g} mm"
            case Shape.TUBE:
                return f"Tube, {part.diameter_mm:g} mm across, {part.length_mm:g} mm long"
            case Shape.DISC:
                return f"Disc, {part.diameter_mm:g} mm across"

    def mm(self, value: float) -> str:
        """Say a length as it was given."""
        return f"{value:g} mm"

    def mm_round(self, value: float) -> str:
        """Say a length round a tube, which has no end of digits."""
        return f"{value:.1f} mm round"

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

    def code(self, code: str, count: int) -> str:
        """Name a kind of finding."""
        name = _CODES.get(code, code.replace("-", " "))
        return name if count == 1 else f"{name}: {count} places"

    def why(self, plan: Plan, names: Mapping[str, str]) -> str:
        """Say why it cannot be done with fewer strips."""
        if len(plan.why) < 2:
            return ""
        colours = [names[key] for key in plan.why]
        listed = ", ".join(colours[:-1]) + " and " + colours[-1]
        return (
            f"It cannot be done with fewer than {plan.lower_bound} "
            f"{'strip' if plan.lower_bound == 1 else 'strips'}: no two of {listed} can be reached one after the other "
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
        listed = ", ".join(f"{number} x {mask}" for mask, number in sorted(masks.items()))
        drawing = sheet.drawing
        return f"Sheet {sheet.number}, {drawing.width:.0f} x {drawing.height:.0f} mm, {100 * used:.0f} % of the film used: {listed}. The numbers are not in the cut file."

    def pieces(self, count: int) -> str:
        """Count pieces."""
        return "1 piece" if count == 1 else f"{count} pieces"

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
            f"show no seam. Wrong colour: {trials.median_wrong_mm2:.1f} mm² in the middle of them, "
            f"{trials.worst_wrong_mm2:.1f} mm² in the worst. Edges shift by {trials.median_edge_mm:.2f} mm, "
            f"{trials.worst_edge_mm:.2f} mm in the worst."
        )

    def smallest_text(self, smallest: SmallestSize) -> str:
        """Say how small the artwork can be."""
        if smallest.width_mm is None:
            return f"No width was found at which everything holds: {smallest.obstacle}"
        return f"Down to {smallest.width_mm:.1f} mm wide nothing is lost. Below that: {smallest.obstacle}"

    def severity(self, severity: Severity) -> str:
        """Name a severity."""
        return {Severity.ERROR: "must be mended", Severity.WARNING: "look at this", Severity.NOTE: "note"}[severity]

    def minutes(self, value: float) -> str:
        """Say a time."""
        if value < 90:
            return f"{value:.3g} min"
        hours, rest = divmod(round(value), 60)
        return f"{hours} h {rest:02d} min"

    def step(self, step: Step, names: dict[str, str]) -> str:
        """Say a step in one line; `names` are the regions' names by id."""
        match step:
            case DyeBath(dye, minutes):
                return f"Dye: {dye}, {minutes:g} min"
            case ApplyMask(mask, regions):
                return f"Lay mask {mask} over {' and '.join(names[r] for r in regions)}"
            case Strip():
                return "Strip everything open back to bare oxide"
            case Lift(masks):
                return f"Take off {' and '.join(masks)}"
            case Seal():
                return "Seal"

    def beside(self, companions: Sequence[str]) -> str:
        """Say what else goes into a bath, so that colours match."""
        return f"; together with: {', '.join(companions)}" if companions else ""

    def seal(self, minutes: float, peel: Peel) -> str:
        """Say how long the seal is."""
        if peel is Peel.BEFORE_SEAL:
            return f"{minutes:g} min at 96 °C or more, deionised water"
        half = minutes / 2
        return (
            f"{half:g} min, peel all film, then {half:g} min; at 96 °C or more, deionised water "
            "(how to divide it: common practice, no source)"
        )

    def watch(self, step: Step, peel: Peel) -> tuple[str, ...]:
        """Say what to watch for at a step."""
        match step:
            case DyeBath():
                return ("Rinse well before and after; move the part in the bath.",)
            case ApplyMask():
                return (
                    "Dry the part, handle it with gloves, lay the film from one side and burnish every edge, "
                    "above all where it runs over the edge of another mask.",
                    "Count the pieces before the next bath.",
                )
            case Strip():
                return (
                    "Bleach only: no acid or ammonium bath near it. Plastic tub, gloves, goggles, moving air.",
                    "Take the part out when the colour is gone; rinse long in cold water, then a thiosulphate dip, rinse, "
                    "deionised rinse (common practice, no source) before the next bath.",
                )
            case Lift():
                return ("Peel slowly and flat; lift off what adhesive is left without solvent on the open oxide.",)
            case Seal():
                return (
                    "All film off first: film does not stand the heat, and what is under it would stay unsealed."
                    if peel is Peel.BEFORE_SEAL
                    else "Part of the seal, then peel all film, then the rest of the seal.",
                    "96 to 100 °C scalds: tongs and a face shield.",
                )


WORDS = Words()
