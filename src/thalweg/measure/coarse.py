"""A coarse copy of part of a CT on a lattice along the patient's own axes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

if TYPE_CHECKING:
    from thalweg.record.image import ImageVolume

__all__ = ["Coarse", "coarse_copy"]

Floats = NDArray[np.float64]

OUTSIDE_HU = -1024.0
"""What lies beyond the image: air, so that nothing is found there."""

CELLS = 2.0e6
STEP_MM = (0.8, 3.0)
"""Cells a copy may have, and the least and greatest edge of a cell. An adult's abdomen comes to
about 2 mm, an infant's to 1 mm."""

CHUNK_PLANES = 16


@dataclass(frozen=True, eq=False)
class Coarse:
    """Mean brightness in cubes, axis-aligned in LPS.

    Parameters
    ----------
    values : ndarray of float32, shape (nz, ny, nx)
        Hounsfield units; -1024 beyond the image.
    low_mm : ndarray, shape (3,)
        x, y, z of the first cell's centre.
    step_mm : float
        Edge of a cell.
    """

    values: NDArray[np.float32]
    low_mm: Floats
    step_mm: float

    def index_of(self, points_mm: Floats) -> Floats:
        """Return fractional (z, y, x) indices, shape (..., 3), of LPS points."""
        return np.asarray(((points_mm - self.low_mm) / self.step_mm)[..., ::-1])

    def point_of(self, index: Floats | NDArray[np.int64]) -> Floats:
        """Return LPS points, shape (..., 3), of (z, y, x) indices."""
        return np.asarray(np.asarray(index)[..., ::-1] * self.step_mm + self.low_mm)

    def at(self, points_mm: Floats) -> NDArray[np.float32]:
        """Return the brightness between cells at LPS points, shape (...)."""
        index = np.moveaxis(self.index_of(points_mm), -1, 0)
        return np.asarray(
            ndimage.map_coordinates(self.values, index, order=1, mode="constant", cval=OUTSIDE_HU)
        )

    @property
    def z_mm(self) -> Floats:
        """Heights of the planes."""
        return np.asarray(self.low_mm[2] + self.step_mm * np.arange(self.values.shape[0]))


def coarse_copy(
    volume: ImageVolume, low_mm: Floats | None = None, high_mm: Floats | None = None
) -> Coarse:
    """Return the part of a volume between two corners as a coarse copy.

    Parameters
    ----------
    volume : ImageVolume
        CT in Hounsfield units; oblique and sheared ones are turned to the patient's axes.
    low_mm, high_mm : ndarray of shape (3,), optional
        LPS corners; cut to the image, all of it by default.

    Notes
    -----
    Voxels are averaged over blocks, then read between blocks on the new lattice, so that fine
    noise is gone before anything is compared with a threshold.
    """
    ends = np.array(np.meshgrid(*([0.0, n - 1.0] for n in volume.shape))).reshape(3, -1).T
    corners = volume.point_of(ends)
    low, high = corners.min(axis=0), corners.max(axis=0)
    low = low if low_mm is None else np.maximum(low, low_mm)
    high = high if high_mm is None else np.minimum(high, high_mm)
    high = np.maximum(high, low)
    step = float(np.clip((np.prod(high - low) / CELLS) ** (1 / 3), *STEP_MM))
    shape = np.floor((high - low) / step).astype(int)[::-1] + 1
    corner, blocks, factor = _blocks(volume, low, high, step)
    # Cell (z, y, x) -> LPS -> voxel -> block.
    cell_to_lps = step * np.eye(3)[::-1]
    linear = volume.from_lps[:3, :3] @ cell_to_lps / factor[:, None]
    offset = (volume.index_of(low) - corner - (factor - 1) / 2) / factor
    values = np.full(tuple(shape), OUTSIDE_HU, dtype=np.float32)
    ndimage.affine_transform(
        blocks, linear, offset, tuple(shape), values, order=1, mode="constant", cval=OUTSIDE_HU
    )
    return Coarse(values, low, step)


def _blocks(
    volume: ImageVolume, low: Floats, high: Floats, step: float
) -> tuple[Floats, NDArray[np.float32], NDArray[np.int64]]:
    """Return first voxel, block means of the box's voxels, and voxels per block edge."""
    factor = np.maximum(np.floor(step / volume.spacing_mm), 1).astype(np.int64)
    corners = np.array(np.meshgrid(*zip(low, high, strict=True))).reshape(3, -1).T
    index = volume.index_of(corners)
    first = np.clip(np.floor(index.min(axis=0) - step), 0, None).astype(int)
    last = np.minimum(np.ceil(index.max(axis=0) + step) + 1, volume.shape).astype(int)
    first = np.minimum(first, last - 1)
    count = np.maximum((last - first) // factor, 1)
    factor = np.minimum(factor, last - first)
    means = np.empty(tuple(count), dtype=np.float32)
    planes, rows, columns = (int(n) for n in factor)
    for start in range(0, int(count[0]), CHUNK_PLANES):
        stop = min(start + CHUNK_PLANES, int(count[0]))
        part = volume.values[
            first[0] + start * planes : first[0] + stop * planes,
            first[1] : first[1] + count[1] * rows,
            first[2] : first[2] + count[2] * columns,
        ].astype(np.float32)
        shape = (stop - start, planes, count[1], rows, count[2], columns)
        means[start:stop] = part.reshape(shape).mean(axis=(1, 3, 5))
    return first.astype(np.float64), means, factor
