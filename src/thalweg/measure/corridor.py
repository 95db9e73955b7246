"""Finding roughly where a ureter runs: the cheapest way through a coarse grid of blocks.

The path only says which tube of tissue to look at. Its own length is never used: on a grid with
26 neighbours the cheapest path is some 8 % longer than the curve it follows.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

if TYPE_CHECKING:
    from thalweg.record.image import ImageVolume

__all__ = ["BRIGHT_HU", "Corridor", "find_corridor"]

Floats = NDArray[np.float64]

BRIGHT_HU = 200.0
"""Excreted contrast is brighter than this; vessels in the excretory phase (120-160 HU) are not."""

BLOCK_MM = 1.7
"""Blocks are as many whole voxels as come nearest to this edge."""

MARGIN_MM = 40.0
"""How far a ureter is taken to bow out of the box round the placed points, as far as it goes."""

WIDE_MM = 8.0
"""Bright objects into which a ball of this radius fits are bone, pelvis or bladder."""

LARGE_ML = 15.0
"""A ureter 8 mm wide and 250 mm long holds 12.6 ml; larger bright objects are something else."""

NEAR_PLACED_MM = 25.0
"""Wide bright objects this near to a placed point are the renal pelvis or bladder it lies in."""

COST_HU = (-1024.0, -400.0, -200.0, -60.0, 10.0, 70.0, 110.0, 175.0, 215.0, 300.0, 4000.0)
COST = (8.0, 6.0, 1.6, 1.3, 1.0, 1.0, 1.6, 1.6, 0.6, 0.03, 0.03)
"""Cost per millimetre by brightness: contrast is nearly free, vessels cost more than the
soft tissue of a shut ureter, fat a little more, gas much more."""

OBSTACLE_COST = 10.0


@dataclass(frozen=True, eq=False)
class Corridor:
    """A coarse way between the placed points.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 3)
        Block centres along the way, LPS millimetres; the placed points themselves in between.
    obstacle_share : float
        Share of the way that runs through large bright objects away from the placed points.
    """

    points_mm: Floats
    obstacle_share: float


def find_corridor(volume: ImageVolume, placed_mm: Floats) -> Corridor:
    """Return the cheapest way through the blocks from each placed point to the next.

    Parameters
    ----------
    volume : ImageVolume
        CT in Hounsfield units.
    placed_mm : ndarray, shape (n, 3)
        Start, via points and end.

    Returns
    -------
    Corridor

    Notes
    -----
    Only a box round the points is read. Cost comes from brightness; bright voxels of large or
    wide objects cost `OBSTACLE_COST`, so that bone beside a gap does not draw the path.
    """
    from skimage.graph import MCP_Geometric  # noqa: PLC0415 - slow import, only needed here

    crop, corner, factor = _crop(volume, placed_mm)
    blocks = _block_brightness(crop, factor)
    sampling = volume.spacing_mm * factor
    placed = (volume.index_of(placed_mm) - corner - (factor - 1) / 2) / factor
    nodes = np.clip(np.rint(placed), 0, np.asarray(blocks.shape) - 1).astype(int)
    obstacle = _obstacles(blocks, sampling, nodes)
    cost = np.interp(blocks, COST_HU, COST)
    cost[obstacle] = OBSTACLE_COST
    way: list[Floats] = []
    through: list[NDArray[np.bool_]] = []
    for number, (here, there) in enumerate(itertools.pairwise(nodes)):
        search = MCP_Geometric(cost, sampling=tuple(sampling))
        search.find_costs([tuple(here)], [tuple(there)])
        steps = np.asarray(search.traceback(tuple(there)))
        through.append(obstacle[tuple(steps.T)])
        middle = volume.point_of(steps[1:-1] * factor + corner + (factor - 1) / 2)
        way += [placed_mm[number : number + 1], middle]
    way.append(placed_mm[-1:])
    return Corridor(np.concatenate(way), float(np.concatenate(through).mean()))


def _crop(
    volume: ImageVolume, placed_mm: Floats
) -> tuple[NDArray[np.int16] | NDArray[np.float32], Floats, NDArray[np.int64]]:
    """Return a view of the box round the points, its first index, and voxels per block edge."""
    factor = np.maximum(np.rint(BLOCK_MM / volume.spacing_mm), 1).astype(np.int64)
    index = volume.index_of(placed_mm)
    pad = MARGIN_MM * np.linalg.norm(volume.from_lps[:3, :3], axis=1)
    low = np.maximum(np.floor(index.min(axis=0) - pad), 0).astype(int)
    high = np.minimum(np.ceil(index.max(axis=0) + pad) + 1, volume.shape).astype(int)
    high = low + (high - low) // factor * factor
    view = volume.values[tuple(slice(a, b) for a, b in zip(low, high, strict=True))]
    return view, low.astype(np.float64), factor


def _block_brightness(
    crop: NDArray[np.int16] | NDArray[np.float32], factor: NDArray[np.int64]
) -> NDArray[np.float32]:
    """Return the mean of each block's mean and maximum: fine tubes show, noise hardly does."""
    most: NDArray[np.float32] = crop.astype(np.float32)
    mean = most
    for axis, count in enumerate(factor):
        if count == 1:
            continue
        parts = [np.s_[(slice(None),) * axis + (slice(n, None, count),)] for n in range(count)]
        greatest, total = most[parts[0]].copy(), mean[parts[0]].copy()
        for part in parts[1:]:
            np.maximum(greatest, most[part], out=greatest)
            total += mean[part]
        most, mean = greatest, total / np.float32(count)
    return np.asarray((most + mean) / 2, dtype=np.float32)


def _obstacles(
    blocks: NDArray[np.float32], sampling: Floats, placed: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Say which blocks belong to bright objects too large or too wide for a ureter."""
    bright = blocks > BRIGHT_HU
    labels, count = ndimage.label(bright)
    block_ml = float(np.prod(sampling)) / 1000
    large = np.bincount(labels.ravel(), minlength=count + 1) * block_ml > LARGE_ML
    own = labels[tuple(placed.T)]
    large[own] = False
    large[0] = False
    return np.asarray(large[labels] | _wide(bright, sampling, placed))


def _wide(
    bright: NDArray[np.bool_], sampling: Floats, placed: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Say which bright blocks lie in a wide object, away from the placed points."""
    depth = ndimage.distance_transform_edt(bright, sampling=sampling)
    core = depth > WIDE_MM
    near = np.zeros(bright.shape, dtype=bool)
    plane, row, column = np.ogrid[tuple(slice(n) for n in bright.shape)]
    for at in placed:
        away = ((plane - at[0]) * sampling[0]) ** 2 + ((row - at[1]) * sampling[1]) ** 2
        near |= away + ((column - at[2]) * sampling[2]) ** 2 < NEAR_PLACED_MM**2
    core &= ~near
    if not core.any():
        return np.zeros_like(near)
    reach = ndimage.distance_transform_edt(~core, sampling=sampling) < WIDE_MM
    return np.asarray(bright & reach & ~near)
