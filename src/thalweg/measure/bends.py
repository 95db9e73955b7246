"""How tightly a course bends."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from scipy.interpolate import CubicSpline

__all__ = ["STRAIGHT_MM", "bend_radii", "least_bend_radius"]

Floats = NDArray[np.float64]

STRAIGHT_MM = 1000.0
"""Radii are given up to this; beyond it a course is straight as far as an image can tell."""

END_MM = 4.0
"""Length at each end where the curve is not held on both sides and its bend is not counted."""


def bend_radii(spline: CubicSpline, station_mm: Floats) -> Floats:
    """Return the radius of curvature in mm at stations, at most `STRAIGHT_MM`."""
    first, second = spline(station_mm, 1), spline(station_mm, 2)
    speed = np.linalg.norm(first, axis=-1)
    curvature = np.linalg.norm(np.cross(first, second), axis=-1) / speed**3
    return np.asarray(1.0 / np.maximum(curvature, 1.0 / STRAIGHT_MM))


def least_bend_radius(radius_mm: Floats, station_mm: Floats, seen: NDArray[np.bool_]) -> float:
    """Return the tightest bend where the course was `seen`, or anywhere if it nowhere was."""
    length = float(station_mm[-1])
    end = min(END_MM, length / 4)
    inner = (station_mm >= end) & (station_mm <= length - end)
    counted = inner & seen if (inner & seen).any() else inner
    return float(radius_mm[counted].min())
