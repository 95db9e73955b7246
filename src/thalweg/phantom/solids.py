"""Simple solids that organs and bones are put together from.

Each answers its signed distance (mm, negative inside, exact on its surface and good near it) over
broadcastable coordinates, and the box it lies in.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "UPRIGHT",
    "Axes",
    "Barrel",
    "Box",
    "Ellipsoid",
    "Layered",
    "Plate",
    "Rod",
    "Solid",
    "turned",
]

Coordinates = NDArray[np.float32]
Floats = NDArray[np.float64]
Box = tuple[Floats, Floats]
Point = tuple[float, float, float]
Axes = tuple[Point, Point, Point]

UPRIGHT: Axes = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
"""A solid's own axes when it stands straight, as rows in LPS."""

TINY = 1e-6


class Solid(Protocol):
    """A body that can be drawn."""

    def box(self) -> Box:
        """Return the least and greatest x, y, z in LPS mm."""

    def signed_distance(self, x: Coordinates, y: Coordinates, z: Coordinates) -> Coordinates:
        """Return mm to the surface, negative inside."""


def turned(tilt_deg: float, swing_deg: float = 0.0) -> Axes:
    """Return axes leant in the coronal plane, after a swing about the body's long axis.

    Parameters
    ----------
    tilt_deg : float
        Positive leans the head end to the person's left.
    swing_deg : float
        Positive turns the left side to the back.
    """
    a, b = np.radians(tilt_deg), np.radians(swing_deg)
    lean = np.array([[np.cos(a), 0, -np.sin(a)], [0, 1, 0], [np.sin(a), 0, np.cos(a)]])
    swing = np.array([[np.cos(b), np.sin(b), 0], [-np.sin(b), np.cos(b), 0], [0, 0, 1]])
    rows = (swing @ lean).tolist()
    return tuple(rows[0]), tuple(rows[1]), tuple(rows[2])


def _local(
    centre: Point, axes: Axes, x: Coordinates, y: Coordinates, z: Coordinates
) -> tuple[Coordinates, Coordinates, Coordinates]:
    """Return coordinates along a solid's own axes; no work beyond a shift when it is upright."""
    dx, dy, dz = x - centre[0], y - centre[1], z - centre[2]
    if axes == UPRIGHT:
        return dx, dy, dz
    a, b, c = (row[0] * dx + row[1] * dy + row[2] * dz for row in axes)
    return a, b, c


def _box_about(centre: Point, axes: Axes, half: Point) -> Box:
    extent = np.abs(np.asarray(axes)).T @ np.asarray(half)
    return np.asarray(centre) - extent, np.asarray(centre) + extent


@dataclass(frozen=True)
class Ellipsoid:
    """An ellipsoid by centre, semi-axes and directions of its axes."""

    centre_mm: Point
    radii_mm: Point
    axes: Axes = field(default=UPRIGHT)

    def box(self) -> Box:
        """Return the least and greatest x, y, z in LPS mm."""
        extent = np.linalg.norm(np.asarray(self.axes) * np.asarray(self.radii_mm)[:, None], axis=0)
        return np.asarray(self.centre_mm) - extent, np.asarray(self.centre_mm) + extent

    def signed_distance(self, x: Coordinates, y: Coordinates, z: Coordinates) -> Coordinates:
        """Return mm to the surface, negative inside, to first order."""
        a, b, c = _local(self.centre_mm, self.axes, x, y, z)
        ra, rb, rc = self.radii_mm
        level = np.sqrt((a / ra) ** 2 + (b / rb) ** 2 + (c / rc) ** 2)
        slope = np.sqrt((a / ra**2) ** 2 + (b / rb**2) ** 2 + (c / rc**2) ** 2)
        return np.asarray(level * (level - 1) / (slope + TINY))

    def lowest_point(self) -> Point:
        """Return the point of the surface nearest the feet, in LPS mm."""
        axes, radii = np.asarray(self.axes), np.asarray(self.radii_mm)
        pull = axes.T @ (radii**2 * axes[:, 2])
        x, y, z = np.asarray(self.centre_mm) - pull / np.sqrt(pull[2])
        return float(x), float(y), float(z)


