"""How tightly a course bends."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thalweg.measure.spline import smoothed, spline_through

__all__ = ["STRAIGHT_MM", "bend_radii", "least_bend_radius"]

Floats = NDArray[np.float64]

STRAIGHT_MM = 1000.0
"""Radii are given up to this; beyond it a course is straight as far as an image can tell."""

END_MM = 4.0
"""Length at each end where the curve is not held on both sides and its bend is not counted."""


SCALE_MM = 2.0
"""Smoothing before curvature is taken, as second derivatives magnify what noise is left. Steady
bends keep their radius to some 5 % down to 12 mm; a kink that turns within a few millimetres is
rounded, so that a true 6 to 8 mm reads about 10 mm."""


def bend_radii(points_mm: Floats, step_mm: float) -> Floats:
    """Return the radius of curvature in mm at evenly spaced points, at most `STRAIGHT_MM`."""
    whole = np.ones(len(points_mm))
    spline, station = spline_through(smoothed(points_mm, whole, scale_mm=SCALE_MM, step_mm=step_mm))
    first, second = spline(station, 1), spline(station, 2)
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
