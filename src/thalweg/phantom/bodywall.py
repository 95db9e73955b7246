"""The trunk's outline and layers, and the truth about skin and abdominal wall."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

__all__ = ["BodyWall", "Dimple", "Oval"]

Floats = NDArray[np.float64]
Coordinates = NDArray[np.float32]

CENTRE_Y_MM = 0.0
"""All layers share the coronal plane through which their front and back halves join."""

ROUNDNESS = 2.4
"""Exponent of the superellipse; 2 is an ellipse, a trunk is a little squarer."""


@dataclass(frozen=True)
class Dimple:
    """A Gaussian pit in the front of the skin: the umbilicus."""

    x_mm: float
    z_mm: float
    depth_mm: float
    spread_mm: float

    def depth_at(self, x: Floats | Coordinates, z: Floats | Coordinates) -> Floats | Coordinates:
        """Return how far the skin is pushed to the back, in mm."""
        off = (x - self.x_mm) ** 2 + (z - self.z_mm) ** 2
        return self.depth_mm * np.exp(-off / (2 * self.spread_mm**2))


@dataclass(frozen=True)
class Oval:
    """One closed layer of the trunk: at each height an oval of its own width and depths.

    Parameters
    ----------
    z_mm, half_width_mm, front_mm, back_mm : tuple of float
        Knots from foot to head; front and back are distances from the plane y = 0, both above 0.
        Between knots they run smoothly and monotonically, beyond them they stay.
    dimple : Dimple, optional
    """

    z_mm: tuple[float, ...]
    half_width_mm: tuple[float, ...]
    front_mm: tuple[float, ...]
    back_mm: tuple[float, ...]
    dimple: Dimple | None = None

    def sizes_at(self, z: ArrayLike) -> tuple[Floats, Floats, Floats]:
        """Return half width, front and back in mm at heights z."""
        within = np.clip(np.asarray(z, dtype=np.float64), self.z_mm[0], self.z_mm[-1])
        knots = np.stack([self.half_width_mm, self.front_mm, self.back_mm], axis=-1)
        sizes = PchipInterpolator(self.z_mm, knots)(within)
        return sizes[..., 0], sizes[..., 1], sizes[..., 2]

    def front_y(self, x: ArrayLike, z: ArrayLike) -> Floats:
        """Return y in LPS mm of the front surface over (x, z); nan beside the trunk."""
        at_x, at_z = np.asarray(x, dtype=np.float64), np.asarray(z, dtype=np.float64)
        width, front, _ = self.sizes_at(at_z)
        rest = 1 - np.abs(at_x / width) ** ROUNDNESS
        with np.errstate(invalid="ignore"):
            y = CENTRE_Y_MM - front * rest ** (1 / ROUNDNESS)
        if self.dimple is not None:
            y = y + self.dimple.depth_at(at_x, at_z)
        return np.asarray(y)

    def box(self) -> tuple[Floats, Floats]:
        """Return the least and greatest x, y, z in LPS mm; endless along the body."""
        side = max(self.half_width_mm)
        low = np.array([-side, CENTRE_Y_MM - max(self.front_mm), -2000.0])
        high = np.array([side, CENTRE_Y_MM + max(self.back_mm), 2000.0])
        return low, high

    def signed_distance(self, x: Coordinates, y: Coordinates, z: Coordinates) -> Coordinates:
        """Return mm to the surface within the axial plane, negative inside, to first order."""
        width, front, back = (size.astype(np.float32) for size in self.sizes_at(z))
        dy = y - CENTRE_Y_MM
        if self.dimple is not None and np.abs(z - self.dimple.z_mm).min() < (
            6 * self.dimple.spread_mm
        ):
            dy = np.where(dy < 0, dy - self.dimple.depth_at(x, z), dy).astype(np.float32)
        depth = np.where(dy < 0, front, back)
        across, along = np.abs(x) / width, np.abs(dy) / depth
        # Both halves of the sum depend on one axis each on an axial grid, so powers stay cheap.
        across_slope, along_slope = across ** (ROUNDNESS - 1), along ** (ROUNDNESS - 1)
        total = across_slope * across + along_slope * along + 1e-9
        level = total ** (1 / ROUNDNESS)
        slope = np.sqrt((across_slope / width) ** 2 + (along_slope / depth) ** 2) + 1e-9
        return np.asarray((level - 1) * (total / level) / slope, dtype=np.float32)


@dataclass(frozen=True)
class BodyWall:
    """The layers of the trunk from without: skin, subcutaneous fat, muscle, cavity.

    Parameters
    ----------
    skin : Oval
        Outer surface of the skin.
    fat : Oval
        Outer surface of the subcutaneous fat.
    muscle : Oval
        Outer surface of the muscle layer.
    cavity : Oval
        Inner surface of the muscle layer.
    """

    skin: Oval
    fat: Oval
    muscle: Oval
    cavity: Oval

    def skin_y(self, x_mm: ArrayLike, z_mm: ArrayLike) -> Floats:
        """Return y of the front skin in LPS mm over (x, z); nan beside the trunk."""
        return self.skin.front_y(x_mm, z_mm)

    def skin_point(self, x_mm: float, z_mm: float) -> tuple[float, float, float]:
        """Return the point of the front skin over (x, z), in LPS mm."""
        return x_mm, float(self.skin_y(x_mm, z_mm)), z_mm

    def skin_normal(self, x_mm: float, z_mm: float) -> Floats:
        """Return the unit outward normal of the front skin over (x, z), shape (3,)."""
        step = 1e-3
        by_x = self.skin_y(x_mm + step, z_mm) - self.skin_y(x_mm - step, z_mm)
        by_z = self.skin_y(x_mm, z_mm + step) - self.skin_y(x_mm, z_mm - step)
        normal = np.array([float(by_x) / (2 * step), -1.0, float(by_z) / (2 * step)])
        return np.asarray(normal / np.linalg.norm(normal))

    def wall_thickness_mm(self, x_mm: float, z_mm: float) -> float:
        """Return the whole wall's thickness along the inward normal of the skin over (x, z)."""
        return self._depth_of(self.cavity, x_mm, z_mm)

    def depth_of_muscle_mm(self, x_mm: float, z_mm: float) -> float:
        """Return skin and subcutaneous fat together along the skin's inward normal."""
        return self._depth_of(self.muscle, x_mm, z_mm)

    def _depth_of(self, layer: Oval, x_mm: float, z_mm: float) -> float:
        start = np.asarray(self.skin_point(x_mm, z_mm))
        inward = -self.skin_normal(x_mm, z_mm)

        def behind(depth: float) -> float:
            x, y, z = start + depth * inward
            level = layer.front_y(x, z)
            return float(y - np.where(np.isnan(level), CENTRE_Y_MM + 1.0, level))

        depths = np.linspace(0.0, 150.0, 301)
        beyond = [depth for depth in depths if behind(depth) > 0]
        if not beyond:
            msg = f"no layer lies under the front skin at x {x_mm:g} mm, z {z_mm:g} mm"
            raise ValueError(msg)
        return float(brentq(behind, max(beyond[0] - 0.5, 0.0), beyond[0], xtol=1e-9))
