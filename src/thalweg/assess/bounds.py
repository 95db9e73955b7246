"""Refuse what a formula was not made for, in scalars and arrays alike."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = ["within"]


def within(
    what: str, values: ArrayLike, bounds: tuple[float, float], unit: str
) -> NDArray[np.float64]:
    """Return `values` as float64, all of them within `bounds` (both ends included).

    Parameters
    ----------
    what : str
        Name of the quantity, for the sentence.
    values : array_like
        Of any shape. In an array, NaN stands for a missing value and is passed on as NaN.
    bounds : tuple of float
        Least and greatest value for which the equation may be used.
    unit : str
        As printed in the sentence.

    Raises
    ------
    InputError
        If any value is outside, infinite, not a number at all, or a scalar NaN.
    """
    try:
        checked = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError(f"{what} {values!r} is not a number", mend=f"give it in {unit}") from error
    low, high = bounds
    # A NaN is no number to compare: it fails here and goes the longer way below.
    if checked.size and low <= checked.min() and checked.max() <= high:
        return checked
    outside = ~((checked >= low) & (checked <= high))
    if checked.ndim:
        outside &= ~np.isnan(checked)
    if outside.any():
        first = checked[outside].flat[0]
        more = f" ({np.count_nonzero(outside)} such values)" if checked.ndim else ""
        raise InputError(
            f"{what} of {first:g} {unit}{more} is outside {low:g} to {high:g} {unit}, "
            "for which this equation may be used",
            mend="check value and unit, or choose another equation",
        )
    return checked
