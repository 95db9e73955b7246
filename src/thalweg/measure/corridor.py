"""Finding roughly where a ureter runs: the cheapest way through a coarse grid of blocks.

The path only says which tube of tissue to look at. Its own length is never used: on a grid with
26 neighbours the cheapest path is some 8 % longer than the curve it follows.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from thalweg.measure.bone import checked_not_in_bone
from thalweg.measure.capture import OtherWay, leg_between
from thalweg.measure.levels import Tone, untouched

if TYPE_CHECKING:
    from thalweg.record.image import ImageVolume

__all__ = ["BRIGHT_HU", "Corridor", "Grid", "Obstacles", "find_corridor"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

BRIGHT_HU = 200.0
"""Excreted contrast is brighter than this; vessels in the excretory phase (120-160 HU) are not."""

BLOCK_MM = 1.5
"""Blocks are as many whole voxels as come nearest to this edge."""

MARGIN_MM = 40.0
"""How far a ureter is taken to bow out of the box round the placed points, as far as it goes."""

PEEL_MM = 2.5
"""Bright objects are peeled by this much, so that a ureter that touches bone comes loose."""

LARGE_ML = 3.0
"""What is left of a bright object larger than this is bone, artery or bowel. Of a ureter 8 mm
wide and 250 mm long 1.8 ml are left."""

OWN_ML = 40.0
"""What is left of an object with a placed point in it may be this large: a renal pelvis, or a
very wide ureter."""

NEAR_PLACED_MM = 12.0
"""Within this of a point placed in a large bright object, such as a bladder full of contrast, that
object is not in the way."""

COST_HU = (-1024.0, -400.0, -200.0, -60.0, 10.0, 70.0, 110.0, 175.0, 215.0, 300.0, 4000.0)
COST = (8.0, 6.0, 1.6, 1.3, 1.0, 1.0, 1.6, 1.6, 0.6, 0.03, 0.03)
"""Cost per millimetre by brightness: contrast is nearly free, vessels cost more than the
soft tissue of a shut ureter, fat a little more, gas much more."""

OBSTACLE_COST = 10.0

ATTACHED_COST = 0.2
"""Cost of bright blocks that hang together with an obstacle: a ureter against bone, which should
still draw the path, or a fine branch of an artery, which should hardly."""


@dataclass(frozen=True, eq=False)
class Grid:
    """The blocks that are searched.

    Parameters
    ----------
    bright : ndarray of bool, shape (a, b, c)
        Blocks brighter than `BRIGHT_HU` on average.
    obstacle : ndarray of bool, shape (a, b, c)
        Those that belong to objects too large for a ureter.
    sampling : ndarray, shape (3,)
        Millimetres between blocks.
    """

    bright: Flags
    obstacle: Flags
    sampling: Floats

    @cached_property
    def objects(self) -> NDArray[np.int32]:
        """Number of the bright object that each block belongs to, 0 for none.

        Blocks that meet at a corner only belong together, as fine tubes run aslant.
        """
        labels, _ = ndimage.label(self.bright, np.ones((3, 3, 3)))
        return np.asarray(labels)

    @cached_property
    def tubes(self) -> NDArray[np.int32]:
        """The same, obstacles left out."""
        labels, _ = ndimage.label(self.bright & ~self.obstacle, np.ones((3, 3, 3)))
        return np.asarray(labels)


@dataclass(frozen=True, eq=False)
class Obstacles:
    """Blocks that belong to bone, arteries and other large bright objects.

    Parameters
    ----------
    blocks : ndarray of bool, shape (a, b, c)
    first_index : ndarray, shape (3,)
        Index in the volume of the first block's centre.
    voxels : ndarray, shape (3,)
        Voxels per block edge.
    """

    blocks: NDArray[np.bool_]
    first_index: Floats
    voxels: Floats

    def at(self, index: Floats) -> NDArray[np.bool_]:
        """Say which volume indices, shape (3, ...), lie in such a block."""
        shape = (3,) + (1,) * (index.ndim - 1)
        where = (index - self.first_index.reshape(shape)) / self.voxels.reshape(shape)
        return np.asarray(
            ndimage.map_coordinates(self.blocks, where, order=0, mode="constant", cval=False)
        )


@dataclass(frozen=True, eq=False)
class Corridor:
    """A coarse way between the placed points.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 3)
        Block centres along the way, LPS millimetres; the placed points themselves in between.
    obstacles : Obstacles
        Large bright objects near the way, which the ureter's contrast must be told from.
    obstacle_share : float
        Share of the way that runs through large bright objects away from the placed points; 1
        where start and end lie in the same one.
    others : tuple of OtherWay
        Ways past a gap that could be taken instead.
    touched_mm : ndarray, shape (k, 3)
        Where another bright tube touches the way.
    cautions : tuple of str
        What must be said about where the points were placed.
    in_bone : ndarray of bool, shape (n,)
        Which points of the way lie in large bright objects.
    """

    points_mm: Floats
    obstacles: Obstacles
    obstacle_share: float
    others: tuple[OtherWay, ...]
    touched_mm: Floats
    cautions: tuple[str, ...]
    in_bone: Flags


def find_corridor(volume: ImageVolume, placed_mm: Floats, tone: Tone = untouched) -> Corridor:
    """Return the cheapest way through the blocks from each placed point to the next.

    Parameters
    ----------
    volume : ImageVolume
        On the working scale (`thalweg.measure.signal`): CT in Hounsfield units, or MR drawn to it.
    placed_mm : ndarray, shape (n, 3)
        Start, via points and end.
    tone : callable
        Sets fat and gas off from soft tissue (`thalweg.measure.levels`).

    Returns
    -------
    Corridor

    Raises
    ------
    InputError
        A point lies in bone.

    Notes
    -----
    Only a box round the points is read. Cost comes from brightness; bright blocks of large
    objects cost `OBSTACLE_COST`, so that bone or an artery beside a gap does not draw the path.
    """
    crop, corner, factor = _crop(volume, placed_mm)
    mean, most = _blocks(crop, factor)
    bright, sampling = mean > BRIGHT_HU, volume.spacing_mm * factor
    placed = (volume.index_of(placed_mm) - corner - (factor - 1) / 2) / factor
    nodes = np.clip(np.rint(placed), 0, np.asarray(mean.shape) - 1).astype(np.int64)
    large, held = _large_objects(bright, sampling, placed)
    is_ct = volume.modality == "CT"
    before = Grid(bright, large, sampling)
    said = checked_not_in_bone(before, mean, nodes, placed_mm, bone_is_bright=is_ct)
    enclosed = len(np.intersect1d(held[0], held[-1])) > 0
    obstacle = _freed(large, sampling, placed, held)
    grid = Grid(bright, obstacle, sampling)
    cost: Floats = np.asarray(
        np.interp(tone((mean + most) / 2), COST_HU, COST)
    )  # fine tubes show, noise hardly does
    attached = _attached(bright, obstacle)
    cost[attached] = np.maximum(cost[attached], ATTACHED_COST)
    cost[obstacle] = OBSTACLE_COST

    def place(at: NDArray[np.int64]) -> Floats:
        return np.asarray(volume.point_of(at * factor + corner + (factor - 1) / 2))

    way: list[Floats] = []
    through: list[Flags] = []
    others: list[OtherWay] = []
    touched: list[Floats] = []
    barred = np.zeros_like(obstacle)
    for number, (here, there) in enumerate(itertools.pairwise(nodes)):
        leg = leg_between(grid, cost, here, there)
        through.append(obstacle[tuple(leg.nodes.T)])
        way += [placed_mm[number : number + 1], place(leg.nodes[1:-1])]
        for ends, longer, tube in leg.others:
            leaves, joins = place(ends)
            others.append(OtherWay(leaves, joins, longer, tube))
        barred |= leg.barred
        touched.append(place(leg.touched))
    way.append(placed_mm[-1:])
    rims = ndimage.binary_dilation(barred) & ~(grid.bright & ~barred)  # dim, but still the vessel's
    within = [flags for leg in through for flags in (leg[:1], leg[1:-1])] + [through[-1][-1:]]
    in_the_way = Obstacles(obstacle | rims, corner + (factor - 1) / 2, factor.astype(np.float64))
    share = 1.0 if enclosed else float(np.concatenate(through).mean())
    return Corridor(
        np.concatenate(way),
        in_the_way,
        share,
        tuple(others),
        np.concatenate(touched),
        said,
        np.concatenate(within) | enclosed,
    )


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


def _blocks(
    crop: NDArray[np.int16] | NDArray[np.float32], factor: NDArray[np.int64]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return each block's mean and maximum."""
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
    return mean, most


