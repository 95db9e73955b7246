"""How tightly a course bends."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from thalweg.measure.spline import smoothed, spline_through

__all__ = ["STRAIGHT_MM", "bend_radii", "least_bend_radius", "sharper_radii"]

Floats = NDArray[np.float64]

STRAIGHT_MM = 1000.0
"""Radii are given up to this; beyond it a course is straight as far as an image can tell."""

END_MM = 4.0
"""Length at each end where the curve is not held on both sides and its bend is not counted."""

SCALE_MM = 2.0
"""Smoothing before curvature is taken, as second derivatives magnify what noise is left. Steady
bends keep their radius; a kink that turns within a few millimetres is rounded, which
`sharper_radii` mends where the centres that were seen show it."""

HALF_WINDOWS = (10, 7, 5, 4, 3)
"""Half widths, in stations, of the stretches that parabolas are fitted to."""

SURE = 5.0
"""A narrower window is believed where it differs from the wider ones by so many of its standard
deviations: high enough that noise does not bend a straight ureter."""

LEAST_NOISE_MM = 0.02


def bend_radii(points_mm: Floats, step_mm: float) -> Floats:
    """Return the radius of curvature in mm at evenly spaced points, at most `STRAIGHT_MM`."""
    whole = np.ones(len(points_mm))
    spline, station = spline_through(smoothed(points_mm, whole, scale_mm=SCALE_MM, step_mm=step_mm))
    first, second = spline(station, 1), spline(station, 2)
    speed = np.linalg.norm(first, axis=-1)
    curvature = np.linalg.norm(np.cross(first, second), axis=-1) / speed**3
    return np.asarray(1.0 / np.maximum(curvature, 1.0 / STRAIGHT_MM))


def sharper_radii(
    radius_mm: Floats, centres_mm: Floats, noise_mm: float, seen: NDArray[np.bool_], step_mm: float
) -> Floats:
    """Return radii of curvature with the kinks that smoothing rounds put right.

    Parabolas are fitted to the unsmoothed centres in windows of several widths about each station.
    A wide window has little noise and rounds a kink; a narrow one the other way about. From wide
    to narrow, a window is taken over where its curvature differs surely from that of all before
    since the last one taken (Lepski 1991); elsewhere the smooth radius stays.

    Parameters
    ----------
    radius_mm : ndarray, shape (n,)
        Of the smoothed curve.
    centres_mm : ndarray, shape (n, 3)
        Centres of the contrast as seen, evenly spaced.
    noise_mm : float
        Standard deviation of their coordinates.
    seen : ndarray of bool, shape (n,)
        Where there is a centre.
    step_mm : float
    """
    noise = max(noise_mm, LEAST_NOISE_MM)
    taken = np.zeros_like(centres_mm)
    sharp = np.zeros(len(radius_mm), dtype=bool)
    group: list[tuple[Floats, float]] = []
    differs = np.zeros((len(HALF_WINDOWS), len(radius_mm)), dtype=bool)
    for number, half in enumerate(HALF_WINDOWS):
        if 2 * half + 1 > len(radius_mm):
            continue
        bend, sd = _curvatures(centres_mm, half, step_mm, noise)
        whole = ndimage.binary_erosion(seen, np.ones(2 * half + 1, bool))
        if not group:
            taken = bend
        for back, (wider, its_sd) in enumerate(group):
            sure = np.linalg.norm(bend - wider, axis=1) > SURE * np.hypot(sd, its_sd)
            # What was compared before a window was taken over counts no more.
            open_still = ~differs[back + 1 : number + 1].any(axis=0)
            differs[number] |= sure & whole & open_still
        taken = np.where(differs[number][:, None], bend, taken)
        sharp |= differs[number]
        group.append((bend, sd))
    own = 1 / np.maximum(np.linalg.norm(taken, axis=1), 1 / STRAIGHT_MM)
    return np.where(sharp, own, radius_mm)


def _curvatures(centres: Floats, half: int, step_mm: float, noise: float) -> tuple[Floats, float]:
    """Return curvature vectors by parabolas over a window, and the SD of each coordinate."""
    along = np.arange(-half, half + 1) * step_mm
    fit = np.linalg.pinv(np.stack([np.ones_like(along), along, along**2], axis=1))
    slope, bend = (
        ndimage.correlate1d(centres, factor * row, axis=0, mode="nearest")
        for factor, row in ((1.0, fit[1]), (2.0, fit[2]))
    )
    speed = np.sum(slope**2, axis=1, keepdims=True)
    bend -= slope * np.sum(bend * slope, axis=1, keepdims=True) / speed
    return bend / speed, float(2 * noise * np.linalg.norm(fit[2]))


def least_bend_radius(radius_mm: Floats, station_mm: Floats, seen: NDArray[np.bool_]) -> float:
    """Return the tightest bend where the course was `seen`, or anywhere if it nowhere was."""
    length = float(station_mm[-1])
    end = min(END_MM, length / 4)
    inner = (station_mm >= end) & (station_mm <= length - end)
    counted = inner & seen if (inner & seen).any() else inner
    return float(radius_mm[counted].min())
