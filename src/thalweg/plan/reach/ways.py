"""Ways round the obstacles: a rough map of what sees what, and paths through it as first guesses.

The map belongs to the obstacles alone and serves every ureter and site of a scene.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from thalweg.plan.reach.arcs import ArcChain, frame_along, turn_between
from thalweg.plan.reach.obstacles import Obstacle, least_distance

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["WayMap", "chain_along"]

GRAZE = 0.08
"""Intrusion, in radii of the offset surface, past which two places do not see each other."""
FIT_ROUNDS = 8
FIT_DAMPING = 30.0
LONGEST = 1.6
"""Ways longer than this many times the shortest are not tried."""


@dataclass(frozen=True, eq=False)
class WayMap:
    """Way-points about the obstacles and the distances between those in sight of each other.

    Parameters
    ----------
    obstacles : tuple of Obstacle
    clearance : float, mm
    spots : ndarray, shape (n, 3), mm
    sight : ndarray, shape (n, n), mm
        Distance where the straight line is clear, else infinite.
    """

    obstacles: tuple[Obstacle, ...]
    clearance: float
    spots: Floats
    sight: Floats

    @classmethod
    def of(cls, obstacles: tuple[Obstacle, ...], clearance: float) -> WayMap:
        """Survey the obstacles."""
        if not obstacles:
            return cls((), clearance, np.empty((0, 3)), np.empty((0, 0)))
        spots = np.vstack([obstacle.way_points(clearance) for obstacle in obstacles])
        spots = spots[least_distance(obstacles, spots) >= clearance]
        row, column = np.triu_indices(len(spots), 1)
        seen = _sight(obstacles, clearance, spots[row], spots[column])
        sight = np.full((len(spots), len(spots)), np.inf)
        sight[row, column] = seen
        sight[column, row] = seen
        return cls(obstacles, clearance, spots, sight)

    def ways(self, start: Floats, end: Floats, count: int) -> list[Floats]:
        """Return up to `count` unlike broken lines from `start` to `end`, shortest first.

        Each is an ndarray of shape (corners, 3) that includes both ends; none where the map has no
        way through.
        """
        from scipy.sparse import csr_matrix  # noqa: PLC0415 - heavy
        from scipy.sparse.csgraph import dijkstra  # noqa: PLC0415 - heavy

        size = len(self.spots)
        spots = np.vstack([self.spots, start, end])
        sight = np.full((size + 2, size + 2), np.inf)
        sight[:size, :size] = self.sight
        for index in (size, size + 1):
            others = np.delete(np.arange(size + 2), index)
            here = np.broadcast_to(spots[index], (len(others), 3))
            sight[index, others] = _sight(self.obstacles, self.clearance, here, spots[others])
            sight[others, index] = sight[index, others]
        graph = csr_matrix(np.where(np.isfinite(sight), sight, 0.0))
        length, before = dijkstra(graph, indices=[size, size + 1], return_predecessors=True)
        total = length[0] + length[1]
        chosen: list[Floats] = []
        apart = self._apart()
        limit = LONGEST * float(total[size])
        for node in np.argsort(total, kind="stable"):
            if not np.isfinite(total[node]) or total[node] > limit or len(chosen) == count:
                break
            if any(_distance_to(spots[node], way) < apart for way in chosen):
                continue
            out, back = _walk(before[0], int(node), size), _walk(before[1], int(node), size + 1)
            chosen.append(spots[[*out[::-1], *back[1:]]])
        return chosen

    def _apart(self) -> float:
        """Return how far, in mm, a way must stray from another to count as unlike it."""
        spread = np.linalg.norm(np.ptp(self.spots, axis=0)) if len(self.spots) else 0.0
        return max(0.1 * float(spread), 20.0)


def _sight(obstacles: tuple[Obstacle, ...], clearance: float, a: Floats, b: Floats) -> Floats:
    seen = np.ones(len(a), dtype=bool)
    for obstacle in obstacles:
        slack = GRAZE * (obstacle.roundness + clearance)
        seen[seen] = obstacle.segment_distance(a[seen], b[seen]) >= clearance - slack
    return np.where(seen, np.linalg.norm(b - a, axis=1), np.inf)


def _walk(before: NDArray[np.int32], node: int, root: int) -> list[int]:
    steps = [node]
    while steps[-1] != root:
        steps.append(int(before[steps[-1]]))
    return steps


def _distance_to(point: Floats, way: Floats) -> float:
    along = way[1:] - way[:-1]
    square = np.maximum(np.einsum("ni,ni->n", along, along), 1e-12)
    share = np.clip(np.einsum("ni,ni->n", point - way[:-1], along) / square, 0, 1)
    return float(np.linalg.norm(way[:-1] + share[:, None] * along - point, axis=1).min())


def chain_along(
    way: Floats, heading: Floats | None, arrival: Floats | None, radius: float, pieces: int
) -> ArcChain:
    """Return a chain of equal pieces that roughly follows a broken line.

    Parameters
    ----------
    way : ndarray, shape (corners, 3), mm
    heading, arrival : ndarray, shape (3,), or None
        Unit headings the chain starts and should end with; None takes the line's own.
    radius : float
        Bend radius, mm, that says how long a lead the headings are given.
    pieces : int
    """
    spots = _spread(_with_leads(way, heading, arrival, radius), pieces)
    aims = np.diff(spots, axis=0)
    length = float(np.linalg.norm(aims, axis=1).sum())
    aims /= np.maximum(np.linalg.norm(aims, axis=1), 1e-12)[:, None]
    frame = frame_along(aims[0] if heading is None else heading)
    current, turns = frame, []
    for index in range(pieces):
        # A piece should leave along the mean of its own chord's direction and the next one's.
        last = index == pieces - 1
        ahead = aims[index] + (aims[index + 1] if not last else aims[index])
        if last and arrival is not None:
            ahead = arrival
        norm = float(np.linalg.norm(ahead))
        turn = turn_between(current, ahead / norm if norm > 1e-6 else aims[index])
        turns.append(turn)
        current = ArcChain(way[0], current, turn[None], np.ones(1)).joints()[0][-1]
    guess = ArcChain(way[0], frame, np.array(turns), np.full(pieces, length / pieces))
    return _fitted(guess, spots[1:], arrival, radius)


def _fitted(chain: ArcChain, spots: Floats, arrival: Floats | None, radius: float) -> ArcChain:
    """Return the chain bent by damped least squares until its joints lie near `spots`.

    Turns too sharp for the radius are resisted too, so that the chain is about one that may be.
    """
    count = len(chain.lengths)
    limit = chain.lengths / max(radius, 1e-9)
    for _ in range(FIT_ROUNDS):
        trail = chain.trail(np.ones(1))
        off, slopes = [(trail.ends - spots).ravel()], [trail.end_slopes.reshape(3 * count, -1)]
        if arrival is not None:
            lever = max(radius, 1.0)
            off.append(lever * (trail.end_frame[:, 0] - arrival))
            slopes.append(lever * trail.heading_slopes)
        size = np.maximum(np.linalg.norm(chain.turns, axis=1), 1e-9)
        over = np.maximum(size - limit, 0.0) * (radius > 0)
        rows = np.zeros((count, 3 * count))
        for axis in (0, 1):
            rows[np.arange(count), 3 * np.arange(count) + axis] = (
                radius * chain.turns[:, axis] / size * (over > 0)
            )
        off.append(radius * over)
        slopes.append(rows)
        # Only the turns move; the even lengths keep the pieces where the way has its corners.
        turning = np.arange(3 * count) % 3 != 2
        matrix = np.vstack(slopes)[:, turning]
        pull = matrix.T @ np.concatenate(off)
        step = np.linalg.solve(matrix.T @ matrix + FIT_DAMPING * np.eye(2 * count), pull)
        step *= min(1.0, 1.0 / max(float(np.abs(step).max()), 1e-12))
        chain = ArcChain(chain.start, chain.frame, chain.turns - step.reshape(-1, 2), chain.lengths)
    return chain


def _with_leads(
    way: Floats, heading: Floats | None, arrival: Floats | None, radius: float
) -> Floats:
    """Return the broken line with a short lead along the headings where it departs from them."""
    corners = list(way)
    if heading is not None and _off(way[1] - way[0], heading):
        corners.insert(1, way[0] + radius * heading)
    if arrival is not None and _off(way[-1] - way[-2], arrival):
        corners.insert(-1, way[-1] - radius * arrival)
    return np.array(corners)


def _off(step: Floats, heading: Floats) -> bool:
    return float(step @ heading) < 0.95 * float(np.linalg.norm(step))


def _spread(way: Floats, pieces: int) -> Floats:
    """Return `pieces` + 1 places evenly along a broken line."""
    gaps = np.linalg.norm(np.diff(way, axis=0), axis=1)
    stations = np.append(0.0, np.cumsum(gaps))
    asked = np.linspace(0.0, stations[-1], pieces + 1)
    return np.column_stack([np.interp(asked, stations, way[:, axis]) for axis in range(3)])
