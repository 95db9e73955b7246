"""What was wrong with placed points, kept as data so that it can be shown on the image."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Fault", "PlacedFault", "fault_of", "point_names"]

Floats = NDArray[np.float64]


class Fault(Enum):
    """Why points were refused."""

    NO_PLACE = "a point is not three finite numbers"
    OUTSIDE = "a point lies outside the image"
    AIR = "a point lies in air"
    BONE = "a point lies in bone"
    SAME_PLACE = "start and end are the same place"
    ORDER = "via points are out of order"
    SIDES = "start and end lie on different sides of the body"
    OTHER_SIDE = "the points lie on the other side of the body than the ureter they are named for"
    SWAPPED = "the end lies higher than the start"
    THROUGH_BONE = "the way runs through bone"


@dataclass(frozen=True, eq=False)
class PlacedFault:
    """The points as they were placed, and what was wrong with them.

    Parameters
    ----------
    fault : Fault
    points_mm : ndarray, shape (n, 3)
        Start, via points and end, LPS millimetres; NaN for one that is no point.
    offending : tuple of int
        Which of them are at fault.
    midline_mm : float or None
        x of the body's midline, where the fault rests on it.
    way_mm : ndarray, shape (k, 3)
        The way found between the points, where the fault rests on it; else empty.
    in_bone : ndarray of bool, shape (k,)
        Which of its points lie in bone or another large bright object.
    by_hand : bool
        The points are the whole course, and are called by their numbers.
    """

    fault: Fault
    points_mm: Floats
    offending: tuple[int, ...]
    midline_mm: float | None = None
    way_mm: Floats = field(default_factory=lambda: np.empty((0, 3)))
    in_bone: NDArray[np.bool_] = field(default_factory=lambda: np.empty(0, dtype=np.bool_))
    by_hand: bool = False

    @property
    def names(self) -> list[str]:
        """What the points are called in messages."""
        if self.by_hand:
            return [f"point {number + 1}" for number in range(len(self.points_mm))]
        return point_names(len(self.points_mm))


def point_names(count: int) -> list[str]:
    """Return what placed points are called in messages: start, via points, end."""
    return ["start", *(f"via point {number}" for number in range(1, count - 1)), "end"]


def fault_of(
    fault: Fault, rows: list[ArrayLike] | Floats, *offending: int, by_hand: bool = False
) -> PlacedFault:
    """Return a fault of points that may not even be points."""
    points = np.full((len(rows), 3), np.nan)
    for number, row in enumerate(rows):
        values = np.asarray(row, dtype=np.float64)
        if values.shape == (3,):
            points[number] = values
    return PlacedFault(fault, points, offending, by_hand=by_hand)
