"""A trunk of concentric cylinders on a table: skin, fat, muscle and cavity at exact depths."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from thalweg.record.image import ImageVolume

Array = NDArray[np.float64]

RADIUS_MM = 118.0
DEPTHS_MM = {"skin": 2.0, "fat": 21.0, "muscle": 34.0}
"""Depth of each layer's inner border below the surface of the skin."""


@dataclass(frozen=True)
class Trunk:
    """What a trunk is drawn with; lengths in mm, angles in radians from the front."""

    table: bool = True
    gas: bool = True
    bowel_behind: bool = False
    spacing_mm: tuple[float, float, float] = (3.0, 1.5, 1.5)


def front_y(x: Array) -> Array:
    """Return LPS y of the front skin."""
    return np.asarray(-np.sqrt(RADIUS_MM**2 - np.square(x)))


def drawn(trunk: Trunk, *, axes: Array | None = None, seed: int = 4) -> ImageVolume:
    """Draw a trunk about the z axis, 90 mm of it, blurred and noisy."""
    planes, rows, columns = 31, 190, 180
    linear = np.array([[0.0, 0, 1], [0, 1, 0], [1, 0, 0]]) if axes is None else axes
    to_lps = np.eye(4)
    to_lps[:3, :3] = linear * np.asarray(trunk.spacing_mm)
    middle = to_lps[:3, :3] @ ((np.array([planes, rows, columns]) - 1) / 2)
    to_lps[:3, 3] = np.array([0.0, 12.0, 0.0]) - middle
    index = np.stack(np.meshgrid(*(np.arange(n) for n in (planes, rows, columns)), indexing="ij"))
    x, y, _ = np.tensordot(to_lps[:3, :3], index, 1) + to_lps[:3, 3][:, None, None, None]
    depth = RADIUS_MM - np.hypot(x, y)
    values = np.full(depth.shape, -1000.0)
    inner = 40.0 if trunk.bowel_behind else -98.0
    for border, hounsfield in ((0.0, 15.0), (2.0, -102.0), (21.0, 55.0), (34.0, inner)):
        # A voxel's share beyond a border, to first order in its own size.
        share = np.clip((depth - border) / trunk.spacing_mm[1] + 0.5, 0.0, 1.0)
        values += share * (hounsfield - values)
    if trunk.gas:
        values[np.hypot(x - 20, y + 40) < 25] = -950.0
    if trunk.table:
        top = (y > RADIUS_MM - 1.0) & (y < RADIUS_MM + 3.0)
        values[top & (depth < 0)] = 250.0
        values[(np.abs(x - 60) < 3) & (np.abs(y - RADIUS_MM - 15) < 4)] = 400.0
    values = ndimage.gaussian_filter(values, 0.5)
    values += np.random.default_rng(seed).normal(0, 15.0, values.shape)
    return ImageVolume(values=np.rint(values).astype(np.int16), to_lps=to_lps, phantom=True)
