"""Many arc–straight–arc paths at once, by their control polygons, and whether each is clear.

An arc's two tangents are equal, ``R tan(θ/2)``, so such a path is known by its two tangent lengths
alone; both arcs take the short way round. Between ends some radii apart it is the shortest path of
bounded curvature (see `dubins`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from thalweg.plan.reach.arcs import ArcChain, frame_along, turn_between
from thalweg.plan.reach.obstacles import least_distance
from thalweg.plan.reach.problem import CHECK_STEP_MM, CLEARANCE_TOLERANCE_MM

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.plan.reach.obstacles import Obstacle

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = ["Ends", "Fillets", "clear", "fillets"]

ROUNDS = 40
CLOSED, UNCLOSED = 1e-12, 1e-9
"""Residual of the tangents, in radii, at which the search ends, and of a solution at most."""
LEAST_DET = 1e-6
WIDEST_COS = -0.985
"""Cosine of the widest turn, about 170°, that a control polygon is trusted with."""
STEP_MM = 4.0
PARTS = round(STEP_MM / CHECK_STEP_MM)
BLOCK = 200_000
"""Most points looked at together, to bound memory."""


@dataclass(frozen=True, eq=False)
class Ends:
    """Where `n` paths start and end, all (n, 3): places in mm and unit headings."""

    start: Floats
    heading: Floats
    end: Floats
    arrival: Floats

    def take(self, rows: NDArray[np.intp]) -> Ends:
        """Return some of the rows."""
        return Ends(self.start[rows], self.heading[rows], self.end[rows], self.arrival[rows])


@dataclass(frozen=True, eq=False)
class Fillets:
    """Paths of arc, straight, arc.

    Parameters
    ----------
    ends : Ends
    radius : float
        Of both arcs, mm.
    tangent : ndarray, shape (n, 2), mm
        Tangent lengths of the arcs.
    along : ndarray, shape (n, 3)
        Unit heading of the straight.
    straight : ndarray, shape (n,), mm
    angle : ndarray, shape (n, 2), radians
    sound : ndarray of bool, shape (n,)
        Whether such a path was found; the rest of the row means nothing where not.
    """

    ends: Ends
    radius: float
    tangent: Floats
    along: Floats
    straight: Floats
    angle: Floats
    sound: Flags

    @property
    def length_mm(self) -> Floats:
        """Lengths (n,), mm; infinite where no path was found."""
        whole = self.radius * self.angle.sum(axis=1) + self.straight
        return np.where(self.sound, whole, np.inf)

    def take(self, rows: NDArray[np.intp]) -> Fillets:
        """Return some of the rows."""
        return Fillets(
            self.ends.take(rows),
            self.radius,
            self.tangent[rows],
            self.along[rows],
            self.straight[rows],
            self.angle[rows],
            self.sound[rows],
        )

    def points(self, rows: NDArray[np.intp], stations: Floats) -> Floats:
        """Return the points of some rows at stations (rows, m) in mm; shape (rows, m, 3)."""
        ends, along = self.ends.take(rows), self.along[rows]
        first = self.radius * self.angle[rows, :1]
        straight = self.straight[rows, None]
        into = np.minimum(stations, first)
        middle = np.clip(stations - first, 0.0, straight)
        last = np.maximum(stations - first - straight, 0.0)
        bent = _bend(ends.heading, along, self.radius, into)
        bent += _bend(along, ends.arrival, self.radius, last)
        return np.asarray(ends.start[:, None] + bent + middle[..., None] * along[:, None])

    def chain(self, row: int, frame: Floats | None = None) -> ArcChain:
        """Return one path as a chain, in a frame along its first heading if one is given."""
        first = frame_along(self.ends.heading[row]) if frame is None else frame
        turns = [turn_between(first, self.along[row]), np.zeros(2)]
        there = ArcChain(self.ends.start[row], first, np.array(turns), np.ones(2)).joints()[0][-1]
        turns.append(turn_between(there, self.ends.arrival[row]))
        bends = self.radius * np.linalg.norm(turns, axis=1)
        lengths = np.array([bends[0], self.straight[row], bends[2]])
        return ArcChain(self.ends.start[row], first, np.array(turns), lengths)


def _bend(before: Floats, after: Floats, radius: float, length: Floats) -> Floats:
    """Return how far arcs lead that turn one heading towards another, (n, m, 3)."""
    side = after - np.einsum("ni,ni->n", before, after)[:, None] * before
    norm = np.linalg.norm(side, axis=1)
    side /= np.where(norm > 0, norm, 1.0)[:, None]
    turn = length / radius
    ahead = (radius * np.sin(turn))[..., None] * before[:, None]
    return np.asarray(ahead + (radius * (1 - np.cos(turn)))[..., None] * side[:, None])


def fillets(ends: Ends, radius: float) -> Fillets:
    """Return the arc–straight–arc path of every row, arcs of `radius` mm (above 0)."""
    tangent = np.zeros((len(ends.start), 2))
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        for _ in range(ROUNDS):
            asked, along, span, cosine = _polygon(ends, radius, tangent)
            off = np.abs(asked - tangent).max(axis=1, initial=0.0)
            if not np.nanmax(off, initial=0.0) > CLOSED * radius:
                break
            tangent = tangent + _newton(ends, radius, tangent, asked)
        straight = span - tangent.sum(axis=1)
        sound = (off < UNCLOSED * radius) & (straight >= 0)
        sound &= (tangent >= -UNCLOSED * radius).all(axis=1) & (cosine > WIDEST_COS).all(axis=1)
    return Fillets(ends, radius, tangent, along, straight, 2 * np.arctan(tangent / radius), sound)


def _polygon(ends: Ends, radius: float, tangent: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Return the tangents the polygon asks for, its middle's heading and length, and cosines."""
    middle = ends.end - tangent[:, 1:] * ends.arrival - ends.start - tangent[:, :1] * ends.heading
    span = np.linalg.norm(middle, axis=1)
    along = middle / span[:, None]
    cosine = np.einsum("kni,ni->nk", np.stack([ends.heading, ends.arrival]), along)
    # tan(θ/2) is sin θ over 1 + cos θ; the sine of a slight turn needs the cross product.
    cross = np.cross(np.stack([ends.heading, ends.arrival]), along)
    sine = np.linalg.norm(cross, axis=-1).T
    return radius * sine / (1 + np.maximum(cosine, WIDEST_COS)), along, span, cosine


