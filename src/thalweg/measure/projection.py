"""What a shadow says of the length of the curve that threw it.

A point source at distance Z from a plane throws each point ``r`` of a curve on to the plane along
its ray. Write a ray as ``a = (x / Z, y / Z, 1)``, x and y being millimetres in the plane from the
foot of the perpendicular dropped from the source; the point on it at distance z from the source
(counted along that perpendicular) is ``z a``.

* A curve at one distance z parallel to the plane throws a shadow Z / z times its own size, so
  ``length = shadow × z / Z``, exactly.
* Any other curve may be longer than that, because what runs along the rays throws no shadow. It may
  also be *shorter*: nearer to the source its shadow is magnified more, and away from the foot of
  the perpendicular a piece that runs obliquely throws a longer shadow than one that lies parallel.
* What always holds: between two rays ``a`` and ``b`` a curve is at least as long as the straight
  line between the nearest two points of those rays that its depth allows,
  ``min |s a - t b|`` over ``z_near <= s, t <= z_far``. The least distance must be the one
  *nearest to the source*, where rays lie closest together. The sum over successive rays is a
  strict lower bound of the length.

The minimum: ``|s a - t b|`` grows in proportion when s and t grow together, so one of them is
z_near; the other is the foot of a perpendicular, held within the range.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["least_length", "least_length_anywhere"]

Floats = NDArray[np.float64]


def least_length(plane_mm: Floats, plane_at_mm: float, near_mm: float, far_mm: float) -> float:
    """Return a length that no curve through these rays can fall below.

    Parameters
    ----------
    plane_mm : ndarray, shape (n, 2)
        Successive points of the shadow in a plane, from the foot of the perpendicular dropped from
        the source on to it.
    plane_at_mm : float
        Distance of that plane from the source.
    near_mm, far_mm : float
        Between which distances from the source the curve lies; 0 < near <= far.

    Returns
    -------
    float
        Millimetres; the exact length for a polygon at one distance, near = far.
    """
    rays = np.column_stack([plane_mm / plane_at_mm, np.ones(len(plane_mm))])
    a, b = rays[:-1], rays[1:]
    reach = far_mm / near_mm
    across = np.einsum("ij,ij->i", a, b)
    further = np.clip(across / np.einsum("ij,ij->i", b, b), 1.0, reach)
    nearer = np.clip(across / np.einsum("ij,ij->i", a, a), 1.0, reach)
    apart = np.minimum(
        np.linalg.norm(a - further[:, None] * b, axis=1),
        np.linalg.norm(nearer[:, None] * a - b, axis=1),
    )
    return near_mm * float(apart.sum())


def least_length_anywhere(
    plane_mm: Floats, corners_mm: Floats, plane_at_mm: float, near_mm: float, far_mm: float
) -> float:
    """Return the same where the foot of the perpendicular may be anywhere between corners.

    Between rays ``a`` and ``b``, ``d = a - b`` is known and ``b`` is not. Freed from the far limit
    the least distance is ``|d| sqrt(1 - (d̂·b)² / |b|²)``, never below
    ``|d| / sqrt(1 + w²)`` where w is the greatest ``|d̂·b|`` that a foot at any corner gives. With
    it, ``|d|² - 2 (far / near - 1) |d| w`` is never above its square: the greater of both serves.

    Parameters
    ----------
    plane_mm, plane_at_mm, near_mm, far_mm
        As in `least_length`, from any origin.
    corners_mm : ndarray, shape (k, 2)
        Corners of a convex region that holds the foot.
    """
    step = np.diff(plane_mm, axis=0)
    shadow = np.linalg.norm(step, axis=1)
    along = step / shadow[:, None]
    ends = np.stack([plane_mm[:-1], plane_mm[1:]])
    lean = np.abs(np.einsum("eskx,sx->esk", ends[:, :, None, :] - corners_mm, along))
    greatest = lean.max(axis=(0, 2)) / plane_at_mm
    apart = shadow / plane_at_mm
    free = apart / np.sqrt(1 + greatest**2)
    held = apart**2 - 2 * (far_mm / near_mm - 1) * apart * greatest
    return near_mm * float(np.maximum(free, np.sqrt(np.maximum(held, 0.0))).sum())
