"""The words of the estimate: what each figure is called, and everything it counts with."""

from __future__ import annotations

from maskgen.model.result import Assumptions


class EstimateWords:
    """The words in English."""

    figures = "Time, film and price"
    film_used = "film"
    cut_length = "cut length"
    pieces_to_weed = "pieces to weed"
    in_the_baths = "in the baths"
    by_hand = "by hand"
    start_to_end = "from start to end"
    set_up_price = "set-up and baths"
    each_part = "each part"
    one_alone = "one part alone"
    price_for_all = "price for all"

    def price_of(self, quantity: int) -> str:
        """Name the price of the whole quantity."""
        return f"for {quantity}"

    def square_cm(self, area_mm2: float) -> str:
        """Say an area of film."""
        return f"{area_mm2 / 100:.0f} cm²"

    def metres(self, length_mm: float) -> str:
        """Say a long length."""
        return f"{length_mm / 1000:.1f} m"

    def minutes(self, value: float) -> str:
        """Say a time."""
        if value < 90:
            return f"{value:.3g} min"
        hours, rest = divmod(round(value), 60)
        return f"{hours} h {rest:02d} min"

    def assumptions(self, made: Assumptions) -> tuple[str, ...]:
        """Say what an estimate counts with."""
        sharing = (
            f"All {made.parts} parts and their companions share each bath."
            if made.lots == 1
            else f"{made.parts} parts in {made.lots} lots, one after the other; the parts of a lot and their companions share each bath."
        )
        hand = (
            f"By hand: {made.set_up_min:g} min to set up, {made.weed_piece_min:g} min to weed a piece, "
            f"{made.lay_mask_min:g} min to lay a mask on a part and {made.peel_mask_min:g} min to peel it, "
            f"{made.rinse_min:g} min of rinsing at each change of bath"
        )
        if made.place_piece_min is not None:
            hand += f", {made.place_piece_min:g} min to place a loose piece"
        return (
            sharing,
            f"{made.strip_min:g} min for a strip in bleach (common practice, no source); {made.seal_min_per_um:g} min of hot seal "
            f"per µm of oxide, {made.oxide_um:g} µm: {made.seal_min_per_um * made.oxide_um:g} min.",
            f"{hand} (common practice, no source).",
            "Film is counted as the whole length of every sheet.",
        )
