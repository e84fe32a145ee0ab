"""The words beside a placing picture: where the film goes, how it is told from its turned self, what to keep open."""

from __future__ import annotations

from collections.abc import Sequence

from maskgen.model.job import Align

Side = tuple[str, float]
"""The name of an edge, and how far the film lies in from it (below zero: runs over it)."""


class PlacingWords:
    """The words in English."""

    edges = ("left edge", "top edge", "right edge", "bottom edge")
    tube_edges = (
        "back line, going round from the left",
        "top end",
        "back line, going round from the right",
        "bottom end",
    )
    back_line = "Tubes: mark the back line inside at both ends, on every part at the same place: all film is measured round from it."
    seam = "On a tube: the front is in the middle; the film closes over the seam at the back, one end over the other."
    register_marks = "Register marks: the crosses lie at the same places for every mask of this job; leave them on the tape, not on the part."
    keep_up = "The top of the film is marked in the picture: keep it up."
    keep_turnable_up = (
        "Turned round it looks almost the same, and is not: mark its top before you lift it, and keep it up."
    )
    one_of_the_names = "The picture shows one of the names: the measures to its film differ from name to name."
    its_own_pieces = "the letters of its name on each part"
    top_of_part = "top of the part"
    key_bare = "no film"
    check_line = "50 mm: check"

    def key_new(self, mask: str) -> str:
        """Name the film that is laid now."""
        return f"{mask}: laid now"

    def key_under(self, masks: Sequence[str]) -> str:
        """Name the film that is on."""
        return f"on already: {', '.join(masks)}"

    def runs_over(self, by: float) -> str:
        """Say that film runs over an edge."""
        return f"{by:.1f} mm over"

    def mm_measured(self, value: float) -> str:
        """Say a length to be measured with a steel rule."""
        return f"{value:.1f} mm"

    def film_measure(self, extent: float) -> str:
        """Say how far the film reaches from end to end."""
        return f"film {extent:.1f} mm"

    def drawn_at(self, scale: float) -> str:
        """Say how large a placing picture is drawn."""
        if scale == 1.0:
            return "Drawn at actual size when printed at 100 %: lay the part on it to check."
        return f"Drawn {scale:g} times as large." if scale > 1 else f"Drawn at 1 : {1 / scale:g}."

    def placing(self, sides: Sequence[Side]) -> str:
        """Say where the film begins (left, top) and ends (right, bottom), by the edges it lies in from."""
        begins, ends = (
            " and ".join(f"{gap:.1f} mm from the {name}" for name, gap in part if gap > 0.05)
            for part in (sides[:2], sides[2:])
        )
        said = [*([f"begins {begins}"] if begins else []), *([f"ends {ends}"] if ends else [])]
        return f"The film {'; it '.join(said)}." if said else ""

    def from_film(self, mask: str, sides: Sequence[Side]) -> str:
        """Say the measures from the outer edge of film that hides the part's edge."""
        measures = ", ".join(f"{gap:.1f} mm from the {name}" for name, gap in sides)
        return f"{mask} hides edges of the part; measured from the outer edge of {mask}: {measures}."

    def laps(self, masks: Sequence[str], by: float, *, even: bool) -> str:
        """Say that film lies on earlier film all round."""
        how = f"by {by:.1f} mm all round" if even else f"all round, by {by:.1f} mm or more"
        return f"It laps {' and '.join(masks)} {how}: go by that."

    def larger(self, by: float, *, bleached: bool) -> str:
        """Say that the film is larger than the finished colour."""
        why = ": bleach creeps under it" if bleached else ""
        return f"It is cut larger than the finished colour, by up to {by:.2f} mm towards its neighbours{why}."

    def hole_opening(self, diameter: float, left: float, top: float, edges: Sequence[str], opening: float) -> str:
        """Say that the film has an opening at a drilled hole."""
        return (
            f"Its opening of {opening:.1f} mm goes round the {diameter:g} mm hole, whose middle is {left:.1f} mm from the {edges[0]} "
            f"and {top:.1f} mm from the {edges[1]}: line it up with the hole."
        )

    def fine_gaps(self, count: int, narrowest: float) -> str:
        """Say that pieces lie nearer to each other than the drawing shows."""
        gaps = "1 gap between pieces is" if count == 1 else f"{count} gaps between pieces are"
        return f"{gaps} finer than the drawing shows, the narrowest {narrowest:.1f} mm: keep {'it' if count == 1 else 'them'} open."

    def even_over(self, sides: Sequence[Side]) -> str:
        """Say how film that runs over every edge is centred."""
        overs = sorted({round(-gap, 1) for _, gap in sides})
        if len(overs) == 1 and overs[0] > 0:
            return f"The film runs over every edge by {overs[0]:.1f} mm: centre it until all sides show the same."
        over = ", ".join(f"{name} {abs(gap):.1f} mm" for name, gap in sides if gap < -0.05)
        return f"The film covers the part and runs over its edges: {over}." if over else "The film covers the part."

    def by_opening(self, left: float, top: float, edges: Sequence[str]) -> str:
        """Say where the largest opening begins."""
        return (
            f"Its largest opening, measured through the middle, begins {left:.1f} mm from the {edges[0]} and {top:.1f} mm from "
            f"the {edges[1]}."
        )

    def loose_places(self, boxes: Sequence[tuple[float, float, float, float]]) -> str:
        """Say where each loose piece begins."""
        places = "; ".join(f"{n}: {box[0]:.1f}, {box[1]:.1f}" for n, box in enumerate(boxes, start=1))
        return f"Each piece begins, in mm from the left and from the top, at {places}."

    def letter_box(self, left: float, top: float, width: float, height: float, align: Align) -> str:
        """Say where names stand."""
        how = {
            Align.LEFT: "from the left side of",
            Align.CENTRE: "in the middle of",
            Align.RIGHT: "up to the right side of",
        }[align]
        return (
            f"Every name stands {how} a box of {width:g} x {height:g} mm, drawn dashed, that begins {left:.1f} mm from the left "
            f"edge and {top:.1f} mm from the top edge."
        )

    def small_pieces(self, area_mm2: float) -> str:
        """Say how small the smallest piece is."""
        return f"The smallest piece has {area_mm2:.1f} mm²: see that it is there."
