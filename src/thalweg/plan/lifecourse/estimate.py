"""A figure's mean over all worlds, with the interval that doubt of the rates leaves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.plan.lifecourse.tally import Mean

    Floats = NDArray[np.float64]

__all__ = ["Estimate", "estimated", "steadied", "whole_of_100"]

INNER: Final = (2.5, 97.5)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure at one horizon.

    Parameters
    ----------
    mean : float
        Over all worlds and lives.
    interval : tuple of float
        Central 95 % of the worlds' means: doubt of the rates, without chance between lives.
    lives : tuple of float or None
        Central 95 % of lives, chance and doubt together; None for a yes or no.
    error : float
        Standard error of `mean` from the number of lives simulated.
    """

    mean: float
    interval: tuple[float, float]
    lives: tuple[float, float] | None
    error: float


def steadied(means: Floats, error: Floats) -> Floats:
    """Return the worlds' means drawn together by what chance alone drove them apart.

    A mean of few lives varies also where the rates do not. That part, the mean of `error`, is
    taken off the variance between worlds (O'Hagan, Stevenson and Madan 2007).

    Parameters
    ----------
    means, error : ndarray, shape (worlds,)
        Means, and the variances they have from the number of lives.
    """
    seen = float(np.var(means))
    if seen == 0.0:
        return means
    share = np.sqrt(max(0.0, 1.0 - float(np.mean(error)) / seen))
    middle = float(np.mean(means))
    return np.asarray(middle + share * (means - middle))


def estimated(found: Mean, horizon: int, lives: Floats | None = None) -> Estimate:
    """Return the estimate of a figure at a horizon.

    Parameters
    ----------
    found : Mean
    horizon : int
        Its number.
    lives : ndarray, optional
        The figure in some lives.
    """
    means, error = found.means[horizon], found.error[horizon]
    middle = float(means.mean())
    low, high = np.percentile(steadied(means, error), INNER)
    spread = None
    if lives is not None:
        inner = np.percentile(lives[horizon], INNER)
        spread = (float(inner[0]), float(inner[1]))
    return Estimate(
        middle,
        (min(float(low), middle), max(float(high), middle)),
        spread,
        float(np.sqrt(error.mean() / means.size)),
    )


def whole_of_100(shares: Floats) -> tuple[int, ...]:
    """Return shares that add up to 1 as whole people of 100 that add up to 100.

    The largest remainders are rounded up, so that no group is off by a whole person.
    """
    exact = 100.0 * np.asarray(shares) / np.sum(shares)
    whole = np.floor(exact + 1e-9)
    lacking = round(100 - float(whole.sum()))
    order = np.argsort(-(exact - whole), kind="stable")
    whole[order[:lacking]] += 1
    return tuple(int(each) for each in whole)
