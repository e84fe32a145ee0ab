"""The words of a name list's papers: its report, its part of the bench sheet, the customer's picture."""

from __future__ import annotations

from maskgen.model.dyeing import ApplyMask, DyeBath, Lift, Plan, Step, Strip


class NamesWords:
    """The words in English."""

    names_made = "made"
    names_warned = "made, to look at"
    names_refused = "refused"
    names_parts = "parts"
    names_sheets = "sheets to cut"
    not_made = "Not made"
    look_first = "Made, but look at these first"
    refused_heads = ("row", "id", "name", "why")
    warned_heads = ("row", "id", "name", "what")
    look_mark = "look"
    alike_title = "On every part alike"
    all_names = "All names as they will look"
    lots_title = "Colours and baths"
    lots_heads = ("letters", "parts", "steps, in order")
    lots_hint = (
        "Parts of one colour go through the baths together, as one lot; the bench sheet has each lot step by step."
    )
    sheets_hint = (
        "Each box is one mask, with the row of the list it is for; boxes and words are not in the cut files. Places are "
        "mm from the left and from the top edge of the sheet."
    )
    where_each_lies = "Where each lies"
    not_shown = "Not shown, because they cannot be made as they stand"
    names_title = "The names of this lot"
    names_heads = ("row", "name", "parts", "mask", "on sheet", "pieces", "from the left edge", "from the top edge")

    def list_verdict(self, count: int, refused: int) -> str:
        """Say what became of a list."""
        if not count:
            return "The list holds no names"
        if refused:
            return f"{refused} of {count} names cannot be made as they stand"
        return f"All {count} names can be cut" if count > 1 else "The name can be cut"

    def lot_title(self, title: str, letters: str, number: int, count: int) -> str:
        """Name one of several lots."""
        lot = f"lot {number} of {count}, letters in {letters}"
        return f"{title}: {lot}" if title else lot[0].upper() + lot[1:]

    def same_on_all(self, mask: str, pieces: int, left: float, top: float) -> str:
        """Say the measures of a mask that are those of every part."""
        count = "1 piece" if pieces == 1 else f"{pieces} pieces"
        return f"{mask} has the same measures on every part: {count}, {left:.1f} mm from the left edge, {top:.1f} mm from the top edge."

    def whole_name(self, text: str, second: str) -> str:
        """Say a name of one or two lines in one."""
        return f"{text} / {second}" if second else text

    def name_caption(self, number: int, text: str, quantity: int) -> str:
        """Name a part of a list for the customer."""
        return f"{number}  {text}" + (f" x {quantity}" if quantity > 1 else "")

    def lot_steps(self, plan: Plan) -> str:
        """Say the steps of a lot in one line."""
        names = {region.key: region.name for region in plan.regions}
        return ", ".join(self._step(step, names) for step in plan.sequence.steps)

    def _step(self, step: Step, names: dict[str, str]) -> str:
        match step:
            case DyeBath(dye, minutes):
                return f"{dye} {minutes:g} min"
            case ApplyMask(mask, regions):
                return f"lay {mask} over {' and '.join(names.get(key, key) for key in regions)}"
            case Strip():
                return "bleach"
            case Lift(masks):
                return f"take off {' and '.join(masks)}"
            case _:
                return "seal"

    def sheet_caption(self, number: int, width: float, height: float, masks: int, rows: tuple[int, int]) -> str:
        """Say what a sheet is and holds."""
        first, last = rows
        of = f"row {first}" if first == last else f"rows {first} to {last}"
        many = "1 piece of film" if masks == 1 else f"{masks} pieces of film"
        return f"Sheet {number}, {width:.0f} x {height:.0f} mm: {many} for {of}."

    def lies_at(self, what: str, left: float, top: float, more: int) -> str:
        """Say where the first copy of a mask lies, and how many others there are on the sheet."""
        return f"{what}: {left:.0f}, {top:.0f}" + (f" and {more} more" if more else "")