@dataclass(frozen=True)
class Layered:
    """The part of a solid behind a coronal plane, such as a heavy fluid at its back."""

    solid: Ellipsoid
    front_y_mm: float

    def box(self) -> Box:
        """Return the least and greatest x, y, z in LPS mm."""
        low, high = self.solid.box()
        return np.array([low[0], max(low[1], self.front_y_mm), low[2]]), high

    def signed_distance(self, x: Coordinates, y: Coordinates, z: Coordinates) -> Coordinates:
        """Return mm to the surface, negative inside, to first order."""
        return np.asarray(np.maximum(self.solid.signed_distance(x, y, z), self.front_y_mm - y))


@dataclass(frozen=True)
class Barrel:
    """An elliptic cylinder with flat ends, such as a vertebral body."""

    centre_mm: Point
    radii_mm: tuple[float, float]
    half_height_mm: float
    axes: Axes = field(default=UPRIGHT)

    def box(self) -> Box:
        """Return the least and greatest x, y, z in LPS mm."""
        return _box_about(self.centre_mm, self.axes, (*self.radii_mm, self.half_height_mm))

    def signed_distance(self, x: Coordinates, y: Coordinates, z: Coordinates) -> Coordinates:
        """Return mm to the surface, negative inside, to first order."""
        a, b, c = _local(self.centre_mm, self.axes, x, y, z)
        ra, rb = self.radii_mm
        level = np.sqrt((a / ra) ** 2 + (b / rb) ** 2)
        slope = np.sqrt((a / ra**2) ** 2 + (b / rb**2) ** 2)
        return np.asarray(
            np.maximum(level * (level - 1) / (slope + TINY), np.abs(c) - self.half_height_mm)
        )


@dataclass(frozen=True)
class Plate:
    """A bowed oval plate, such as the wing of the ilium.

    Its own axes are: through its thickness, along its breadth, along its height. `bow_mm` is how
    far its rim stands out of the middle's plane, towards the first axis.
    """

    centre_mm: Point
    half_breadth_mm: float
    half_height_mm: float
    thickness_mm: float
    bow_mm: float
    axes: Axes

    def box(self) -> Box:
        """Return the least and greatest x, y, z in LPS mm."""
        half = (
            self.thickness_mm / 2 + abs(self.bow_mm),
            self.half_breadth_mm,
            self.half_height_mm,
        )
        return _box_about(self.centre_mm, self.axes, half)

    def signed_distance(self, x: Coordinates, y: Coordinates, z: Coordinates) -> Coordinates:
        """Return mm to the surface, negative inside, to first order."""
        a, b, c = _local(self.centre_mm, self.axes, x, y, z)
        level = np.sqrt((b / self.half_breadth_mm) ** 2 + (c / self.half_height_mm) ** 2)
        across = np.abs(a - self.bow_mm * level**2) - self.thickness_mm / 2
        rim = (level - 1) * min(self.half_breadth_mm, self.half_height_mm)
        return np.asarray(np.maximum(across, rim))


@dataclass(frozen=True)
class Rod:
    """A round-ended rod, its radius running evenly from one end to the other."""

    start_mm: Point
    end_mm: Point
    radius_mm: float
    end_radius_mm: float | None = None

    def _radii(self) -> tuple[float, float]:
        return self.radius_mm, self.radius_mm if self.end_radius_mm is None else self.end_radius_mm

    def box(self) -> Box:
        """Return the least and greatest x, y, z in LPS mm."""
        ends = np.array([self.start_mm, self.end_mm])
        radius = max(self._radii())
        return ends.min(axis=0) - radius, ends.max(axis=0) + radius

    def signed_distance(self, x: Coordinates, y: Coordinates, z: Coordinates) -> Coordinates:
        """Return mm to the surface, negative inside."""
        first, last = self._radii()
        rx, ry, rz = (e - s for s, e in zip(self.start_mm, self.end_mm, strict=True))
        dx, dy, dz = x - self.start_mm[0], y - self.start_mm[1], z - self.start_mm[2]
        share = np.clip((dx * rx + dy * ry + dz * rz) / (rx * rx + ry * ry + rz * rz), 0.0, 1.0)
        away = (dx - share * rx) ** 2 + (dy - share * ry) ** 2 + (dz - share * rz) ** 2
        return np.asarray(np.sqrt(away) - (first + (last - first) * share))