def _large_objects(
    bright: Flags, sampling: Floats, placed: Floats
) -> tuple[Flags, list[NDArray[np.int32]]]:
    """Say which bright blocks belong to objects too large for a ureter.

    Also return the numbers of those objects that each placed point lies in.

    Objects are peeled first and given their peel back at the end; what hangs on to a large object
    only by its skin, as a ureter that lies against bone does, stays free.
    """
    cores = ndimage.binary_erosion(bright, _structure(sampling, PEEL_MM), border_value=1)
    labels, count = ndimage.label(cores)
    millilitres = np.bincount(labels.ravel(), minlength=count + 1) * float(np.prod(sampling)) / 1000
    large = millilitres > LARGE_ML
    touch = PEEL_MM + float(sampling.max())
    touched = [np.unique(labels[_ball(bright.shape, sampling, at, touch)]) for at in placed]
    for own in touched:
        large[own[millilitres[own] < OWN_ML]] = False
    large[0] = False
    held = [own[large[own]] for own in touched]
    objects = np.asarray(large[labels])
    if objects.any():
        peel = PEEL_MM + float(sampling.min()) / 2
        objects = bright & ndimage.binary_dilation(objects, _structure(sampling, peel))
    return objects, held


def _freed(large: Flags, sampling: Floats, placed: Floats, held: list[NDArray[np.int32]]) -> Flags:
    """Return the large objects without what surrounds the points placed in them."""
    obstacle = large.copy()
    for at, own in zip(placed, held, strict=True):
        if len(own):
            obstacle &= ~_ball(large.shape, sampling, at, NEAR_PLACED_MM)
    return obstacle


def _attached(bright: Flags, obstacle: Flags) -> Flags:
    """Say which bright blocks hang together with an obstacle without being part of it."""
    labels, count = ndimage.label(bright)
    touched = np.bincount(labels[obstacle], minlength=count + 1) > 0
    touched[0] = False
    return np.asarray(touched[labels] & ~obstacle)


def _structure(sampling: Floats, radius_mm: float) -> Flags:
    """Return a ball as the structuring element of an erosion or dilation."""
    reach = np.floor(radius_mm / sampling).astype(int)
    shape = tuple(int(size) for size in 2 * reach + 1)
    return _ball(shape, sampling, reach.astype(np.float64), radius_mm * (1 + 1e-9))


def _ball(shape: tuple[int, ...], sampling: Floats, at: Floats, radius_mm: float) -> Flags:
    """Say which blocks lie within a radius of a place given in blocks."""
    plane, row, column = np.ogrid[tuple(slice(n) for n in shape)]
    away = ((plane - at[0]) * sampling[0]) ** 2 + ((row - at[1]) * sampling[1]) ** 2
    return np.asarray(away + ((column - at[2]) * sampling[2]) ** 2 < radius_mm**2)
