"""Colon and small bowel: winding tubes with fluid, stool and gas, in front of the ureters."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.phantom.curves import Spline
from thalweg.phantom.solids import Ellipsoid, Solid
from thalweg.phantom.tube import Tube

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.phantom.spec import AnatomySpec

__all__ = ["colon", "colon_gas", "small_bowel", "small_bowel_gas"]

Course = tuple[tuple[float, float, float], ...]

ASCENDING: Course = ((-84, -20, -62), (-92, -10, -20), (-94, -6, 30), (-92, -22, 62))
TRANSVERSE: Course = ((-92, -24, 62), (-62, -62, 50), (0, -70, 34), (60, -62, 58), (94, -14, 108))
DESCENDING: Course = ((94, -12, 106), (102, 6, 60), (102, 2, 10), (96, -12, -35), (84, -28, -62))
SIGMOID: Course = ((84, -28, -62), (50, -46, -84), (14, -34, -84), (-14, -12, -88), (-6, 18, -96),
                   (4, 40, -112), (2, 44, -140), (0, 40, -175))  # fmt: skip

LOOPS = 16
STEPS = 7
HOME = np.array([4.0, -46.0, -22.0])
REACH = np.array([74.0, 20.0, 56.0])
"""Adult middle and semi-axes of the room that the small bowel winds in, well before psoas."""


def colon(spec: AnatomySpec) -> tuple[Tube, ...]:
    """Return the colon's four parts, their calibre waisted by haustra."""
    parts = ((ASCENDING, 38.0), (TRANSVERSE, 30.0), (DESCENDING, 24.0), (SIGMOID, 22.0))
    return tuple(_haustral(spec, course, diameter) for course, diameter in parts)


def colon_gas(spec: AnatomySpec) -> tuple[Solid, ...]:
    """Return gas that has risen to the front of the colon."""
    places = (
        (ASCENDING[2], (11, 8, 20)), (ASCENDING[1], (9, 6, 11)), (TRANSVERSE[2], (26, 8, 9)),
        (TRANSVERSE[3], (12, 9, 8)), (DESCENDING[2], (6, 5, 17)), (SIGMOID[2], (12, 5, 6)),
        (SIGMOID[6], (6, 6, 11)),
    )  # fmt: skip
    return tuple(
        Ellipsoid(spec.point(x, y - 0.35 * r[1], z), spec.point(*r)) for (x, y, z), r in places
    )


def small_bowel(spec: AnatomySpec) -> tuple[Tube, ...]:
    """Return winding loops of small bowel, the same for the same seed."""
    return tuple(
        Tube(
            Spline(tuple(spec.point(*point) for point in walk)),
            spec.scale * 17.0,
            wall_mm=spec.scale * 2.2,
        )
        for walk in _walks(spec.bowel_seed)
    )


def small_bowel_gas(spec: AnatomySpec) -> tuple[Solid, ...]:
    """Return a few bubbles at the front of the loops."""
    return tuple(
        Ellipsoid(spec.point(x, y - 2.5, z), spec.point(6.5, 4.5, 6.0))
        for walk in _walks(spec.bowel_seed)[::2]
        for x, y, z in walk[2:4]
    )


def _haustral(spec: AnatomySpec, course: Course, diameter: float) -> Tube:
    curve = Spline(tuple(spec.point(*point) for point in course))
    length = Tube(curve, 1.0).length_mm
    knots = np.arange(0.0, length, spec.scale * 11.0)
    waist = np.where(np.arange(len(knots)) % 2, 0.80, 1.0) * diameter * spec.scale
    stations = tuple((float(s), float(d)) for s, d in zip(knots, waist, strict=True))
    return Tube(curve, stations, wall_mm=spec.scale * 2.0)


def _walks(seed: int) -> list[Course]:
    """Return the loops' points in adult mm: each a walk that turns back at the room's wall."""
    rng = np.random.default_rng(seed)
    return [_walk(rng) for _ in range(LOOPS)]


def _walk(rng: np.random.Generator) -> Course:
    at = HOME + REACH * _direction(rng) * rng.uniform(0.3, 0.9)
    heading = _direction(rng)
    points = [at]
    for _ in range(STEPS):
        heading = heading + 0.9 * _direction(rng)
        heading /= np.linalg.norm(heading)
        step = at + 24.0 * heading
        off = (step - HOME) / REACH
        if np.linalg.norm(off) > 1:
            step = HOME + REACH * off / np.linalg.norm(off)
            heading = -heading + 0.5 * _direction(rng)
        if np.linalg.norm(step - at) < 5.0:
            continue
        at = step
        points.append(at)
    return tuple((float(x), float(y), float(z)) for x, y, z in points)


def _direction(rng: np.random.Generator) -> NDArray[np.float64]:
    vector = rng.standard_normal(3)
    return np.asarray(vector / np.linalg.norm(vector))
