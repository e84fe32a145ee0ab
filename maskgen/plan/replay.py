"""What the steps of a plan do to every region: the bench, played through.

The one place where the meaning of the steps is written down as code; the report, the simulation and the tests all ask
it, and the planner does not.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from maskgen.errors import MaskgenError
from maskgen.model.dyeing import ApplyMask, DyeBath, Lift, Recipe, Seal, Step, Strip


@dataclass(frozen=True, slots=True)
class Moment:
    """Every region after one step: the recipe in its oxide, and the mask it is under (None: open)."""

    recipe: dict[str, Recipe]
    mask: dict[str, str | None]

    @property
    def open(self) -> tuple[str, ...]:
        """The regions under no mask."""
        return tuple(key for key, mask in self.mask.items() if mask is None)


class StepError(MaskgenError):
    """A step that cannot be done at the bench."""


def replay(steps: Sequence[Step], region_keys: Sequence[str], *, lasting: Collection[str] = ()) -> tuple[Moment, ...]:
    """Play steps through from the rinsed, unsealed, undyed oxide.

    Parameters
    ----------
    lasting
        Dyes that do not strip.

    Returns
    -------
    One moment per step: how things are after it.

    Raises
    ------
    StepError
        Where a step masks what is covered or unknown, reuses a mask's number, lifts a mask that is not on, strips oxide
        that holds a lasting dye, has a time that is not above 0, or follows the seal; and where there is no seal.
    """
    recipe = {key: Recipe() for key in region_keys}
    mask: dict[str, str | None] = dict.fromkeys(region_keys)
    used: set[str] = set()
    moments: list[Moment] = []
    for number, step in enumerate(steps, start=1):
        if number < len(steps) and isinstance(step, Seal):
            raise StepError(f"step {number} seals, and more steps follow")
        open_now = [key for key in region_keys if mask[key] is None]
        match step:
            case DyeBath(dye, minutes):
                if not minutes > 0.0:
                    raise StepError(f"step {number} dyes for {minutes:g} minutes")
                recipe |= {key: recipe[key].plus(dye, minutes) for key in open_now}
            case Strip():
                held = sorted({dye for key in open_now for dye, _ in recipe[key].doses} & set(lasting))
                if held:
                    raise StepError(f"step {number} strips oxide that holds {held[0]}, which does not strip")
                recipe |= dict.fromkeys(open_now, Recipe())
            case ApplyMask(name, regions):
                wrong = sorted(set(regions) - set(open_now))
                if wrong or not regions:
                    raise StepError(f"step {number} masks {', '.join(wrong) or 'nothing'}, which is not open")
                if name in used:
                    raise StepError(f"step {number} uses the number {name} again")
                used.add(name)
                mask |= dict.fromkeys(regions, name)
            case Lift(masks):
                wrong = sorted(set(masks) - {m for m in mask.values() if m is not None})
                if wrong or not masks:
                    raise StepError(f"step {number} lifts {', '.join(wrong) or 'nothing'}, which is not on")
                mask = {key: None if on in masks else on for key, on in mask.items()}
            case Seal():
                pass
        moments.append(Moment(dict(recipe), dict(mask)))
    if not steps or not isinstance(steps[-1], Seal):
        raise StepError("the last step is not the seal")
    return tuple(moments)
