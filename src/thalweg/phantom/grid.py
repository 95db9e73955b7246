"""The lattice of voxels that a phantom is drawn on, axial or oblique."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["Grid", "Window", "grid_over"]

Floats = NDArray[np.float64]
Window = tuple[slice, slice, slice]


@dataclass(frozen=True, eq=False)
class Grid:
    """Voxels and where they are: the geometry of an `ImageVolume` before it has values.

    Parameters
    ----------
    shape : (planes, rows, columns)
    to_lps : ndarray, shape (4, 4)
        Index of a voxel's centre to LPS mm; its three axes at right angles.
    """

    shape: tuple[int, int, int]
    to_lps: Floats

    @cached_property
    def spacing_mm(self) -> Floats:
        """Millimetres between voxel centres along (plane, row, column)."""
        return np.asarray(np.linalg.norm(self.to_lps[:3, :3], axis=0))

    @cached_property
    def from_lps(self) -> Floats:
        """LPS mm to index; shape (4, 4)."""
        return np.asarray(np.linalg.inv(self.to_lps))

    @property
    def voxel_mm3(self) -> float:
        """Volume of one voxel in mm³."""
        return float(self.spacing_mm.prod())

    def points(self, index: NDArray[np.int64] | Floats) -> Floats:
        """Return LPS mm of indices (plane, row, column), shape (..., 3)."""
        return np.asarray(index @ self.to_lps[:3, :3].T + self.to_lps[:3, 3])

    def coordinates(
        self, window: Window
    ) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
        """Return x, y, z in LPS mm over a part of the grid.

        Each broadcasts to the part's shape and is no bigger than it must be: on an axial grid z
        runs along planes alone, y along rows, x along columns.
        """
        index = np.ogrid[window]
        x, y, z = (self._along(axis, index) for axis in range(3))
        return x, y, z

    def _along(self, axis: int, index: Sequence[NDArray[np.int64]]) -> NDArray[np.float32]:
        out = np.full((1, 1, 1), self.to_lps[axis, 3])
        for rate, steps in zip(self.to_lps[axis, :3], index, strict=True):
            if rate:
                out = out + rate * steps
        return out.astype(np.float32)

    def window(self, low_mm: Floats, high_mm: Floats) -> Window | None:
        """Return the voxels that may touch a box with edges along LPS, or None when none does."""
        middle, half = (high_mm + low_mm) / 2, (high_mm - low_mm) / 2
        home = self.from_lps[:3, :3] @ middle + self.from_lps[:3, 3]
        reach = np.abs(self.from_lps[:3, :3]) @ half + 0.5
        first = np.maximum(np.floor(home - reach).astype(int), 0)
        last = np.minimum(np.ceil(home + reach).astype(int) + 1, self.shape)
        if (first >= last).any():
            return None
        plane, row, column = (slice(int(a), int(b)) for a, b in zip(first, last, strict=True))
        return plane, row, column


def grid_over(
    low_mm: Floats,
    high_mm: Floats,
    spacing_mm: tuple[float, float, float],
    oblique_deg: tuple[float, float, float] | None = None,
) -> Grid:
    """Return a grid over a box, turned about the box's middle.

    Parameters
    ----------
    low_mm, high_mm : ndarray, shape (3,)
        Least and greatest x, y, z in LPS mm that the grid covers before it is turned.
    spacing_mm : (plane, row, column)
        Distance between voxel centres; on an untilted grid along z, y, x.
    oblique_deg : (x, y, z), optional
        Turns about the fixed LPS axes in degrees, in that order; None for an axial grid.

    Returns
    -------
    Grid
        Columns run to the person's left, rows to the back, planes to the head, then turned.
    """
    size = (np.asarray(high_mm) - np.asarray(low_mm))[::-1]
    shape = np.maximum(np.ceil(size / np.asarray(spacing_mm) - 1e-9).astype(int), 1)
    axes = np.zeros((3, 3))
    axes[2, 0], axes[1, 1], axes[0, 2] = spacing_mm
    if oblique_deg is not None:
        axes = Rotation.from_euler("xyz", oblique_deg, degrees=True).as_matrix() @ axes
    middle = (np.asarray(low_mm) + np.asarray(high_mm)) / 2
    to_lps = np.eye(4)
    to_lps[:3, :3] = axes
    to_lps[:3, 3] = middle - axes @ ((shape - 1) / 2)
    return Grid((int(shape[0]), int(shape[1]), int(shape[2])), to_lps)
