"""A smooth curve through points of unequal worth, and what follows from it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.linalg import solveh_banded

__all__ = [
    "even_steps",
    "frames",
    "polyline_length",
    "smoothed",
    "spline_through",
    "transported_frames",
]

Floats = NDArray[np.float64]


def polyline_length(points_mm: Floats) -> Floats:
    """Return the run of chords up to each point, shape (n,)."""
    steps = np.linalg.norm(np.diff(points_mm, axis=0), axis=1)
    return np.concatenate([[0.0], np.cumsum(steps)])


def spline_through(points_mm: Floats) -> tuple[CubicSpline, Floats]:
    """Return a cubic spline parametrised by its own arc length, and the points' stations.

    Chord lengths serve as the first parameter; they are then replaced by the arc lengths of the
    spline itself (composite Simpson's rule, 4 panels a step), so that the parameter of the
    returned spline is arc length to well below a micrometre per millimetre.
    """
    run = polyline_length(points_mm)
    for _ in range(2):
        spline = CubicSpline(run, points_mm, bc_type="natural")
        run = _arc_lengths(spline, run)
    return CubicSpline(run, points_mm, bc_type="natural"), run


def even_steps(points_mm: Floats, step_mm: float) -> Floats:
    """Return points at equal arc lengths, about `step_mm` apart, ends included."""
    spline, run = spline_through(points_mm)
    count = max(round(run[-1] / step_mm), 4) + 1
    return np.asarray(spline(np.linspace(0.0, run[-1], count)))


def smoothed(
    points_mm: Floats, weight: Floats, *, scale_mm: float, step_mm: float, order: int = 2
) -> Floats:
    """Return the curve that lies near worthy points and is as smooth as may be.

    Minimises ``sum w |y - x|^2 + (scale / step)^(2 m) sum |m-th difference of x|^2`` over evenly
    spaced x: the discrete smoothing spline of order m (Whittaker's graduation). Where the weight
    is zero it bridges, for m = 2 with the least bending, for m = 3 with the least change of
    bending, so that a curve which bends steadily goes on doing so. At weight 1 a wave of length L
    keeps ``1 / (1 + (2 pi scale / L)^(2 m))`` of its height.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 3)
        Evenly spaced along the course, n above `order`.
    weight : ndarray, shape (n,)
        Not negative; at least `order` are positive. 1: an ordinary observation.
    scale_mm, step_mm : float
        Length below which noise is smoothed away; spacing of the points.
    order : int
        Order m of the differences that are kept small.
    """
    count = len(points_mm)
    stencil = np.diff(np.eye(order + 1), n=order, axis=0)[0]
    bands = np.zeros((order + 1, count))  # upper form: the last row is the diagonal
    starts = np.arange(count - order)
    for left in range(order + 1):
        for right in range(left, order + 1):
            bands[order - (right - left), starts + right] += stencil[left] * stencil[right]
    bands *= (scale_mm / step_mm) ** (2 * order)
    bands[-1] += weight
    return np.asarray(solveh_banded(bands, points_mm * weight[:, None]))


def frames(spline: CubicSpline, station_mm: Floats) -> tuple[Floats, Floats, Floats]:
    """Return unit tangents and two unit normals square to them, each of shape (n, 3)."""
    tangent = np.asarray(spline(station_mm, 1))
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    aside = np.eye(3)[np.argmin(np.abs(tangent), axis=1)]
    one = np.cross(tangent, aside)
    one /= np.linalg.norm(one, axis=1, keepdims=True)
    return tangent, one, np.cross(tangent, one)


def transported_frames(points_mm: Floats) -> tuple[Floats, Floats]:
    """Return two unit normals to the course at each point that do not spin about it.

    Each frame is the one before, turned by the least rotation that takes one tangent to the next,
    so that frames from another first normal differ by one and the same turn all along.
    """
    tangent = np.gradient(points_mm, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    one = np.empty_like(tangent)
    first = np.eye(3)[np.argmin(np.abs(tangent[0]))]
    first = first - np.dot(first, tangent[0]) * tangent[0]
    one[0] = first / np.linalg.norm(first)
    for number in range(1, len(tangent)):
        both = tangent[number - 1] + tangent[number]
        share = np.dot(one[number - 1], tangent[number]) / max(np.dot(both, both) / 2, 1e-12)
        one[number] = one[number - 1] - share * both
    return one, np.cross(tangent, one)


def _arc_lengths(spline: CubicSpline, run: Floats) -> Floats:
    panels = 4
    share = np.arange(2 * panels + 1) / (2 * panels)
    at = run[:-1, None] + share * np.diff(run)[:, None]
    speed = np.linalg.norm(spline(at, 1), axis=-1)
    simpson = np.ones(2 * panels + 1)
    simpson[1:-1:2], simpson[2:-1:2] = 4, 2
    steps = speed @ simpson * np.diff(run) / (6 * panels)
    return np.concatenate([[0.0], np.cumsum(steps)])
