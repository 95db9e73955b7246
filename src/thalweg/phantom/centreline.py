"""The truth about a curve: dense points, stations, exact length and bend radius."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicHermiteSpline
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from thalweg.phantom.curves import Curve

__all__ = ["Centreline", "centreline_of"]

PANELS = 2000
"""Panels of the length quadrature: a spline's knots then fall within 0.2 mm of a panel's end."""

NODES = 5
"""Gauss–Legendre nodes in each panel, exact for polynomials of degree nine."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Centreline:
    """A curve sampled at equal stations; every point lies on the curve itself.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 3)
        LPS millimetres from the kidney end to the bladder end.
    station_mm : ndarray, shape (n,)
        Arc length from the first point.
    tangent : ndarray, shape (n, 3)
        Unit vectors towards the bladder.
    bend_radius_mm : ndarray, shape (n,)
        Local radius of curvature; infinite where straight.
    """

    points_mm: Floats
    station_mm: Floats
    tangent: Floats
    bend_radius_mm: Floats

    @property
    def length_mm(self) -> float:
        """Arc length from first to last point, good to better than 0.001 mm."""
        return float(self.station_mm[-1])

    @property
    def chord_mm(self) -> float:
        """Straight distance between the ends."""
        return float(np.linalg.norm(self.points_mm[-1] - self.points_mm[0]))

    @property
    def least_bend_radius_mm(self) -> float:
        """Least local radius of curvature; infinite for a straight line."""
        return float(self.bend_radius_mm.min())

    @cached_property
    def _tree(self) -> cKDTree:
        return cKDTree(self.points_mm)

    def point_at(self, station_mm: ArrayLike) -> Floats:
        """Return the LPS point at stations in mm, shape (..., 3)."""
        track = CubicHermiteSpline(self.station_mm, self.points_mm, self.tangent)
        return np.asarray(track(np.asarray(station_mm, dtype=np.float64)))

    def nearest(self, points_mm: Floats) -> tuple[Floats, Floats]:
        """Return station and distance of points from the curve, prolonged straight at its ends.

        Parameters
        ----------
        points_mm : ndarray, shape (n, 3)

        Returns
        -------
        station_mm : ndarray, shape (n,)
            Below 0 or above the length for points beyond the flat ends.
        distance_mm : ndarray, shape (n,)
            At right angles to the curve.
        """
        gap, index = self._tree.query(points_mm)
        along = np.einsum("ij,ij->i", points_mm - self.points_mm[index], self.tangent[index])
        distance = np.sqrt(np.maximum(gap**2 - along**2, 0.0))
        return self.station_mm[index] + along, distance


def centreline_of(curve: Curve, step_mm: float = 0.25) -> Centreline:
    """Sample a curve at equal stations and measure it.

    Parameters
    ----------
    curve : Curve
    step_mm : float
        Largest distance between stations, above 0.

    Returns
    -------
    Centreline
    """
    edges = np.linspace(0.0, 1.0, PANELS + 1)
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    half = 0.5 / PANELS
    inner = (edges[:-1, None] + half) + half * nodes
    pieces = half * (_speed(curve, inner) @ weights)
    run = np.concatenate([[0.0], np.cumsum(pieces)])

    count = max(int(np.ceil(run[-1] / step_mm)), 2) + 1
    station = np.linspace(0.0, run[-1], count)
    # Station as a function of u has a known slope, so its inverse can be Hermite too.
    u = CubicHermiteSpline(run, edges, 1.0 / _speed(curve, edges))(station).clip(0.0, 1.0)

    first, second = curve.derivative(u, 1), curve.derivative(u, 2)
    speed = np.linalg.norm(first, axis=1)
    curvature = np.linalg.norm(np.cross(first, second), axis=1) / speed**3
    with np.errstate(divide="ignore"):
        radius = np.where(curvature > 1e-12, 1.0 / curvature, np.inf)
    return Centreline(curve.derivative(u, 0), station, first / speed[:, None], radius)


def _speed(curve: Curve, u: Floats) -> Floats:
    return np.asarray(np.linalg.norm(curve.derivative(u, 1), axis=-1))
