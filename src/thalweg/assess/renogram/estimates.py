"""From a value and its draws to an estimate with a 95 % interval."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.renogram.result import Estimate

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Z", "from_draws", "normal"]

Z = 1.959963984540054
"""97.5th percentile of the normal distribution."""


def normal(value: float, sd: float) -> Estimate:
    """Return an estimate whose interval is 1.96 standard deviations either way."""
    return Estimate(value, sd, (value - Z * sd, value + Z * sd))


def from_draws(
    rows: NDArray[np.float64], *, extra_sd: float = 0.0, least: float | None = None
) -> Estimate:
    """Return the first row with the spread of the others.

    Parameters
    ----------
    rows : ndarray of float64, shape (1 + draws,)
        The value itself, then the draws; draws that are not numbers are left out.
    extra_sd : float
        Doubt that the draws do not hold; added as squares, at either end.
    least : float, optional
        The interval does not go below it.

    Returns
    -------
    Estimate
        Its interval holds the value and runs from the 2.5th to the 97.5th percentile of the draws,
        each widened by `extra_sd`.
    """
    value = float(rows[0])
    drawn = rows[1:][np.isfinite(rows[1:])]
    low, high = np.percentile(drawn, [2.5, 97.5])
    below = float(np.hypot(max(value - low, 0.0), Z * extra_sd))
    above = float(np.hypot(max(high - value, 0.0), Z * extra_sd))
    down = value - below if least is None else max(value - below, least)
    return Estimate(value, float(np.hypot(drawn.std(ddof=1), extra_sd)), (down, value + above))
