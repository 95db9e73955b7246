"""What is true of an artificial abdomen, for measurements of its image to be held against."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from thalweg.phantom import organs, skeleton, vessels

if TYPE_CHECKING:
    from thalweg.phantom.bodywall import BodyWall
    from thalweg.phantom.courses import Side
    from thalweg.phantom.solids import Barrel, Ellipsoid
    from thalweg.phantom.spec import AnatomySpec
    from thalweg.phantom.tube import Tube

__all__ = ["Capsule", "PhantomTruth", "truth_of"]

Point = tuple[float, float, float]

OBSTACLE_PIECE_MM = 8.0
"""Vessels are cut into capsules about this long, over which they bow by less than 0.5 mm."""


@dataclass(frozen=True)
class Capsule:
    """A round-ended rod that a route must keep clear of, in LPS mm."""

    name: str
    from_mm: Point
    to_mm: Point
    radius_mm: float


@dataclass(frozen=True, eq=False)
class PhantomTruth:
    """The truth about one artificial abdomen.

    Parameters
    ----------
    spec : AnatomySpec
    left, right : Tube
        The ureters, from pelvi-ureteric junction to bladder hiatus.
    landmarks : dict of str to (x, y, z)
        ``umbilicus``, and for left and right: ``anterior superior iliac spine, left``,
        ``pelvi-ureteric junction, left``, ``bladder hiatus, left``, ``lower pole of kidney, left``.
    wall : BodyWall
        Front skin, its normal, and the thickness of the wall.
    obstacles : tuple of Capsule
        Spine, aorta and iliac arteries.
    kidneys : dict of side to Ellipsoid
    pivot_station_mm : dict of side to float
        Station of the ureter at the height of its kidney's lower pole.
    """

    spec: AnatomySpec
    left: Tube
    right: Tube
    landmarks: dict[str, Point]
    wall: BodyWall
    obstacles: tuple[Capsule, ...]
    kidneys: dict[Side, Ellipsoid]
    pivot_station_mm: dict[Side, float]

    def ureter(self, side: Side) -> Tube:
        """Return the ureter of one side."""
        return self.left if side == "left" else self.right


def truth_of(spec: AnatomySpec) -> PhantomTruth:
    """Return what is true of an anatomy, without drawing it."""
    wall = spec.wall()
    sides: tuple[tuple[Side, float, Tube], ...] = (
        ("left", 1.0, spec.left),
        ("right", -1.0, spec.right),
    )
    landmarks = {"umbilicus": wall.skin_point(0.0, 0.0)}
    kidneys: dict[Side, Ellipsoid] = {}
    pivots: dict[Side, float] = {}
    for side, sign, ureter in sides:
        line = ureter.centreline
        kidneys[side] = organs.kidney(spec, side)
        pole = kidneys[side].lowest_point()
        pivots[side] = float(line.station_mm[np.argmin(np.abs(line.points_mm[:, 2] - pole[2]))])
        landmarks[f"anterior superior iliac spine, {side}"] = skeleton.iliac_spine(spec, sign)
        landmarks[f"pelvi-ureteric junction, {side}"] = _point(line.points_mm[0])
        landmarks[f"bladder hiatus, {side}"] = _point(line.points_mm[-1])
        landmarks[f"lower pole of kidney, {side}"] = pole
    return PhantomTruth(
        spec, spec.left, spec.right, landmarks, wall, _obstacles(spec), kidneys, pivots
    )


def _point(row: np.ndarray[tuple[int], np.dtype[np.float64]]) -> Point:
    x, y, z = (float(value) for value in row)
    return x, y, z


def _front_y(body: Barrel) -> float:
    """Return the least y of a vertebral body that leans in the sagittal plane."""
    (_, c, s) = body.axes[1]
    return body.centre_mm[1] - body.radii_mm[1] * abs(c) - body.half_height_mm * abs(s)


def _obstacles(spec: AnatomySpec) -> tuple[Capsule, ...]:
    """Return capsules whose fronts lie on the vertebral bodies and around the great arteries."""
    found = []
    bodies = [v.body for v in skeleton.vertebrae(spec) if v.name in {"L1", "L2", "L3", "L4", "L5"}]
    bodies += [v.body for v in skeleton.vertebrae(spec) if v.name == "S1"]
    for above, below in pairwise(bodies):
        # An ellipse lies within the circle that fits it at the end of its lesser axis.
        radius = max(body.radii_mm[0] ** 2 / body.radii_mm[1] for body in (above, below))
        start, end = ((0.0, _front_y(body) + radius, body.centre_mm[2]) for body in (above, below))
        found.append(Capsule("spine", start, end, radius))
    for name, vessel in vessels.arteries(spec).items():
        if name.startswith("renal"):
            continue
        line = vessel.centreline
        count = max(round(line.length_mm / (OBSTACLE_PIECE_MM * spec.scale)), 1)
        stations = np.linspace(0.0, line.length_mm, count + 1)
        points = [_point(point) for point in line.point_at(stations)]
        radii = vessel.lumen_at(stations) / 2
        found += [
            Capsule(name, points[i], points[i + 1], float(max(radii[i], radii[i + 1])))
            for i in range(count)
        ]
    return tuple(found)
