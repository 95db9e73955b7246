"""Each kidney's share of function from two uptakes, with the interval of a ratio."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.errors import InputError
from thalweg.record.method import Method

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "SHARE_INTEGRAL",
    "SHARE_PATLAK",
    "share_interval_percent",
    "share_percent",
    "share_sd_percent",
]

SHARE_CAUTIONS = (
    (
        "A share says nothing of total function, and means little with a single kidney or disease "
        "of both. It supports and does not replace the judgement of whoever reads the pictures; "
        "local protocol comes first."
    ),
)
SHARE_INTEGRAL = Method(
    key="renogram-share-integral",
    title="share of function by the integral of the second minute",
    formula="share = 100 × A / (A + A of the other kidney), in %; A: counts from 60 to 120 s, less "
    "background by area",
    valid_for="Tc-99m MAG3 or EC, two kidneys, before anything leaves them",
    sources=("mag3-uptake-windows-1999", "gordon-2011", "prigent-1999", "ahlman-2011"),
    cautions=(
        *SHARE_CAUTIONS,
        (
            "An integral counts the kidney's own blood as uptake and so shows a poor kidney better "
            "than it is."
        ),
    ),
)
SHARE_PATLAK = Method(
    key="renogram-share-rutland-patlak",
    title="share of function by the Rutland–Patlak line",
    formula="kidney/blood = slope × (∫blood dt)/blood + intercept; share = 100 × slope / (slope + "
    "slope of the other kidney), in %",
    valid_for="two kidneys, a blood region, frames from the injection on, before anything leaves",
    sources=("rutland-1979", "patlak-1983", "prigent-1999"),
    cautions=SHARE_CAUTIONS,
)

Z = 1.959963984540054
"""97.5th percentile of the normal distribution."""


def share_percent(left: ArrayLike, right: ArrayLike) -> NDArray[np.float64]:
    """Return the left kidney's share of two uptakes, in per cent.

    Parameters
    ----------
    left, right : array_like
        Counts in the window, or Rutland–Patlak slopes; both in one unit, of shapes that go
        together (several studies at once). An uptake may be slightly negative by noise.

    Returns
    -------
    ndarray of float64
        0 to 100 where neither uptake is negative.

    Raises
    ------
    InputError
        If the kidneys together took up nothing.

    References
    ----------
    Prigent 1999, consensus on quality control of quantitative measurements from the renogram.
    """
    one, other = np.asarray(left, dtype=np.float64), np.asarray(right, dtype=np.float64)
    whole = one + other
    if not (whole > 0).all():
        raise InputError(
            "the kidneys together took up nothing above background: there is no share of it",
            mend="check the regions, or judge by a DMSA scan",
        )
    return np.asarray(100.0 * one / whole)


def share_sd_percent(
    left: ArrayLike,
    right: ArrayLike,
    variance_left: ArrayLike,
    variance_right: ArrayLike,
    covariance: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Return the standard deviation of the share by the delta method, in points of per cent."""
    part = share_percent(left, right) / 100.0
    whole = np.asarray(left, dtype=np.float64) + np.asarray(right, dtype=np.float64)
    spread = (
        (1 - part) ** 2 * np.asarray(variance_left)
        + part**2 * np.asarray(variance_right)
        - 2 * part * (1 - part) * np.asarray(covariance)
    )
    return np.asarray(100.0 * np.sqrt(np.maximum(spread, 0.0)) / whole)


def share_interval_percent(
    left: ArrayLike,
    right: ArrayLike,
    variance_left: ArrayLike,
    variance_right: ArrayLike,
    covariance: ArrayLike = 0.0,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the 95 % interval of the left kidney's share, in per cent, within 0 to 100.

    Fieller's theorem for the ratio left / (left + right), so that a kidney that barely takes up
    gets an interval that is neither symmetrical nor beyond the ends.

    Raises
    ------
    InputError
        If the kidneys together cannot be told from nothing.
    """
    one, other = np.asarray(left, dtype=np.float64), np.asarray(right, dtype=np.float64)
    var, var_other = np.asarray(variance_left), np.asarray(variance_right)
    cov = np.asarray(covariance)
    whole = one + other
    var_whole = var + var_other + 2 * cov
    with_whole = var + cov
    a = whole**2 - Z**2 * var_whole
    if not ((a > 0) & (whole > 0)).all():
        raise InputError(
            "the uptake of both kidneys together cannot be told from nothing",
            mend="check dose, regions and background",
        )
    b = one * whole - Z**2 * with_whole
    c = one**2 - Z**2 * var
    root = np.sqrt(np.maximum(b**2 - a * c, 0.0))
    low, high = (b - root) / a, (b + root) / a
    return np.clip(100.0 * low, 0.0, 100.0), np.clip(100.0 * high, 0.0, 100.0)
