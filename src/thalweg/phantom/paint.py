"""Drawing tubes into a block of voxels with their true share of each voxel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from thalweg.phantom.grid import Grid
    from thalweg.phantom.tube import Tube

__all__ = ["TubeTissue", "paint_tube"]

SUBVOXEL_MM = 0.3
"""Edge of the sub-voxels counted at a surface; their own edges are softened linearly."""

CHUNK = 400_000
"""Sub-voxels held at once, so that memory stays small whatever the spacing."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class TubeTissue:
    """Hounsfield units of a tube's contents and of its wall."""

    lumen_hu: float = 400.0
    wall_hu: float = 40.0


def paint_tube(values: NDArray[np.float32], grid: Grid, tube: Tube, tissue: TubeTissue) -> None:
    """Draw one tube over what is already in `values`, in place.

    Parameters
    ----------
    values : ndarray of float32, shape of `grid`
        Noise-free Hounsfield units, before any blur.
    grid : Grid
    tube : Tube
    tissue : TubeTissue

    Notes
    -----
    Voxels wholly inside or outside a surface are settled by their centre; the others are cut
    into sub-voxels of at most `SUBVOXEL_MM`. Only voxels near the centreline are visited.
    """
    index = _voxels_near(grid, tube)
    if not len(index):
        return
    lumen, outer = np.empty(len(index)), np.empty(len(index))
    parts = np.maximum(np.ceil(grid.spacing_mm / SUBVOXEL_MM).astype(int), 1)
    offsets = _subvoxel_offsets(parts)
    softness = float((grid.spacing_mm / parts).mean())
    step = max(CHUNK // len(offsets), 1)
    for start in range(0, len(index), step):
        part = slice(start, start + step)
        fine = grid.points((index[part, None, :] + offsets).reshape(-1, 3))
        lumen[part], outer[part] = (
            share.reshape(-1, len(offsets)).mean(axis=1) for share in _shares(tube, fine, softness)
        )
    place = tuple(index.T)
    under = values[place]
    values[place] = under * (1 - outer) + tissue.wall_hu * (outer - lumen) + tissue.lumen_hu * lumen


def _voxels_near(grid: Grid, tube: Tube) -> NDArray[np.int64]:
    """Return the indices of voxels that the tube's outer surface may reach, shape (n, 3)."""
    line = tube.centreline
    reach = np.maximum(tube.outer_at(line.station_mm).max() / 2, 0.1)
    halo = reach + np.linalg.norm(grid.spacing_mm) / 2
    around = np.ceil(halo / grid.spacing_mm).astype(int)
    cube = np.stack(
        np.meshgrid(*(np.arange(-n, n + 1) for n in around), indexing="ij"), axis=-1
    ).reshape(-1, 3)
    homes = line.points_mm @ grid.from_lps[:3, :3].T + grid.from_lps[:3, 3]
    homes = np.unique(np.rint(homes).astype(np.int64), axis=0)
    shape = np.asarray(grid.shape)
    flat: list[NDArray[np.int64]] = []
    for shift in cube:
        moved = homes + shift
        inside = ((moved >= 0) & (moved < shape)).all(axis=1)
        flat.append(np.ravel_multi_index(tuple(moved[inside].T), grid.shape))
    keys = np.unique(np.concatenate(flat))
    index = np.stack(np.unravel_index(keys, grid.shape), axis=-1).astype(np.int64)
    station, distance = line.nearest(grid.points(index))
    own = tube.outer_at(station.clip(0, tube.length_mm)) / 2
    return np.asarray(index[distance <= own + np.linalg.norm(grid.spacing_mm)])


def _subvoxel_offsets(parts: NDArray[np.int64]) -> Floats:
    """Return the centres of a voxel's sub-voxels in index units about its own, shape (m, 3)."""
    axes = [(np.arange(n) + 0.5) / n - 0.5 for n in parts]
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)


def _shares(tube: Tube, points: Floats, softness: float) -> tuple[Floats, Floats]:
    """Return how much of each sub-voxel at `points` lies in the lumen and in the whole tube."""
    station, distance = tube.centreline.nearest(points)
    within = _soft(np.maximum(-station, station - tube.length_mm), softness)
    bounded = station.clip(0.0, tube.length_mm)
    lumen_mm, outer_mm = tube.lumen_at(bounded) / 2, tube.outer_at(bounded) / 2
    lumen = _disc(distance, lumen_mm, softness) * within
    outer = _disc(distance, outer_mm, softness) * within
    return lumen, np.maximum(outer, lumen)


def _disc(distance: Floats, radius: Floats, softness: float) -> Floats:
    """Return shares of a disc whose softened edge leaves its area as it was.

    A disc of radius r with a linear edge of width w covers pi (r^2 + w^2 / 12).
    """
    drawn = np.sqrt(np.maximum(radius**2 - softness**2 / 12, 0.0))
    return np.where(drawn > 0, _soft(distance - drawn, softness), 0.0)


def _soft(signed_mm: Floats, softness: float) -> Floats:
    """Return the share of a sub-voxel that a surface at this signed distance leaves inside."""
    return np.clip(0.5 - signed_mm / softness, 0.0, 1.0)
