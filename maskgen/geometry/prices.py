"""What a description of a boundary costs, in units of chi-square."""

import numpy as np

FREEDOM_SHARE = 0.5
"""Price of one freedom, as a share of the logarithm of the number of samples (1 would be the Bayesian criterion)."""
FREEDOMS = np.array([3.0, 4.5, 7.0])
"""Numbers that describe a line, an arc, a cubic on its own."""


def freedom_price(count: int) -> float:
    """Cost of one more number in the description of a boundary of `count` samples, in units of chi-square."""
    return FREEDOM_SHARE * float(np.log(max(count, 8)))
