"""Drawing solids and tubes into a block of voxels with their true share of each voxel."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thalweg.phantom.grid import Grid
    from thalweg.phantom.solids import Solid
    from thalweg.phantom.tube import Tube

__all__ = ["TubeTissue", "paint_solid", "paint_tube", "paint_union"]

SUBVOXEL_MM = 0.3
"""Edge of the sub-voxels counted at a surface; their own edges are softened linearly."""

CHUNK = 400_000
"""Sub-voxels held at once, so that memory stays small whatever the spacing."""

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class TubeTissue:
    """Hounsfield units of a tube's contents and of its wall."""

    lumen_hu: float = 400.0
    wall_hu: float = 40.0


def paint_solid(values: NDArray[np.float32], grid: Grid, solid: Solid, hounsfield: float) -> None:
    """Draw one solid over what is already in `values`, in place, a plane at a time.

    The share of a voxel at the surface is linear in the signed distance over one voxel of the
    plane; that is right for surfaces that stand up from the plane and sharp for those along it.
    """
    window = grid.window(*solid.box())
    if window is None:
        return
    planes, rows, columns = window
    for plane in range(planes.start, planes.stop):
        part = (slice(plane, plane + 1), rows, columns)
        distance = solid.signed_distance(*grid.coordinates(part))
        _blend(values[part], distance, grid, hounsfield)


def paint_union(
    values: NDArray[np.float32], grid: Grid, solids: Sequence[Solid], hounsfield: float
) -> None:
    """Draw small solids that run into one another as one body, so that no seam shows."""
    windows = [grid.window(*solid.box()) for solid in solids]
    seen = [
        (solid, window) for solid, window in zip(solids, windows, strict=True) if window is not None
    ]
    if not seen:
        return
    # Hull of the windows, not window of the hull: the two may round differently.
    start = [min(window[axis].start for _, window in seen) for axis in range(3)]
    stop = [max(window[axis].stop for _, window in seen) for axis in range(3)]
    whole = (slice(start[0], stop[0]), slice(start[1], stop[1]), slice(start[2], stop[2]))
    distance = np.full(np.subtract(stop, start), np.inf, dtype=np.float32)
    for solid, window in seen:
        shifted = tuple(
            slice(part.start - home, part.stop - home)
            for part, home in zip(window, start, strict=True)
        )
        own = distance[shifted]
        np.minimum(own, solid.signed_distance(*grid.coordinates(window)), out=own)
    _blend(values[whole], distance, grid, hounsfield)


def _blend(
    under: NDArray[np.float32], distance: NDArray[np.float32], grid: Grid, hounsfield: float
) -> None:
    """Mix a tissue into `under`, in place, by signed distance softened over a voxel's width."""
    share = np.clip(0.5 - distance / np.float32(grid.spacing_mm[1:].mean()), 0, 1)
    under += share * (np.float32(hounsfield) - under)


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
    Voxels wholly inside or outside every surface are settled by their centre; the others are cut
    into sub-voxels of at most `SUBVOXEL_MM`. Only voxels near the centreline are visited.
    """
    index = _voxels_near(grid, tube)
    if not len(index):
        return
    station, distance = tube.centreline.nearest(grid.points(index))
    near = distance <= tube.radii_near(station)[1] + np.linalg.norm(grid.spacing_mm)
    index, station, distance = index[near], station[near], distance[near]

    lumen, outer = _shares(tube, station, distance, 1e-6)
    open_ = ~_settled(tube, station, distance, float(np.linalg.norm(grid.spacing_mm)) / 2)
    lumen[open_], outer[open_] = _subdivided(grid, tube, index[open_])
    place = tuple(index.T)
    clean = values[place] * (1 - outer) + tissue.wall_hu * (outer - lumen)
    values[place] = clean + tissue.lumen_hu * lumen


def _voxels_near(grid: Grid, tube: Tube) -> NDArray[np.int64]:
    """Return the indices of voxels in boxes along the tube, shape (n, 3)."""
    line = tube.centreline
    halo = tube.radii_near(line.station_mm)[1].max() + np.linalg.norm(grid.spacing_mm)
    count = max(int(np.ceil(line.length_mm / max(halo, 4.0))), 1)
    cuts = np.linspace(0, len(line.points_mm) - 1, count + 1).astype(int)
    flat: list[NDArray[np.int64]] = []
    for first, last in pairwise(cuts):
        piece = line.points_mm[first : last + 1]
        window = grid.window(piece.min(axis=0) - halo, piece.max(axis=0) + halo)
        if window is not None:
            block = np.ix_(*(np.arange(part.start, part.stop) for part in window))
            flat.append(np.ravel_multi_index(block, grid.shape).ravel())
    keys = np.unique(np.concatenate(flat)) if flat else np.empty(0, dtype=np.int64)
    return np.stack(np.unravel_index(keys, grid.shape), axis=-1).astype(np.int64)


def _settled(tube: Tube, station: Floats, distance: Floats, half_diagonal: float) -> Bools:
    """Say of which voxels no surface of the tube can pass through, by their centres."""
    length, slack = tube.length_mm, half_diagonal + SUBVOXEL_MM
    away = np.minimum(np.abs(station), np.abs(length - station)) > slack
    for reach in (-slack, 0.0, slack):
        for radius in tube.radii_near(station + reach):
            away &= np.abs(distance - radius) > slack
    return np.asarray(away)


def _subdivided(grid: Grid, tube: Tube, index: NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Return the shares of voxels in the lumen and in the whole tube, by their sub-voxels."""
    lumen, outer = np.empty(len(index)), np.empty(len(index))
    parts = np.maximum(np.ceil(grid.spacing_mm / SUBVOXEL_MM).astype(int), 1)
    offsets = _subvoxel_offsets(parts)
    softness = float((grid.spacing_mm / parts).mean())
    step = max(CHUNK // len(offsets), 1)
    for start in range(0, len(index), step):
        part = slice(start, start + step)
        fine = grid.points((index[part, None, :] + offsets).reshape(-1, 3))
        lumen[part], outer[part] = (
            share.reshape(-1, len(offsets)).mean(axis=1)
            for share in _shares(tube, *tube.centreline.nearest(fine), softness)
        )
    return lumen, outer


def _subvoxel_offsets(parts: NDArray[np.int64]) -> Floats:
    """Return the centres of a voxel's sub-voxels in index units about its own, shape (m, 3)."""
    axes = [(np.arange(n) + 0.5) / n - 0.5 for n in parts]
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)


def _shares(
    tube: Tube, station: Floats, distance: Floats, softness: float
) -> tuple[Floats, Floats]:
    """Return how much of each sub-voxel lies in the lumen and in the whole tube."""
    within = _soft(np.maximum(-station, station - tube.length_mm), softness)
    lumen_mm, outer_mm = tube.radii_near(station)
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