def _newton(ends: Ends, radius: float, tangent: Floats, asked: Floats) -> Floats:
    """Return the Newton step on both tangents, by differences, held to two radii."""
    step = 1e-6 * radius
    columns = [
        (_polygon(ends, radius, tangent + step * shift)[0] - asked) / step for shift in np.eye(2)
    ]
    matrix = np.eye(2) - np.stack(columns, -1)
    right = asked - tangent
    (a, b), (c, d) = np.moveaxis(matrix, 0, -1)
    det = a * d - b * c
    move = np.stack([d * right[:, 0] - b * right[:, 1], a * right[:, 1] - c * right[:, 0]], 1)
    move = np.where(np.abs(det)[:, None] > LEAST_DET, move / det[:, None], 0.5 * right)
    return np.asarray(np.nan_to_num(np.clip(move, -2 * radius, 2 * radius)))


def clear(paths: Fillets, obstacles: tuple[Obstacle, ...], clearance: float) -> Flags:
    """Say which paths keep the clearance, to the tolerances of `Question.judge`; shape (n,).

    Parameters
    ----------
    paths : Fillets
    obstacles : tuple of Obstacle
    clearance : float, mm
    """
    result: Flags = paths.sound.copy()
    if not obstacles:
        return result
    length = paths.length_mm
    rows = np.flatnonzero(result)
    for block in np.array_split(rows, len(rows) * 80 // BLOCK + 1):
        if block.size:
            result[block] = _clear(paths, block, length[block], obstacles, clearance)
    return result


def _clear(
    paths: Fillets,
    rows: NDArray[np.intp],
    length: Floats,
    obstacles: tuple[Obstacle, ...],
    clearance: float,
) -> Flags:
    count = int(np.ceil(length.max() / STEP_MM)) + 1
    stations = np.linspace(0.0, 1.0, count) * length[:, None]
    gaps = least_distance(obstacles, paths.points(rows, stations).reshape(-1, 3))
    gaps = gaps.reshape(len(rows), count)
    good: Flags = gaps.min(axis=1) >= clearance - CLEARANCE_TOLERANCE_MM
    # A distance changes no faster than the path runs, so only close places need a closer look.
    half = 0.5 * length / (count - 1)
    row, column = np.nonzero((gaps < clearance + half[:, None]) & good[:, None])
    if row.size:
        offset = np.linspace(-1.0, 1.0, 2 * PARTS + 1) * half[row, None]
        fine = np.clip(stations[row, column, None] + offset, 0.0, length[row, None])
        for part in np.array_split(np.arange(len(row)), fine.size // BLOCK + 1):
            spots = paths.points(rows[row[part]], fine[part]).reshape(-1, 3)
            least = least_distance(obstacles, spots).reshape(len(part), -1).min(axis=1)
            good[row[part][least < clearance - CLEARANCE_TOLERANCE_MM]] = False
    return good
