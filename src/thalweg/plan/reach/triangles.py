"""Signed distance from a surface of triangles, exact, with a tree that finds the near ones."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from scipy.spatial import KDTree

    Floats = NDArray[np.float64]

__all__ = ["TriangleMesh", "box_distance", "closest_on_triangles"]

PIECES = 24
"""Sub-triangle size asked of the search tree: the mesh's size over this."""
GRID = 20
"""Cells along each axis of the rough grid."""
BLOCK = 200_000
"""Most point–triangle pairs handled at once, to bound memory."""


def closest_on_triangles(points: Floats, corners: Floats) -> Floats:
    """Return the point of each triangle nearest to the point it is paired with.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
    corners : ndarray, shape (n, 3 corners, 3)

    Returns
    -------
    ndarray, shape (n, 3)

    References
    ----------
    Ericson C. Real-Time Collision Detection. 2005, section 5.1.5: the regions of a triangle.
    Here the plane's foot is taken where it lies inside, else the nearest of the three edges.
    """
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    normal = np.cross(b - a, c - a)
    square = np.einsum("ni,ni->n", normal, normal)
    safe = np.where(square > 0, square, 1.0)
    foot = points - (np.einsum("ni,ni->n", points - a, normal) / safe)[:, None] * normal
    inside = square > 0
    best = np.full(len(points), np.inf)
    nearest = foot.copy()
    for start, end in ((a, b), (b, c), (c, a)):
        edge = end - start
        inside &= np.einsum("ni,ni->n", np.cross(edge, foot - start), normal) >= 0
        length = np.einsum("ni,ni->n", edge, edge)
        along = np.einsum("ni,ni->n", points - start, edge) / np.where(length > 0, length, 1.0)
        spot = start + np.clip(along, 0.0, 1.0)[:, None] * edge
        gap = np.einsum("ni,ni->n", points - spot, points - spot)
        closer = gap < best
        best = np.where(closer, gap, best)
        nearest[closer] = spot[closer]
    return np.asarray(np.where(inside[:, None], foot, nearest))


def box_distance(start: Floats, end: Floats, low: Floats, high: Floats) -> Floats:
    """Return a lower bound of the distance of segments' own boxes from a box, (n,) mm."""
    least, most = np.minimum(start, end), np.maximum(start, end)
    gap = np.maximum(np.maximum(low - most, least - high), 0.0)
    return np.asarray(np.linalg.norm(gap, axis=-1))


