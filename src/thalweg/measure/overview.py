"""The whole image at one glance, and how far a place lies outside it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from thalweg.measure.reformat import Brightest

if TYPE_CHECKING:
    from thalweg.measure.reformat import View
    from thalweg.record.image import ImageVolume

__all__ = ["greatest_through", "outside_mm"]

Floats = NDArray[np.float64]

PIXEL_MM = 2.0
"""Pixels and blocks: enough to know a body by, and a whole trunk in a fraction of a second."""


def greatest_through(
    volume: ImageVolume, view: View, points_mm: Floats, pixel_mm: float = PIXEL_MM
) -> Brightest:
    """Return the brightest value along each line of sight through the whole image.

    Parameters
    ----------
    volume : ImageVolume
    view : View
    points_mm : ndarray, shape (n, 3)
        Whose pixels are wanted; may lie outside the image or be NaN.
    pixel_mm : float

    Notes
    -----
    The image is first reduced to the greatest value of blocks of whole voxels no smaller than a
    pixel, so that nothing small and bright falls between the lines of sight along the stack's own
    axes; places are true to a block.
    """
    blocks, factor = _blocks(volume, pixel_mm)
    right, up, away = (np.asarray(axis) for axis in (view.right, view.up, view.away))
    corners = np.stack(np.meshgrid(*([-0.5, n - 0.5] for n in volume.shape), indexing="ij"), -1)
    corner_mm = volume.point_of(corners.reshape(-1, 3))
    low = [float((corner_mm @ axis).min()) for axis in (right, up, away)]
    high = [float((corner_mm @ axis).max()) for axis in (right, up, away)]
    columns = np.arange(low[0] + pixel_mm / 2, high[0], pixel_mm)
    rows = np.arange(high[1] - pixel_mm / 2, low[1], -pixel_mm)
    base = columns[None, :, None] * right + rows[:, None, None] * up
    best = np.full(base.shape[:2], -np.inf, dtype=np.float32)
    upper = np.asarray(volume.shape) - 0.5
    index = volume.index_of(base)
    step = volume.from_lps[:3, :3] @ away
    for depth in np.arange(low[2] + pixel_mm / 2, high[2], pixel_mm):
        here = index + depth * step
        inside = ((here >= -0.5) & (here <= upper)).all(axis=-1)
        block = ((here[inside] + 0.5) / factor).astype(np.int64)  # not negative: towards zero
        at = np.minimum(block, np.asarray(blocks.shape) - 1)
        best[inside] = np.maximum(best[inside], blocks[tuple(at.T)])
    best[np.isneginf(best)] = np.nan
    u, v = points_mm @ right, points_mm @ up
    pixels = np.stack([(rows[0] - v) / pixel_mm, (u - columns[0]) / pixel_mm], axis=1)
    return Brightest(best, columns, rows, pixels)


def _blocks(volume: ImageVolume, pixel_mm: float) -> tuple[NDArray[np.float32], Floats]:
    """Return the greatest value of each block of voxels, and voxels per block edge."""
    factor = np.maximum(np.ceil(pixel_mm / volume.spacing_mm), 1).astype(np.int64)
    most = volume.values
    for axis, count in enumerate(factor):
        if count > 1:
            most = np.maximum.reduceat(most, np.arange(0, most.shape[axis], count), axis=axis)
    return most.astype(np.float32), factor.astype(np.float64)


def outside_mm(volume: ImageVolume, point_mm: Floats) -> float:
    """Return how far a point lies outside the image, mm; 0 for one inside.

    The distance to the nearest place in the block of voxels, found by bounded least squares, so
    that it also holds for a sheared stack.
    """
    if volume.contains(point_mm):
        return 0.0
    from scipy.optimize import lsq_linear  # noqa: PLC0415 - only for a point that is refused

    upper = np.asarray(volume.shape) - 0.5
    nearest = lsq_linear(
        volume.to_lps[:3, :3], point_mm - volume.to_lps[:3, 3], (np.full(3, -0.5), upper)
    )
    return float(np.sqrt(2.0 * nearest.cost))
