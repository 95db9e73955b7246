"""Telling a ureter from the vessel that a way through a gap may stray into.

Contrast in a ureter ends where a gap begins. A way that leaves a bright tube although the tube
goes on has left something else than the ureter: an artery, a vein or bowel. A stretch
between two gaps with such a place at either end is barred and the way sought again; one that holds
a placed point is kept and said to be doubtful; a tube that merely touches is said.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from thalweg.measure.paths import cheapest_way
from thalweg.measure.spline import smoothed
from thalweg.measure.stretches import runs

if TYPE_CHECKING:
    from thalweg.measure.corridor import Grid

__all__ = ["Leg", "OtherWay", "leg_between"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Nodes = NDArray[np.int64]

BARRED_COST = 3.0
"""Cost per millimetre of a tube taken for a vessel: a gap rather goes round it than through."""

ROUNDS = 3
"""How often a way is sought again: a vessel may have branches on both sides of a gap."""

NEAR_PLACED_MM = 12.0
"""A tube is left this near to a placed point because the point says so."""

WIDE_ENDS_MM = 30.0
"""Within this of a placed point calyces and bladder branch off."""

ON_MM = 8.0
"""A tube goes on where it runs at least this much beyond what lies round the way."""

LEAST_ON_MM3 = 30.0
"""Less than this is a rag of noise or the blur of an end."""

AWAY_MM, GREATEST_AWAY_MM = 3.0, 20.0
"""Round the way lies what is nearer than its tube's width and the first of these."""

NEAR_MM = 6.0
"""A tube's width at a place is the greatest within this of it."""

APART_MM = 12.0
"""Where a tube forks twice this far apart on a way, the way may have run in it between."""

UNLIKE_MM = 5.0
"""Ways that keep closer together than this are the same."""

LEAST_SIZE = 4
"""Fewer lit blocks in a row are a speck."""

GREATEST_BREAK = 9
"""A way that leaves an object for fewer blocks and comes back to it has cut a corner."""


@dataclass(frozen=True, eq=False)
class OtherWay:
    """A second way past a gap, which was not taken.

    Parameters
    ----------
    from_mm, to_mm : ndarray, shape (3,)
        Where it leaves and joins the way that was taken, LPS millimetres.
    longer_mm : float
        How much longer it is; negative: shorter.
    through_tube : bool
        True: it runs inside a bright tube that goes on elsewhere, and was left for that. False: it
        is the way that was taken that does.
    """

    from_mm: Floats
    to_mm: Floats
    longer_mm: float
    through_tube: bool


@dataclass(frozen=True, eq=False)
class Leg:
    """The way from one placed point to the next, in blocks.

    Parameters
    ----------
    nodes : ndarray of int, shape (n, 3)
    barred : ndarray of bool, shape (a, b, c)
        Blocks of tubes taken for vessels.
    others : list of (ndarray, float, bool)
        Nodes at which another way leaves and joins, shape (2, 3); and as in `OtherWay`.
    touched : ndarray of int, shape (k, 3)
        Where another bright tube touches the way.
    """

    nodes: Nodes
    barred: Flags
    others: list[tuple[Nodes, float, bool]]
    touched: Nodes


def leg_between(grid: Grid, cost: Floats, here: Nodes, there: Nodes) -> Leg:
    """Return the cheapest way between two blocks that does not stray into a vessel.

    Parameters
    ----------
    grid : Grid
    cost : ndarray, shape (a, b, c)
        Per millimetre.
    here, there : ndarray of int, shape (3,)
    """
    first = way = cheapest_way(cost, grid.sampling, here, there)
    barred = np.zeros(cost.shape, dtype=bool)
    left = _strayed(grid, way)
    for _ in range(ROUNDS):
        if not left.islands:
            break
        barred |= _tubes(grid, way, left.islands)
        dearer = np.where(barred, np.maximum(cost, BARRED_COST), cost)
        way = cheapest_way(dearer, grid.sampling, here, there)
        left = _strayed(grid, way)
    others = _compared(grid, way, first, through_tube=True)
    if left.anchored:
        without = np.where(_tubes(grid, way, left.anchored) | barred, BARRED_COST, cost)
        other = cheapest_way(without, grid.sampling, here, there)
        others += _compared(grid, way, other, through_tube=False)
    return Leg(way, barred, others, way[left.touched])


@dataclass(frozen=True, eq=False)
class _Strayed:
    """Stretches of a way whose tube goes on elsewhere.

    `islands` hold no placed point and may be left at either end; `anchored` hold one; `touched`
    are single places.
    """

    islands: list[slice]
    anchored: list[slice]
    touched: list[int]


