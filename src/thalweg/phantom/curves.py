"""Curves with known derivatives, from which artificial ureters are made.

Every curve is a function of ``u`` from 0 (towards the kidney) to 1 (towards the bladder) and
gives LPS millimetres. The analytic ones have lengths in closed form, so that what is measured on
a phantom can be checked against a formula rather than against other code.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

__all__ = ["Arc", "Curve", "Helix", "Line", "Point", "Sine", "Spline"]

Point = tuple[float, float, float]
Floats = NDArray[np.float64]


class Curve(Protocol):
    """A twice differentiable curve in LPS millimetres over ``0 <= u <= 1``."""

    def derivative(self, u: ArrayLike, order: int) -> Floats:
        """Return the derivative of the given order (0: the point) at `u`, shape (..., 3)."""


def _stacked(x: Floats, y: Floats, z: Floats) -> Floats:
    return np.stack(np.broadcast_arrays(x, y, z), axis=-1).astype(np.float64)


def _wave(phase: Floats, rate: float, order: int) -> tuple[Floats, Floats]:
    """Return the `order`-th derivatives by u of cos and sin of a phase that grows by `rate`."""
    shifted = phase + order * np.pi / 2
    return rate**order * np.cos(shifted), rate**order * np.sin(shifted)


def _ramp(u: Floats, rate: float, order: int) -> Floats:
    """Return the `order`-th derivative by u of ``rate * u``."""
    if order == 0:
        return rate * u
    return np.full_like(u, rate if order == 1 else 0.0)


@dataclass(frozen=True)
class Line:
    """A straight line; its length is the distance between its ends."""

    start_mm: Point
    end_mm: Point

    def derivative(self, u: ArrayLike, order: int) -> Floats:
        """Return the derivative of the given order at `u`, shape (..., 3)."""
        at = np.asarray(u, dtype=np.float64)
        run = np.subtract(self.end_mm, self.start_mm)
        offset = np.asarray(self.start_mm) if order == 0 else np.zeros(3)
        return np.asarray(offset + _ramp(at, 1.0, order)[..., None] * run)


@dataclass(frozen=True)
class Arc:
    """A circular arc in the coronal plane, starting at its head end and bulging to +x.

    It is symmetrical about the axial plane through `centre_mm`; its length is radius times sweep.
    """

    centre_mm: Point
    radius_mm: float
    sweep_rad: float

    def derivative(self, u: ArrayLike, order: int) -> Floats:
        """Return the derivative of the given order at `u`, shape (..., 3)."""
        at = np.asarray(u, dtype=np.float64)
        cos, sin = _wave(self.sweep_rad * (0.5 - at), -self.sweep_rad, order)
        offset = np.asarray(self.centre_mm) if order == 0 else np.zeros(3)
        x, z = self.radius_mm * cos, self.radius_mm * sin
        return np.asarray(offset + _stacked(x, np.zeros_like(x), z))


@dataclass(frozen=True)
class Helix:
    """A helix about a foot-going axis; length ``turns * sqrt((2 pi radius)^2 + pitch^2)``.

    Its radius of curvature is ``radius + pitch^2 / (4 pi^2 radius)`` everywhere.
    """

    top_mm: Point
    radius_mm: float
    pitch_mm: float
    turns: float

    def derivative(self, u: ArrayLike, order: int) -> Floats:
        """Return the derivative of the given order at `u`, shape (..., 3)."""
        at = np.asarray(u, dtype=np.float64)
        rate = 2 * np.pi * self.turns
        cos, sin = _wave(rate * at, rate, order)
        offset = np.asarray(self.top_mm) if order == 0 else np.zeros(3)
        fall = _ramp(at, -self.pitch_mm * self.turns, order)
        return np.asarray(offset + _stacked(self.radius_mm * cos, self.radius_mm * sin, fall))


@dataclass(frozen=True)
class Sine:
    """A foot-going line that sways left and right; its length is an elliptic integral.

    With amplitude A and angular rate k per mm of fall, the length over whole waves is
    ``fall * (2/pi) * sqrt(1 + m) * E(m / (1 + m))`` where ``m = (A k)^2`` and E is the complete
    elliptic integral of the second kind (NIST DLMF 19.2.8).
    """

    top_mm: Point
    fall_mm: float
    amplitude_mm: float
    waves: float

    def derivative(self, u: ArrayLike, order: int) -> Floats:
        """Return the derivative of the given order at `u`, shape (..., 3)."""
        at = np.asarray(u, dtype=np.float64)
        rate = 2 * np.pi * self.waves
        _, sin = _wave(rate * at, rate, order)
        offset = np.asarray(self.top_mm) if order == 0 else np.zeros(3)
        x = self.amplitude_mm * sin
        return np.asarray(offset + _stacked(x, np.zeros_like(x), _ramp(at, -self.fall_mm, order)))


@dataclass(frozen=True)
class Spline:
    """A natural cubic spline through points, spaced in u by their chords.

    Parameters
    ----------
    points_mm : tuple of (x, y, z)
        At least three points from the kidney to the bladder, no two in a row the same.
    """

    points_mm: tuple[Point, ...]

    @cached_property
    def _spline(self) -> CubicSpline:
        points = np.asarray(self.points_mm, dtype=np.float64)
        run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
        return CubicSpline(run / run[-1], points, bc_type="natural")

    def derivative(self, u: ArrayLike, order: int) -> Floats:
        """Return the derivative of the given order at `u`, shape (..., 3)."""
        return np.asarray(self._spline(np.asarray(u, dtype=np.float64), order))
