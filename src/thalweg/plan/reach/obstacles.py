"""What a route must keep clear of: spheres, capsules and triangle meshes.

Each answers three questions: how far a point is from its surface (negative inside) and in which
direction that grows, how near a straight segment comes, and where a route could go round it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Protocol

import numpy as np

from thalweg.plan.reach.triangles import TriangleMesh, box_distance

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["Capsule", "Mesh", "Obstacle", "Sphere", "least_distance"]

RING = 10
"""Way-points round a capsule at each ring."""
RINGS = 9
"""Most rings along a capsule."""
SHELL = 48
"""Way-points round a sphere; a mesh may have twice as many."""
STAND_OFF = 1.12
"""How far out way-points stand, in radii, so that chords between neighbours stay clear."""


class Obstacle(Protocol):
    """Anything a route keeps clear of."""

    @property
    def roundness(self) -> float:
        """Least radius of curvature of the surface, mm; 0 where it has edges."""

    def distance(self, points: Floats) -> tuple[Floats, Floats]:
        """Return distances (n,) in mm, negative inside, and unit gradients (n, 3)."""

    def segment_distance(self, start: Floats, end: Floats) -> Floats:
        """Return the least distance of straight segments, (n, 3) to (n, 3), in mm."""

    def way_points(self, clearance: float) -> Floats:
        """Return points (n, 3) a little outside `clearance`, all about it."""


def _unit(vectors: Floats) -> tuple[Floats, Floats]:
    length = np.linalg.norm(vectors, axis=-1)
    safe = np.where(length > 0, length, 1.0)
    unit = vectors / safe[..., None]
    unit[length == 0] = (1.0, 0.0, 0.0)
    return length, unit


def shell_directions(count: int) -> Floats:
    """Return `count` nearly even unit vectors on a sphere (Fibonacci lattice); shape (count, 3)."""
    index = np.arange(count) + 0.5
    height = 1 - 2 * index / count
    turn = np.pi * (1 + np.sqrt(5)) * index
    across = np.sqrt(1 - height**2)
    return np.column_stack([across * np.cos(turn), across * np.sin(turn), height])


def _to_axis(points: Floats, base: Floats, axis: Floats) -> Floats:
    """Return vectors from the nearest point of a segment to each of `points`."""
    square = float(axis @ axis)
    along = (points - base) @ axis / square if square > 0 else np.zeros(points.shape[:-1])
    return points - base - np.clip(along, 0.0, 1.0)[..., None] * axis


@dataclass(frozen=True, eq=False)
class Sphere:
    """A ball: `at` (3,) and `radius`, mm."""

    at: Floats
    radius: float

    @property
    def roundness(self) -> float:
        """Least radius of curvature of the surface, mm."""
        return self.radius

    def distance(self, points: Floats) -> tuple[Floats, Floats]:
        """Return distances (n,) in mm, negative inside, and unit gradients (n, 3)."""
        length, unit = _unit(points - self.at)
        return length - self.radius, unit

    def segment_distance(self, start: Floats, end: Floats) -> Floats:
        """Return the least distance of straight segments, (n, 3) to (n, 3), in mm."""
        return segment_gap(start, end, self.at, np.zeros(3)) - self.radius

    def way_points(self, clearance: float) -> Floats:
        """Return points (n, 3) a little outside `clearance`, all about it."""
        return self.at + STAND_OFF * (self.radius + clearance) * shell_directions(SHELL)


@dataclass(frozen=True, eq=False)
class Capsule:
    """All points within `radius` mm of the segment `base` to `tip`, each (3,)."""

    base: Floats
    tip: Floats
    radius: float

    @property
    def roundness(self) -> float:
        """Least radius of curvature of the surface, mm."""
        return self.radius

    def distance(self, points: Floats) -> tuple[Floats, Floats]:
        """Return distances (n,) in mm, negative inside, and unit gradients (n, 3)."""
        length, unit = _unit(_to_axis(points, self.base, self.tip - self.base))
        return length - self.radius, unit

    def segment_distance(self, start: Floats, end: Floats) -> Floats:
        """Return the least distance of straight segments, (n, 3) to (n, 3), in mm."""
        return segment_gap(start, end, self.base, self.tip - self.base) - self.radius

    def way_points(self, clearance: float) -> Floats:
        """Return points (n, 3) a little outside `clearance`, all about it."""
        reach = STAND_OFF * (self.radius + clearance)
        length, axis = _unit(self.tip - self.base)
        if length == 0:
            return self.base + reach * shell_directions(SHELL)
        rings = int(np.clip(np.ceil(length / reach), 1, RINGS - 1)) + 1
        helper = np.eye(3)[int(np.argmin(np.abs(axis)))]
        first = np.cross(axis, helper)
        first /= np.linalg.norm(first)
        angle = 2 * np.pi * np.arange(RING) / RING
        across = np.outer(np.cos(angle), first) + np.outer(np.sin(angle), np.cross(axis, first))
        centres = self.base + np.linspace(0, 1, rings)[:, None] * (self.tip - self.base)
        body = (centres[:, None, :] + reach * across).reshape(-1, 3)
        slant = np.sqrt(0.5) * (across[::2] + axis), np.sqrt(0.5) * (across[::2] - axis)
        caps = [self.tip + reach * slant[0], self.base + reach * slant[1]]
        poles = np.array([self.tip + reach * axis, self.base - reach * axis])
        return np.vstack([body, *caps, poles])


@dataclass(frozen=True, eq=False)
class Mesh:
    """A surface of triangles, `corners` (n, 3 corners, 3) in mm; solid where it is closed."""

    corners: Floats
    name: str = field(default="mesh")

    @cached_property
    def surface(self) -> TriangleMesh:
        """The triangles with their search tree."""
        return TriangleMesh(self.corners)

    @property
    def roundness(self) -> float:
        """Least radius of curvature of the surface, mm: a mesh has edges."""
        return 0.0

    @property
    def closed(self) -> bool:
        """Whether the surface has an inside."""
        return self.surface.closed

    def distance(self, points: Floats) -> tuple[Floats, Floats]:
        """Return distances (n,) in mm, negative inside, and unit gradients (n, 3)."""
        return self.surface.distance(points)

    def segment_distance(self, start: Floats, end: Floats) -> Floats:
        """Return about the least distance of straight segments, (n, 3) to (n, 3), in mm.

        Read from a grid at 33 places along each: enough to choose ways round, not to vouch for one.
        """
        least = box_distance(start, end, *self.surface.bounds)
        near = np.flatnonzero(least <= 0.1 * self.surface.size)
        for block in np.array_split(near, len(near) // 5000 + 1):
            along = np.linspace(0.0, 1.0, 33)[:, None]
            spots = start[block, None, :] + along * (end - start)[block, None, :]
            gaps = self.surface.rough_distance(spots.reshape(-1, 3))
            least[block] = gaps.reshape(len(block), 33).min(axis=1)
        return least

    def way_points(self, clearance: float) -> Floats:
        """Return points (n, 3) a little outside `clearance`, all about it."""
        return self.surface.shell(clearance, 2 * SHELL)


def segment_gap(start: Floats, end: Floats, base: Floats, axis: Floats) -> Floats:
    """Return the distances between segments (n, 3) to (n, 3) and one segment, mm.

    References
    ----------
    Ericson C. Real-Time Collision Detection. 2005, section 5.1.9 (closest points of two segments).
    """
    along = end - start
    offset = start - base
    a = np.einsum("...i,...i", along, along)
    e = float(axis @ axis)
    f = offset @ axis
    c = np.einsum("...i,...i", along, offset)
    b = along @ axis
    safe_a = np.where(a > 0, a, 1.0)
    if e == 0:
        s = np.where(a > 0, np.clip(-c / safe_a, 0, 1), 0.0)
        return np.asarray(np.linalg.norm(offset + s[..., None] * along, axis=-1))
    det = a * e - b * b
    flat = det <= 1e-12 * np.maximum(a * e, 1e-300)
    s = np.where(flat, 0.0, np.clip((b * f - c * e) / np.where(flat, 1.0, det), 0, 1))
    t = (b * s + f) / e
    clipped = np.clip(t, 0, 1)
    again = np.where(a > 0, np.clip((b * clipped - c) / safe_a, 0, 1), 0.0)
    s = np.where(t == clipped, s, again)
    gap = offset + s[..., None] * along - clipped[..., None] * axis
    return np.asarray(np.linalg.norm(gap, axis=-1))


def least_distance(obstacles: tuple[Obstacle, ...], points: Floats) -> Floats:
    """Return each point's distance from the nearest obstacle, (n,) mm; infinite without any."""
    nearest = np.full(len(points), np.inf)
    for obstacle in obstacles:
        np.minimum(nearest, obstacle.distance(points)[0], out=nearest)
    return nearest
