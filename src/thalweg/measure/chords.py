"""The longest straight line through a bright body along one axis, to a fraction of a voxel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

__all__ = ["Chord", "longest_chord"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

ACROSS_MM = 0.7
"""Brightness is averaged over this (a standard deviation) square to the lines, against noise."""

NEAR_MM = 3.5
LOSS_SHARE = 0.08
"""Lines this near to the longest, and shorter than it by no more than this share and a step, are
fitted together: a body is a paraboloid near its widest place."""

OUT_MM = (2.0, 3.5)
"""How far beyond an edge the brightness outside is taken."""

EDGE_VOXELS = 0.12
"""Standard deviation of an edge's place from partial volume, as a share of the voxels' root mean
square edge (measured on phantoms)."""


@dataclass(frozen=True, eq=False)
class Chord:
    """The longest line along the second axis of a grid.

    Parameters
    ----------
    length_mm : float
    noise_sd_mm : float
        What noise makes of it.
    middle : (float, float, float)
        Grid place of its middle.
    """

    length_mm: float
    noise_sd_mm: float
    middle: tuple[float, float, float]

    def sd_mm(self, voxel_mm: float) -> float:
        """Return the standard deviation of the length, partial volume of both edges included."""
        return float(np.hypot(self.noise_sd_mm, np.sqrt(2) * EDGE_VOXELS * voxel_mm))


def longest_chord(
    values: NDArray[np.float32], body: Flags, step_mm: float, noise: float
) -> Chord | None:
    """Return the longest line through a body along the grid's second axis.

    Parameters
    ----------
    values : ndarray, shape (k, n, m)
        Brightness.
    body : ndarray of bool, shape (k, n, m)
        What counts; lines elsewhere are left alone.
    step_mm : float
        Of the grid, which is even.
    noise : float
        Standard deviation of one place's brightness.

    Returns
    -------
    Chord or None
        None where the body is empty or no line through it has two edges.
    """
    rough = body.sum(axis=1) * step_mm
    if not rough.any():
        return None
    across = ndimage.gaussian_filter(rough, ACROSS_MM / step_mm)
    top = np.array(np.unravel_index(np.where(rough > 0, across, 0.0).argmax(), rough.shape))
    low = rough[tuple(top)] * (1 - LOSS_SHARE) - step_mm
    k, m = np.nonzero(rough >= low)
    near = np.hypot(k - top[0], m - top[1]) * step_mm <= NEAR_MM
    blur = ACROSS_MM / step_mm
    smooth = ndimage.gaussian_filter(np.asarray(values, np.float32), [blur, 0.0, blur])
    found = []
    for row, column in zip(k[near], m[near], strict=True):
        edges = _edges(smooth[row, :, column], body[row, :, column], step_mm)
        if edges is not None:
            found.append((row - top[0], column - top[1], *edges))
    if not found:
        return None
    rows = np.array(found)
    length = (rows[:, 3] - rows[:, 2]) * step_mm
    best, where = _summit(rows[:, :2], length)
    slope = np.abs(rows[:, 4]).mean() / step_mm
    # Averaging over the lines' neighbourhood, then over the lines fitted, leaves this much noise.
    lines = 1 + len(rows) * step_mm**2 / (4 * np.pi * (ACROSS_MM**2 + 0.4))
    left = noise / np.sqrt(1 + 4 * np.pi * ACROSS_MM**2 / 0.8) / np.sqrt(lines) * 1.5
    at = top + where
    middle = float(np.median((rows[:, 2] + rows[:, 3]) / 2))
    return Chord(
        best, float(np.sqrt(2) * left / max(slope, 1e-6)), (float(at[0]), middle, float(at[1]))
    )


def _summit(away: Floats, length: Floats) -> tuple[float, Floats]:
    """Return the greatest length by a paraboloid through lines near the longest, and its place."""
    longest = int(length.argmax())
    if len(length) < 8:
        return float(np.sort(length)[-3:].mean()), away[longest]
    a, b = away.T
    terms = np.stack([np.ones_like(a), a, b, a * a, a * b, b * b], axis=1)
    fit, *_ = np.linalg.lstsq(terms, length, rcond=None)
    bend = np.array([[2 * fit[3], fit[4]], [fit[4], 2 * fit[5]]])
    if np.linalg.eigvalsh(bend).max() < -1e-9:
        where = -np.linalg.solve(bend, fit[1:3])
        if np.abs(where - away.mean(axis=0)).max() <= np.abs(away - away.mean(axis=0)).max():
            return float(fit[0] + fit[1:3] @ where / 2), np.asarray(where)
    return float((terms @ fit).max()), away[longest]


def _edges(line: Floats, body: Flags, step_mm: float) -> tuple[float, float, float] | None:
    """Return where a line crosses half level before and after its longest run, and the slope."""
    change = np.flatnonzero(np.diff(np.concatenate([[False], body, [False]]).astype(np.int8)))
    runs = change.reshape(-1, 2)
    if not len(runs):
        return None
    first, stop = runs[np.diff(runs, axis=1)[:, 0].argmax()]
    quarter = (stop - first) // 4
    inner = float(np.median(line[first + quarter : stop - quarter]))
    found = []
    for edge, way in ((first, -1), (stop - 1, 1)):
        beyond = edge + way * np.round(np.array(OUT_MM) / step_mm).astype(int)
        low, high = sorted(int(place) for place in beyond)
        if low < 0 or high >= len(line):
            return None
        half = (inner + float(np.median(line[low : high + 1]))) / 2
        place = edge - 2 * way  # start inside, so that noise at the rim does not stop the walk
        while 0 < place + way < len(line) - 1 and line[place + way] > half:
            place += way
        here, there = float(line[place]), float(line[place + way])
        if here <= half:
            return None
        found.append((place + way * (here - half) / (here - there), abs(here - there)))
    (start, one), (end, two) = found
    return start, end, (one + two) / 2
