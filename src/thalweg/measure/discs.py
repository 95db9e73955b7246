"""Discs of one brightness in a plane, and whether what lies round them is darker or brighter.

A vessel cut across is an even disc that is darker all round, but for where it touches bone or
another vessel. Spongy bone has a brighter rim, is uneven, or both.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

if TYPE_CHECKING:
    from thalweg.measure.coarse import Coarse

__all__ = ["FAT_HU", "inscribed", "of_vessels"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

FAT_HU = -110.0
"""Nothing that a vessel lies in is darker; gas in bowel beside it is taken for fat."""

RAYS = 16
OUT_SHARE = 2.0
OUT_MM = 2.0
SAMPLES = 25
INSIDE = 5
"""Rays go out to so many radii and so much further, in so many steps; the first few lie well
inside, within half the radius."""

MOST_RISING = 0.5
LEAST_FALLING = 0.3
"""Share of rays on which a vessel may border on what is brighter, and must on what is darker."""

UNEVEN_HU = 15.0
UNEVEN_SHARE = 0.15
"""Inside a vessel the standard deviation is at most the first plus the second share of its
brightness over muscle."""


def inscribed(coarse: Coarse, plane: Flags, least_mm: float) -> Floats:
    """Return circles inscribed in a plane's patches: rows of x, y, radius, mm, widest first.

    Parameters
    ----------
    coarse : Coarse
    plane : ndarray of bool, shape (ny, nx)
    least_mm : float
        Smaller circles are left out.
    """
    if not plane.any():
        return np.zeros((0, 3))
    used = np.flatnonzero(plane.any(axis=0)), np.flatnonzero(plane.any(axis=1))
    plane = np.pad(plane[used[1][0] : used[1][-1] + 1, used[0][0] : used[0][-1] + 1], 1)
    first = np.array([used[1][0] - 1, used[0][0] - 1])
    # Twice as fine, because neighbouring vessels touch over less than a cell.
    fine = ndimage.zoom(plane.astype(np.float32), 2, order=1) > 0.5
    scale = (np.array(plane.shape) - 1) / (np.array(fine.shape) - 1) * coarse.step_mm
    depth = ndimage.distance_transform_edt(fine, sampling=scale)
    smooth = ndimage.gaussian_filter(depth, 0.7)
    peak = (smooth >= ndimage.maximum_filter(smooth, 3)) & (depth >= least_mm)
    index = np.argwhere(peak)
    order = np.argsort(-depth[tuple(index.T)], kind="stable")
    rows = np.column_stack(
        [
            coarse.low_mm[0] + first[1] * coarse.step_mm + index[:, 1] * scale[1],
            coarse.low_mm[1] + first[0] * coarse.step_mm + index[:, 0] * scale[0],
            depth[tuple(index.T)],
        ]
    )[order]
    kept: list[Floats] = []
    for row in rows:
        if all(np.hypot(*(row[:2] - one[:2])) > 0.7 * max(one[2], row[2]) for one in kept):
            kept.append(row)
    return np.array(kept).reshape(-1, 3)


def of_vessels(
    coarse: Coarse, plane: int, discs: Floats, soft_hu: float, above_hu: float
) -> tuple[Flags, Floats, Floats]:
    """Say which discs are even and mostly darker round about, and how bright and wide they are.

    Parameters
    ----------
    coarse : Coarse
    plane : int
    discs : ndarray, shape (n, 3)
        x, y, radius, mm; the radius may be too small.
    soft_hu : float
        Brightness of muscle.
    above_hu : float
        What is brighter than a disc by more than this is bone or urine.

    Returns
    -------
    (vessel, brightness, radius)
        Each of shape (n,): flags, HU, and mm to where brightness has fallen half way.
    """
    angle = 2 * np.pi * np.arange(RAYS) / RAYS
    ways = np.column_stack([np.cos(angle), np.sin(angle), 0 * angle])
    out = np.linspace(0, 1, SAMPLES) * (OUT_SHARE * discs[:, 2:] + OUT_MM)
    height = np.full(len(discs), coarse.low_mm[2] + coarse.step_mm * plane)
    middle = np.column_stack([discs[:, :2], height])
    values = coarse.at(middle[:, None, None] + out[:, None, :, None] * ways[:, None])
    inside = values[:, :, :INSIDE].reshape(len(discs), RAYS * INSIDE)
    bright = np.median(inside, axis=1)
    even = inside.std(axis=1) < UNEVEN_HU + UNEVEN_SHARE * np.maximum(bright - soft_hu, 0)
    half = (bright[:, None] + np.clip(values.min(axis=2), FAT_HU, soft_hu)) / 2
    below, above = (
        _first(values < half[..., None]),
        _first(values > bright[:, None, None] + above_hu),
    )
    falling = (below < above) & (below < SAMPLES)
    rising = (above < below).mean(axis=1)
    reach = np.take_along_axis(out, np.minimum(below, SAMPLES - 1), axis=1) - out[:, 1:2] / 2
    wide = np.array(
        [
            np.median(row[ended]) if ended.any() else radius
            for row, ended, radius in zip(reach, falling, discs[:, 2], strict=True)
        ]
    )
    vessel = even & (rising <= MOST_RISING) & (falling.mean(axis=1) >= LEAST_FALLING)
    return np.asarray(vessel), np.asarray(bright, dtype=np.float64), wide.reshape(len(discs))


def _first(flags: Flags) -> NDArray[np.int64]:
    """Return the first true place along the last axis, or its length."""
    return np.asarray(np.where(flags.any(axis=-1), flags.argmax(axis=-1), flags.shape[-1]))
