"""The words of the bench sheet: what to do, what to watch for, what can hurt."""

from __future__ import annotations

from collections.abc import Sequence

from maskgen.model.dyeing import ApplyMask, DyeBath, Lift, Seal, Step, Strip
from maskgen.model.job import Carrier, Peel, SheetSettings
from maskgen.report.words_placing import PlacingWords


def listed(names: Sequence[str]) -> str:
    """List names as in a sentence."""
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


COUNTED_SINGLY = 12
"""Up to so many parts each has a place for its count."""


class BenchWords(PlacingWords):
    """The words in English."""

    part = "Part"
    same_baths = "Companions"
    no_companions = "none"
    oxide = "Oxide"
    baths = "Baths"
    film_fact = "Film"
    work = "Work"
    pictures_fact = "Pictures"
    first_things = "Before the first bath"
    recipes_printed = "Colours, and the minutes each has had when it is done"
    made_on = "Date"
    made_on_line = "____________    by ____________    bath numbers ____________"
    before = "before"
    after = "after"
    measured = "seen on a coupon"
    predicted = "predicted"
    how_it_went = "How it went"
    how_it_went_lines = (
        "Good parts ________ spoiled ________; edges bled by about ________ mm; colours as the coupons ________",
        "What to do differently next time:",
    )
    striped = "Small ones: striped is film, plain is open to the bath. Large ones have their own key."
    unrolled_note = "A tube is drawn unrolled: the seam is at the left and right edge, the front in the middle."

    cautions_title = "Before you begin: what can hurt you"
    cautions: tuple[str, ...] = (
        "Bleach (hypochlorite) and acid make chlorine gas; bleach and ammonium salts make chloramines. Keep the bleach tub "
        "away from every acid and every bath with ammonium in it, and rinse in full between them: the data sheet of each dye "
        "says whether it holds either.",
        "Use a plastic tub for bleach, never the stainless dye pot. Bleach at room temperature, watch it, take the part out "
        "as soon as the colour is gone: bleach is alkaline and goes on to attack the oxide.",
        "Always acid into water, slowly. Never pour bleach and acid waste together.",
        "Gloves, goggles, an apron, extraction on. The dye bath scalds in seconds, the hot seal at once.",
        "Ask your local authority where spent dye, bleach, seal and acid may go.",
        "The data sheets of your dyes, bleach and seal and your local rules come first, and whoever is licensed for this work "
        "decides.",
    )
    coupon_first = "Dye a coupon of the same metal and oxide first; compare it with the colours above."
    handling = (
        "Unsealed oxide takes grease from a bare finger: clean gloves from the anodising tank to the seal. Dye the same "
        "day (not tested here: try it on a coupon); keep the parts wet in deionised water until then."
    )

    def same_way_up(self, *, tube: bool) -> str:
        """Say that the top of the part is to be marked."""
        return f"Mark the top of every part {'inside' if tube else 'on its back'}: all masks are laid the same way up."

    ground_note = "the part outside the artwork"
    peel_then_seal = "Peel all film, then seal"
    seal_peel_seal = "Seal in two parts, and peel all film in between"

    coupons = (
        "Coupons first: scraps of the same metal with the same oxide, one for each colour above, each through all the baths "
        "named there, bleach too, and rinsed between them. If one is off, change the minutes before any part goes in. They "
        "came out: ______________________________"
    )

    def companions_ready(self, companions: Sequence[str], colour: str) -> str:
        """Say that companions are to lie ready, and what becomes of them."""
        return (
            f"Companions lie ready: {', '.join(companions)}. Without film they go through every bath with the parts, bleach "
            f"and seal too, and come out {colour}."
        )

    def back_and_sides(self, colour: str, *, tube: bool) -> str:
        """Say what becomes of the metal no film is laid on."""
        where = "the inside, nor the ends" if tube else "the back, nor the sides"
        return f"Nothing masks {where} beyond the film's edge: they come out {colour}, unless you cover them."

    def coupon_baths(self, steps: Sequence[Step]) -> str:
        """Say what a coupon goes through."""
        return f"its coupon: {', '.join(self._bath(step) for step in steps)}"

    def _bath(self, step: Step) -> str:
        match step:
            case DyeBath(dye, minutes):
                return f"{dye} {minutes:g}"
            case Strip():
                return "bleach"
            case _:
                return "seal"

    def film_ready(self, masks: Sequence[tuple[str, str, int | None]], quantity: int) -> str:
        """Say which film is to lie ready: number, name and pieces of each mask."""
        ready = "; ".join(
            f"{number} {name}, {self.what_to_count(pieces)}" + (f" x {quantity} parts" if quantity > 1 else "")
            for number, name, pieces in masks
        )
        return f"Film cut, weeded and counted: {ready}."

    def tubs_ready(self, *, strips: int) -> str:
        """Say what is to stand ready beside the dye pots."""
        bleach = (
            "a plastic tub of bleach well away from acid and from baths with ammonium, a thiosulphate dip, "
            if strips
            else ""
        )
        return (
            f"Set out: {bleach}cold running rinse, deionised rinse; clock, thermometer, rule, burnisher, tweezers, tongs; clean "
            "gloves, goggles, face shield, apron; extraction on."
        )

    def made_of(self, strips: int, masks: int, baths: int) -> str:
        """Sum a job up."""
        bleach = f"{self.count(strips, 'strip')} in bleach" if strips else "no bleach"
        return f"{self.count(baths, 'dye bath')}, {self.count(masks, 'mask')}, {bleach}, then the seal"

    def count(self, number: int, what: str) -> str:
        """Count things whose plural ends in s."""
        return f"{number} {what}" if number == 1 else f"{number} {what}s"

    def pieces(self, count: int) -> str:
        """Count pieces."""
        return self.count(count, "piece")

    def page(self, number: int) -> str:
        """Number a page."""
        return f"page {number}"

    def pages(self, count: int) -> str:
        """Say how many pages there are."""
        return f"of {count}"

    def film_on_parts(self, film: str, quantity: int) -> str:
        """Say for how many parts the film is."""
        return f"{film} (all {quantity} parts)" if quantity > 1 else film

    def oxide_line(self, thickness_um: float, minutes: float) -> str:
        """Say the oxide and the seal it needs."""
        return f"{thickness_um:g} µm, clear, rinsed, not sealed. Hot seal at the end: {minutes:g} min at 96 °C or more (3 min per µm)"

    def bath_line(self, dye: str, degrees: float) -> str:
        """Say how hot a bath is."""
        return f"{dye} at {degrees:g} °C"

    def dye_facts(self, degrees: float, minutes: float, already: float) -> str:
        """Say the figures of a dye bath; `already` is what the open metal has had of this dye."""
        more = (
            f"; the open metal has had {already:g} min of this dye before, and comes to {already + minutes:g} min"
            if already
            else ""
        )
        return f"{degrees:g} °C, {minutes:g} min{more}"

    def mask_facts(self, pieces: int, carrier: Carrier, *, named: bool = False) -> str:
        """Say what goes on each part; `named`: every part has a name of its own."""
        how = {
            Carrier.TAPE: "as one, with transfer tape",
            Carrier.LOOSE: "piece by piece, by the numbers in the picture" if pieces > 1 else "by hand",
            Carrier.STENCIL: "as one sheet",
        }[carrier]
        what = self.its_own_pieces if named else f"{self.pieces(pieces)} on each part"
        return f"{what}, laid {how}"

    def strip_facts(self, minutes: float) -> str:
        """Say the figures of a strip."""
        return (
            f"bleach at room temperature, as strong as its data sheet or your own trials say; the {minutes:g} min are a guess "
            "until you have tried it on a coupon"
        )

    def beside(self, companions: Sequence[str]) -> str:
        """Say what else goes into a bath, so that colours match."""
        return f"companions too: {', '.join(companions)}" if companions else ""

    def seal(self, minutes: float, peel: Peel) -> str:
        """Say how long the seal is."""
        if peel is Peel.BEFORE_SEAL:
            return f"{minutes:g} min at 96 °C or more, deionised water"
        half = minutes / 2
        return (
            f"{half:g} min, peel all film, then {half:g} min; at 96 °C or more, deionised water "
            "(how to divide it is not tested here: try it on a coupon)"
        )

    def do(
        self, step: Step, *, peel: Peel, minutes: float, masks_on: Sequence[str], pieces: int | None = None
    ) -> tuple[str, ...]:
        """Say what is done in a step, each with a box to tick; `minutes` are those of the bath."""
        match step:
            case DyeBath():
                pressed = ("Press the film's edges down once more.",) if masks_on else ()
                return (
                    *pressed,
                    "Rinse the parts; into the dye; start the clock; keep them moving.",
                    f"Out at {minutes:g} min; rinse in cold water until it runs clear.",
                )
            case ApplyMask(mask, _):
                return (
                    "Dry the parts; clean gloves. Lay the film by its measures.",
                    "Burnish every edge, above all over other film and the part's edge.",
                    f"Count {self.what_to_count(pieces)} of {mask} on each part; set aside what lacks one.",
                )
            case Strip():
                return (
                    "Press the film's edges down once more.",
                    "Rinse in full. Into the bleach; out as soon as the colour is gone.",
                    "Rinse long in cold water; thiosulphate dip; rinse; deionised rinse (not tested here: try it on a coupon).",
                )
            case Lift(masks):
                return (
                    f"Peel {listed(masks)} slowly and flat; leave all other film on.",
                    "Lift off what adhesive is left without solvent: the metal under it is open again.",
                )
            case Seal():
                return self._seal(peel, minutes, masks_on, pieces)

    def what_to_count(self, pieces: int | None) -> str:
        """Say how many pieces there are to count; None where every part has a name of its own."""
        return "the pieces of its name" if pieces is None else self.pieces(pieces)

    def _seal(self, peel: Peel, minutes: float, masks_on: Sequence[str], pieces: int | None) -> tuple[str, ...]:
        order = ", ".join(reversed(masks_on)) + (", the last first" if len(masks_on) > 1 else "")
        count = f"Count {self.pieces(pieces)} off each part. " if pieces is not None else ""
        film = f"Peel all film ({order}), slowly and flat; no solvent on the open oxide. {count}Rinse."
        if not masks_on:
            return (f"Into the hot seal; out at {minutes:g} min; rinse, dry.",)
        if peel is Peel.BEFORE_SEAL:
            return (film, f"Into the hot seal; out at {minutes:g} min; rinse, dry.")
        half = f"{minutes / 2:g} min"
        return (
            f"Into the hot seal with the film on; out at {half}.",
            film,
            f"Back into the hot seal for {half}; rinse, dry.",
        )

    def watch(self, step: Step, peel: Peel, bath: Step | None = None) -> tuple[str, ...]:
        """Say what to watch for at a step; `bath` is the next one."""
        match step:
            case DyeBath():
                return ("The open metal has now the colour of the picture on the right.",)
            case ApplyMask() if isinstance(bath, Strip):
                return ("Grease from a bare finger keeps film and bleach off; a loose edge lets bleach in.",)
            case ApplyMask():
                return ("Grease from a bare finger keeps film and dye off; a loose edge lets dye in.",)
            case Strip():
                return ("Left too long, bleach goes on to eat the oxide and creeps further under the film.",)
            case Lift():
                return ("What was covered is open again and goes on through every later bath.",)
            case Seal():
                return (
                    ("Film does not stand the seal's heat, and what is under it would stay unsealed.",)
                    if peel is Peel.BEFORE_SEAL
                    else ("Part of the seal, then peel all film, then the rest of the seal.",)
                )

    def danger(self, step: Step, *, degrees: float = 0.0) -> tuple[str, ...]:
        """Say what can hurt at a step."""
        match step:
            case DyeBath():
                return (f"{degrees:g} °C scalds in seconds: gloves, goggles.",) if degrees >= 45 else ()
            case Strip():
                return (
                    "Keep bleach in a plastic tub: acid near it makes chlorine gas, ammonium salts make chloramines. "
                    "Gloves, goggles, extraction on. Rinse in full before the next bath.",
                    "Thiosulphate must not meet acid either: it gives off sulphur dioxide.",
                )
            case Seal():
                return ("96 to 100 °C scalds at once: tongs, face shield.",)
            case _:
                return ()

    def record(self, step: Step, quantity: int) -> str:
        """Give the line on which is written what was really done; a mask's pieces are counted part by part."""
        match step:
            case DyeBath() | Seal():
                done = "______ min, ______ °C"
            case Strip():
                done = "______ min, colour gone all over ______"
            case _ if quantity <= COUNTED_SINGLY:
                places = "   ".join(f"{part}: ____" for part in range(1, quantity + 1))
                done = f"pieces counted on part  {places}"
            case _:
                done = f"pieces counted on ______ of {quantity} parts"
        return f"Actual: {done}; remarks ____________________________________________________"

    def sheet_check(self, settings: SheetSettings) -> str:
        """Say how the cut film is checked for size."""
        return "Measure the check bar on the sheet: 50.0 mm." if settings.check_bar else ""

    def danger_of_dye(self, dye: str) -> str:
        """Say that a dye does not come out again."""
        return f"{dye} does not come out in bleach: what it touches stays."
