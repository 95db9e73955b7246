"""Many paths past one body at once: two arc–straight–arc paths that meet where they graze it.

Each path goes through a place on the body's offset surface, along the surface. That place and
heading are sought by a pattern search, all paths in step. What comes back was checked to be clear;
it is close to the shortest where the body is only grazed, and no more than that is claimed.
"""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from thalweg.plan.reach.arcs import ArcChain
from thalweg.plan.reach.fillets import Ends, Fillets, clear, fillets

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.plan.reach.obstacles import Obstacle

    Floats = NDArray[np.float64]
    Indices = NDArray[np.intp]

__all__ = ["past_one_body"]

PLACES = 64
"""Places along each path at which its deepest intrusion is sought."""
HOLD_OFF_MM = 0.02
"""The grazed place stands off this much, so that rounding does not bring the path too near."""
STEPS = np.array([12.0, 8.0, 0.15])
"""First steps along, across (mm) and in yaw (radians)."""
ROUNDS = 14
LEAST_SHARE = 0.05
"""The search ends once steps are this share of the first ones."""
NEAR_ENOUGH_MM = 0.05
"""Or once no more than this could be gained."""


def past_one_body(
    plain: Fillets, obstacles: tuple[Obstacle, ...], clearance: float, radius: float
) -> tuple[Floats, list[ArcChain | None]]:
    """Return clear paths past the body that bars each way most.

    Parameters
    ----------
    plain : Fillets
        The paths that are barred, all sound.
    obstacles : tuple of Obstacle
    clearance, radius : float
        Clearance and least bend radius, mm.

    Returns
    -------
    lengths : ndarray, shape (n,), mm
        Infinite where no clear path of this kind was found.
    chains : list of ArcChain or None
        The paths themselves.
    """
    search = _Search(plain, obstacles, clearance, radius)
    count, floor = len(plain.straight), plain.length_mm
    at, scale = np.zeros((count, 3)), np.ones(count)
    best = search.lengths(np.arange(count), at, np.full(count, np.inf))
    for _ in range(ROUNDS):
        rows = np.flatnonzero((scale >= LEAST_SHARE) & ~(best - floor < NEAR_ENOUGH_MM))
        if not rows.size:
            break
        before = best[rows]
        for axis, sign in product(range(3), (1.0, -1.0)):
            trial = at[rows]
            trial[:, axis] += sign * scale[rows] * STEPS[axis]
            found = search.lengths(rows, trial, best[rows])
            better = found < best[rows]
            at[rows[better]], best[rows[better]] = trial[better], found[better]
        settled = ~(best[rows] < before - 1e-3)
        scale[rows[settled]] /= 2
    return best, search.chains(at, best)


class _Search:
    """Paths through a place on the body that bars the way most, by its offsets from the first."""

    def __init__(
        self, plain: Fillets, obstacles: tuple[Obstacle, ...], clearance: float, radius: float
    ) -> None:
        self.ends, self.obstacles, self.clearance = plain.ends, obstacles, clearance
        self.radius = radius
        count = len(plain.straight)
        rows = np.arange(count)
        stations = np.linspace(0.0, 1.0, PLACES) * plain.length_mm[:, None]
        points = plain.points(rows, stations)
        flat = points.reshape(-1, 3)
        gaps = np.array([body.distance(flat)[0].reshape(count, -1) for body in obstacles])
        body, place = np.unravel_index(
            np.argmin(gaps.swapaxes(0, 1).reshape(count, -1), axis=1), (len(obstacles), PLACES)
        )
        self.body = body
        self.first = points[rows, place]
        low, high = np.maximum(place - 1, 0), np.minimum(place + 1, PLACES - 1)
        self.along = _unit(points[rows, high] - points[rows, low])
        self.across = _unit(np.cross(self._surface(rows, self.first)[1], self.along))

    def _surface(self, rows: Indices, places: Floats) -> tuple[Floats, Floats]:
        """Return distances from each row's own body and unit directions away from it."""
        gaps, outward = np.empty(len(places)), np.empty((len(places), 3))
        for index in np.unique(self.body[rows]):
            mine = self.body[rows] == index
            gaps[mine], outward[mine] = self.obstacles[index].distance(places[mine])
        return gaps, outward

    def _halves(self, rows: Indices, at: Floats) -> tuple[Fillets, Fillets]:
        """Return the paths to and from the place at offsets from the first."""
        along, ends = self.along[rows], self.ends.take(rows)
        place = self.first[rows] + at[:, :1] * along + at[:, 1:2] * self.across[rows]
        for _ in range(3):
            gap, outward = self._surface(rows, place)
            place = place + (self.clearance + HOLD_OFF_MM - gap)[:, None] * outward
        turned = np.cos(at[:, 2:]) * along + np.sin(at[:, 2:]) * self.across[rows]
        heading = _unit(turned - np.einsum("ni,ni->n", turned, outward)[:, None] * outward)
        into = Ends(ends.start, ends.heading, place, heading)
        out = Ends(place, heading, ends.end, ends.arrival)
        return fillets(into, self.radius), fillets(out, self.radius)

    def lengths(self, rows: Indices, at: Floats, limit: Floats) -> Floats:
        """Return the lengths of clear paths, infinite where barred or not below the limit."""
        halves = self._halves(rows, at)
        length = halves[0].length_mm + halves[1].length_mm
        length[~(length < limit)] = np.inf
        for half in halves:
            worth = np.flatnonzero(np.isfinite(length))
            good = clear(half.take(worth), self.obstacles, self.clearance)
            length[worth[~good]] = np.inf
        return length

    def chains(self, at: Floats, best: Floats) -> list[ArcChain | None]:
        """Return the paths as chains, None where none was found."""
        into, out = self._halves(np.arange(len(best)), at)
        found: list[ArcChain | None] = []
        for row, length in enumerate(best):
            if not np.isfinite(length):
                found.append(None)
                continue
            first = into.chain(row)
            second = out.chain(row, first.joints()[0][-1])
            found.append(
                ArcChain(
                    first.start,
                    first.frame,
                    np.vstack([first.turns, second.turns]),
                    np.append(first.lengths, second.lengths),
                )
            )
        return found


def _unit(vectors: Floats) -> Floats:
    length = np.linalg.norm(vectors, axis=1, keepdims=True)
    return np.asarray(vectors / np.where(length > 0, length, 1.0))
