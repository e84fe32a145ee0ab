"""The baths once more, plainly, on a grid of pixels: what the vector simulation is held against."""

import numpy as np
import shapely
from scipy.spatial import cKDTree

from maskgen.model.dyeing import ApplyMask, DyeBath, Lift, Strip


def bathe_pixels(steps, vinyl, width, height, pixel, creep, margin):
    """Give the centres of all pixels and each one's history: dyes since it was last bare, as a sorted tuple."""
    columns, rows = round((width + 2 * margin) / pixel), round((height + 2 * margin) / pixel)
    x, y = np.meshgrid((np.arange(columns) + 0.5) * pixel - margin, (np.arange(rows) + 0.5) * pixel - margin)
    covered = {name: shapely.contains_xy(shape, x, y) for name, shape in vinyl.items()}
    history = np.zeros((rows, columns), dtype=np.int64)
    known = [()]
    on, age = [], {}
    # A pixel border is counted open whenever there is vinyl on one side of it only.
    open_strips = {"across": np.zeros((rows, columns - 1), int), "down": np.zeros((rows - 1, columns), int)}
    for step in steps:
        if isinstance(step, ApplyMask):
            on.append(step.mask)
            age[step.mask] = 0
        elif isinstance(step, Lift):
            on = [mask for mask in on if mask not in step.masks]
        elif isinstance(step, Strip | DyeBath):
            under = np.zeros((rows, columns), dtype=bool)
            lowest = np.full((rows, columns), -1)
            for number, mask in enumerate(on):
                lowest[covered[mask] & ~under] = number
                under |= covered[mask]
            across, down = under[:, 1:] != under[:, :-1], under[1:] != under[:-1]
            if isinstance(step, Strip):
                open_strips["across"] += across
                open_strips["down"] += down
                for mask in on:
                    age[mask] += 1
            strips = np.concatenate([open_strips["across"][across], open_strips["down"][down]])
            border = np.vstack(
                [
                    np.column_stack([(x[:, 1:] - pixel / 2)[across], y[:, 1:][across]]),
                    np.column_stack([x[1:][down], (y[1:] - pixel / 2)[down]]),
                ]
            )
            reached = ~under
            for number, mask in enumerate(on):
                here = np.flatnonzero((lowest == number).ravel())
                for count in range(1, age[mask] + 1):
                    source = border[strips >= count]
                    if len(source) and len(here):
                        points = np.column_stack([x.ravel()[here], y.ravel()[here]])
                        near = cKDTree(source).query(points, distance_upper_bound=count * creep)[0] < count * creep
                        reached.ravel()[here[near]] = True
            for old in np.unique(history[reached]):
                doses = dict(known[old])
                if isinstance(step, Strip):
                    doses = {}
                else:
                    doses[step.dye] = doses.get(step.dye, 0.0) + step.minutes
                new = tuple(sorted(doses.items()))
                if new not in known:
                    known.append(new)
                history[reached & (history == old)] = -1 - known.index(new)
            history = np.where(history < 0, -1 - history, history)
    return x, y, np.array(history), known
