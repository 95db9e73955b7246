"""The cheapest way through a grid of blocks, sought coarsely first so that little is searched."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["cheapest_way"]

Floats = NDArray[np.float64]
Costs = NDArray[np.float64]
Nodes = NDArray[np.int64]

SMALL = 100_000
"""Grids of fewer blocks are searched at once."""

SLACK_SHARE, SLACK = 1.15, 8.0
"""Blocks are searched finely where the best way through them costs, coarsely, at most this times
the best way at all, and this (about millimetres of soft tissue) more."""

SHUT = -1.0
"""What the search takes for a wall."""


def cheapest_way(cost: Costs, sampling: Floats, here: Nodes, there: Nodes) -> Nodes:
    """Return the blocks of the cheapest way from one to another, both included.

    Parameters
    ----------
    cost : ndarray, shape (a, b, c)
        Cost per millimetre, above 0; below 0: a wall.
    sampling : ndarray, shape (3,)
        Millimetres between blocks.
    here, there : ndarray of int, shape (3,)

    Returns
    -------
    ndarray of int, shape (n, 3)
        Empty where walls part the two.

    Notes
    -----
    Dijkstra's algorithm with 26 neighbours. On a large grid it first runs from both ends through
    blocks twice as large, each as cheap as the cheapest block in it: their sum bounds, but for the
    rounding of places, what a way through a block can cost, and leaves out most of the grid.
    """
    if cost.size < SMALL:
        return _searched(cost, sampling, here, there)
    coarse = _cheapest_of_eight(cost)
    back = _costs_from(coarse, 2 * sampling, there // 2, until=here // 2)
    least = float(back[tuple(here // 2)])
    if not np.isfinite(least):
        return np.empty((0, 3), dtype=np.int64)
    out = _costs_from(coarse, 2 * sampling, here // 2)
    allowed = SLACK_SHARE * least + SLACK
    # What the way back did not come to costs more than `least` from there: it can only lie near.
    near = (out + back <= allowed) | (out <= allowed - least)
    for axis, count in enumerate(cost.shape):
        near = near.repeat(2, axis=axis).take(np.arange(count), axis=axis)
    low, high = _box(near)
    part = tuple(slice(a, b) for a, b in zip(low, high, strict=True))
    inside = np.where(near[part], cost[part], SHUT)
    return _searched(inside, sampling, here - low, there - low) + low


def _searched(cost: Costs, sampling: Floats, here: Nodes, there: Nodes) -> Nodes:
    from skimage.graph import MCP_Geometric  # noqa: PLC0415 - slow import, only needed here

    search = MCP_Geometric(cost, sampling=tuple(sampling))
    costs, _ = search.find_costs([tuple(here)], [tuple(there)])
    if not np.isfinite(costs[tuple(there)]):
        return np.empty((0, 3), dtype=np.int64)
    return np.asarray(search.traceback(tuple(there)), dtype=np.int64)


def _costs_from(cost: Costs, sampling: Floats, here: Nodes, until: Nodes | None = None) -> Floats:
    """Return the least cost of coming to each block, infinite where it was not come to.

    Nothing dearer than a place to search until is come to.
    """
    from skimage.graph import MCP_Geometric  # noqa: PLC0415 - slow import, only needed here

    ends = None if until is None else [tuple(until)]
    costs, _ = MCP_Geometric(cost, sampling=tuple(sampling)).find_costs([tuple(here)], ends)
    return np.asarray(costs)


def _cheapest_of_eight(cost: Costs) -> Costs:
    """Return the least cost in each two by two by two blocks, walls aside."""
    least = np.where(cost < 0, np.inf, cost)
    for axis in range(3):
        pad = [(0, 0)] * 3
        pad[axis] = (0, least.shape[axis] % 2)
        even = np.pad(least, pad, mode="edge")
        first = np.s_[(slice(None),) * axis + (slice(0, None, 2),)]
        second = np.s_[(slice(None),) * axis + (slice(1, None, 2),)]
        least = np.minimum(even[first], even[second])
    return np.asarray(np.where(np.isinf(least), SHUT, least))


def _box(flags: NDArray[np.bool_]) -> tuple[Nodes, Nodes]:
    """Return the least box round what is true: first, and one past last, index of each axis."""
    low, high = [], []
    for axis in range(3):
        others: Sequence[int] = [other for other in range(3) if other != axis]
        some = np.flatnonzero(flags.any(axis=tuple(others)))
        low.append(some[0])
        high.append(some[-1] + 1)
    return np.asarray(low, dtype=np.int64), np.asarray(high, dtype=np.int64)