def _strayed(grid: Grid, way: Nodes) -> _Strayed:
    places = way * grid.sampling
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(places, axis=0), axis=1))])
    free = (run > NEAR_PLACED_MM) & (run < run[-1] - NEAR_PLACED_MM)
    inner = (run > WIDE_ENDS_MM) & (run < run[-1] - WIDE_ENDS_MM)
    found = _Strayed([], [], [])
    for start, stop in _stretches(grid, way):
        tree = cKDTree(places[start:stop])
        ends = [end for end in (start, stop - 1) if free[end]]
        on = [_goes_on(grid, grid.objects, way[end], tree) for end in ends]
        if len(on) > 1 and any(on):  # an island between two gaps ought to end at both
            found.islands.append(slice(start, stop))
            continue
        if any(on):
            found.anchored.append(slice(start, stop))
            continue
        steps = np.arange(start + LEAST_SIZE, stop - LEAST_SIZE, LEAST_SIZE)
        forks = [
            int(at)
            for at in _near_branches(grid, way, steps[inner[steps]], tree)
            if _goes_on(grid, grid.tubes, way[at], tree)
        ]
        if forks and run[forks[-1]] - run[forks[0]] > APART_MM:
            found.islands.append(slice(forks[0], forks[-1] + 1))
        elif forks:
            found.touched.append(forks[len(forks) // 2])
    return found


def _stretches(grid: Grid, way: Nodes) -> list[tuple[int, int]]:
    """Return first and one-past-last step of each stretch of a way in one bright object."""
    labels = grid.objects[tuple(way.T)]
    found = []
    for label in np.unique(labels[labels > 0]):
        own = labels == label
        for start, stop in runs(ndimage.binary_closing(own, np.ones(GREATEST_BREAK)) | own):
            if stop - start >= LEAST_SIZE:
                found.append((start, stop))
    return sorted(found)


def _near_branches(
    grid: Grid, way: Nodes, steps: NDArray[np.int64], tree: cKDTree
) -> NDArray[np.int64]:
    """Return those steps of a way that could fork: something of their tube lies off the way."""
    own = np.unique(grid.tubes[tuple(way[steps].T)])
    places = np.argwhere(np.isin(grid.tubes, own[own > 0])) * grid.sampling
    off = places[tree.query(places)[0] > AWAY_MM] if len(places) else places
    if not len(off):
        return steps[:0]
    near = cKDTree(off).query(way[steps] * grid.sampling)[0] < AWAY_MM + ON_MM
    return np.asarray(steps[near])


def _goes_on(grid: Grid, objects: NDArray[np.int32], at: Nodes, tree: cKDTree) -> bool:
    """Say whether the bright object at a block of a way goes on where the stretch does not."""
    label = objects[tuple(at)]
    if label == 0:
        return False
    reach = np.ceil((GREATEST_AWAY_MM + ON_MM) / grid.sampling)
    low = np.maximum(at - reach, 0).astype(int)
    high = (at + reach + 1).astype(int)
    bright = objects[tuple(slice(a, b) for a, b in zip(low, high, strict=True))] == label
    around, _ = ndimage.label(bright, np.ones((3, 3, 3)))
    tube = around == around[tuple(at - low)]
    blocks = np.argwhere(tube)
    places = (blocks + low) * grid.sampling
    from_here = np.linalg.norm(places - at * grid.sampling, axis=1)
    from_way = tree.query(places)[0]
    if not ((from_way > AWAY_MM) & (from_here > AWAY_MM + ON_MM)).any():
        return False
    near = blocks[from_here < NEAR_MM]
    depth = ndimage.distance_transform_edt(tube, sampling=tuple(grid.sampling))
    away = min(2 * float(depth[tuple(near.T)].max()) + AWAY_MM, GREATEST_AWAY_MM)
    beyond = (from_way > away) & (from_here < away + ON_MM)
    return bool(beyond.sum() * np.prod(grid.sampling) > LEAST_ON_MM3)


def _tubes(grid: Grid, way: Nodes, stretches: list[slice]) -> Flags:
    """Return the bright blocks that hang together with stretches of a way, but not its others."""
    labels = grid.objects
    on = labels[tuple(way.T)]
    left = np.zeros(len(way), dtype=bool)
    for stretch in stretches:
        left[stretch] = True
    own = np.unique(on[left & (on > 0)])
    tubes = np.asarray(np.isin(labels, own))
    kept = way[np.isin(on, own) & ~left]
    if len(kept):
        blocks = np.argwhere(tubes)
        near = cKDTree(kept * grid.sampling).query(blocks * grid.sampling)[0] < UNLIKE_MM
        tubes[tuple(blocks[near].T)] = False
    return tubes


def _compared(
    grid: Grid, way: Nodes, other: Nodes, *, through_tube: bool
) -> list[tuple[Nodes, float, bool]]:
    """Return where another way runs elsewhere, and how much longer it is there."""
    if not len(other) or not len(way):
        return []
    apart = cKDTree(way * grid.sampling).query(other * grid.sampling)
    found = []
    for start, stop in runs(apart[0] > 1e-6):
        if apart[0][start:stop].max() < UNLIKE_MM:
            continue
        first, last = max(start - 1, 0), min(stop, len(other) - 1)
        leaves, joins = sorted((int(apart[1][first]), int(apart[1][last])))
        longer = _length(grid, other[first : last + 1]) - _length(grid, way[leaves : joins + 1])
        found.append((way[[leaves, joins]], longer, through_tube))
    return found


def _length(grid: Grid, nodes: Nodes) -> float:
    """Return about how long a way is once its steps are smoothed."""
    if len(nodes) < 4:
        return 0.0
    weight = np.ones(len(nodes))
    weight[[0, -1]] = 1000.0
    places = smoothed(nodes * grid.sampling, weight, scale_mm=2.5, step_mm=1.5)
    return float(np.linalg.norm(np.diff(places, axis=0), axis=1).sum())
