"""How a hazard is spread over the years: even, or heaped up soon after the operation."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from thalweg.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = ["EVEN", "Shape"]


@dataclass(frozen=True, slots=True)
class Shape:
    """A cumulative hazard in arbitrary size: straight between corners, then on at one slope.

    Parameters
    ----------
    years : tuple of float
        Corners, years after the operation, rising from 0.
    summed : tuple of float
        Cumulative hazard at the corners, rising from 0.
    then_per_year : float
        Slope beyond the last corner, at least 0; 0 means that nothing happens later.

    Raises
    ------
    InputError
        If the corners do not rise from 0, or the slope is negative.
    """

    years: tuple[float, ...]
    summed: tuple[float, ...]
    then_per_year: float

    def __post_init__(self) -> None:
        rising = all(a < b for row in (self.years, self.summed) for a, b in pairwise(row))
        starts = self.years[:1] == self.summed[:1] == (0.0,)
        alike = len(self.years) == len(self.summed)
        if not (rising and starts and alike and self.then_per_year >= 0):
            raise InputError(
                "a course over time needs corners that rise from 0, and a slope of 0 or more after",
                mend="give as many years as sums, both rising from 0",
            )

    def at(self, years: ArrayLike) -> Floats:
        """Return the cumulative hazard by so many years, in the shape's own size."""
        time = np.asarray(years, dtype=np.float64)
        beyond = np.maximum(time - self.years[-1], 0.0) * self.then_per_year
        return np.asarray(np.interp(time, self.years, self.summed) + beyond)

    def when(self, summed: ArrayLike) -> Floats:
        """Return the time at which a cumulative hazard is reached, years; infinite if never."""
        size = np.asarray(summed, dtype=np.float64)
        if len(self.years) == 1:
            return size / self.then_per_year if self.then_per_year else np.full_like(size, np.inf)
        inside = np.interp(size, self.summed, self.years)
        over = size > self.summed[-1]
        if not over.any():
            return np.asarray(inside)
        if not self.then_per_year:
            return np.where(over, np.inf, inside)
        beyond = self.years[-1] + (size - self.summed[-1]) / self.then_per_year
        return np.where(over, beyond, inside)


EVEN: Final = Shape((0.0,), (0.0,), 1.0)
"""A constant rate: sizes are then rates per year."""