def _closed(corners: Floats) -> bool:
    """Say whether every edge is shared by two triangles that run it in opposite directions."""
    low = corners.reshape(-1, 3).min(axis=0)
    grain = max(float(np.ptp(corners.reshape(-1, 3), axis=0).max()) * 1e-7, 1e-9)
    grid = np.round((corners - low) / grain).astype(np.int64).reshape(-1, 3)
    _, label = np.unique(grid, axis=0, return_inverse=True)
    faces = label.reshape(-1, 3)
    edges = np.vstack([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    edges = edges[edges[:, 0] != edges[:, 1]]
    forward = np.unique(edges, axis=0)
    if len(forward) != len(edges):
        return False
    backward = np.unique(edges[:, ::-1], axis=0)
    return bool(np.array_equal(forward, backward))


class TriangleMesh:
    """Triangles with their search tree.

    Parameters
    ----------
    corners : ndarray, shape (n, 3 corners, 3), mm
        Outward orientation does not matter: inside is judged by the winding number.
    """

    def __init__(self, corners: Floats) -> None:
        self.corners = corners
        self.closed = _closed(corners)
        flat = corners.reshape(-1, 3)
        self.bounds = flat.min(axis=0), flat.max(axis=0)
        self.size = float(np.linalg.norm(self.bounds[1] - self.bounds[0]))

    @cached_property
    def _tree(self) -> tuple[KDTree, NDArray[np.intp], float]:
        """Centroids of sub-triangles, the triangle each belongs to, and their largest radius."""
        from scipy.spatial import KDTree  # noqa: PLC0415 - heavy, and most scenes have no mesh

        parts, owner = self.corners, np.arange(len(self.corners))
        limit = self.size / PIECES
        while True:
            edges = np.linalg.norm(parts - np.roll(parts, -1, axis=1), axis=2)
            long = edges.max(axis=1) > limit
            if not long.any():
                break
            cut, keep = parts[long], parts[~long]
            which = np.argmax(edges[long], axis=1)
            row = np.arange(len(cut))
            first, second = cut[row, which], cut[row, (which + 1) % 3]
            third, middle = cut[row, (which + 2) % 3], (first + second) / 2
            halves = [np.stack([first, middle, third], 1), np.stack([middle, second, third], 1)]
            parts = np.concatenate([keep, *halves])
            owner = np.concatenate([owner[~long], owner[long], owner[long]])
        centroid = parts.mean(axis=1)
        radius = float(np.linalg.norm(parts - centroid[:, None], axis=2).max())
        return KDTree(centroid), owner, radius

    def _nearest(self, points: Floats) -> Floats:
        """Return the nearest surface point to each of `points`."""
        tree, owner, radius = self._tree
        bound, _ = tree.query(points)
        # The nearest triangle's centroid cannot lie farther than the bound plus one radius.
        lists = tree.query_ball_point(points, bound + radius * (1 + 1e-9))
        counts = np.array([len(item) for item in lists])
        nearest = np.empty_like(points)
        start = 0
        while start < len(points):
            stop = start + max(1, int(np.searchsorted(np.cumsum(counts[start:]), BLOCK)))
            chosen = np.concatenate([np.asarray(item) for item in lists[start:stop]]).astype(int)
            which = np.repeat(np.arange(start, stop), counts[start:stop])
            pairs = np.unique(np.column_stack([which, owner[chosen]]), axis=0)
            spot = closest_on_triangles(points[pairs[:, 0]], self.corners[pairs[:, 1]])
            gap = np.linalg.norm(spot - points[pairs[:, 0]], axis=1)
            order = np.lexsort((gap, pairs[:, 0]))
            _, first = np.unique(pairs[order, 0], return_index=True)
            nearest[start:stop] = spot[order[first]]
            start = stop
        return nearest

    def inside(self, points: Floats) -> NDArray[np.bool_]:
        """Say which points lie inside, by the winding number.

        References
        ----------
        van Oosterom A, Strackee J. The solid angle of a plane triangle. IEEE Trans Biomed Eng
        1983;30:125, equation 8.
        """
        result = np.zeros(len(points), dtype=bool)
        if not self.closed:
            return result
        low, high = self.bounds
        within = np.flatnonzero(((points >= low) & (points <= high)).all(axis=1))
        for block in np.array_split(within, len(within) * len(self.corners) // BLOCK + 1):
            a, b, c = np.moveaxis(self.corners[None] - points[block, None, None, :], 2, 0)
            la, lb, lc = (np.linalg.norm(v, axis=-1) for v in (a, b, c))
            top = np.einsum("pni,pni->pn", a, np.cross(b, c))
            ab, bc, ca = (np.einsum("pni,pni->pn", u, v) for u, v in ((a, b), (b, c), (c, a)))
            bottom = la * lb * lc + ab * lc + bc * la + ca * lb
            result[block] = np.abs(np.arctan2(top, bottom).sum(axis=1)) > np.pi
        return result

    @cached_property
    def _grid(self) -> tuple[Floats, Floats, Floats]:
        """Signed distances at the cells of a grid about the mesh: values, origin, spacing."""
        low, high = self.bounds
        margin = 0.15 * self.size
        spacing = (high - low + 2 * margin) / GRID
        centres = [low[i] - margin + (np.arange(GRID) + 0.5) * spacing[i] for i in range(3)]
        spots = np.stack(np.meshgrid(*centres, indexing="ij"), -1).reshape(-1, 3)
        return self.distance(spots)[0].reshape(GRID, GRID, GRID), low - margin, spacing

    def rough_distance(self, points: Floats) -> Floats:
        """Return signed distances to within about half a grid cell, (n,) mm."""
        values, origin, spacing = self._grid
        cell = np.floor((points - origin) / spacing)
        place = np.clip(cell, 0, GRID - 1).astype(np.intp)
        return np.asarray(values[place[:, 0], place[:, 1], place[:, 2]])

    def distance(self, points: Floats) -> tuple[Floats, Floats]:
        """Return distances (n,) in mm, negative inside, and unit gradients (n, 3)."""
        away = points - self._nearest(points)
        length = np.linalg.norm(away, axis=1)
        sign = np.where(self.inside(points), -1.0, 1.0)
        unit = away / np.where(length > 0, length, 1.0)[:, None]
        return sign * length, sign[:, None] * unit

    def shell(self, clearance: float, count: int) -> Floats:
        """Return up to `count` points that stand off the surface, all about it."""
        tree, _, _ = self._tree
        centre = (self.bounds[0] + self.bounds[1]) / 2
        spots = np.asarray(tree.data)
        stride = max(1, len(spots) // (40 * count))
        spots = spots[::stride]
        # Farthest-point order spreads the chosen few over the whole surface.
        chosen = [int(np.argmax(np.linalg.norm(spots - centre, axis=1)))]
        gap = np.linalg.norm(spots - spots[chosen[0]], axis=1)
        while len(chosen) < min(count, len(spots)):
            chosen.append(int(np.argmax(gap)))
            gap = np.minimum(gap, np.linalg.norm(spots - spots[chosen[-1]], axis=1))
        outward = spots[chosen] - centre
        outward /= np.maximum(np.linalg.norm(outward, axis=1), 1e-9)[:, None]
        return np.asarray(spots[chosen] + (1.5 * clearance + 0.05 * self.size) * outward)
