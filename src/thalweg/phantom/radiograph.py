"""A radiograph of artificial ureters, thrown by a point source in exact perspective.

The source stands in front of the person, the detector behind; the picture is seen from before the
person. What the rays lose is summed along each: an elliptic trunk and spine in closed form, tubes
of contrast as circles about their projected centrelines, a ruler with a mark every 10 mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from thalweg.record.radiograph import Radiograph

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thalweg.phantom.tube import Tube

__all__ = ["Projector", "Ruler", "projected"]

Floats = NDArray[np.float64]

SOFT_PER_MM, BONE_PER_MM, CONTRAST_PER_MM, STEEL_PER_MM = 0.019, 0.022, 0.16, 1.2
"""Attenuation per mm at about 70 kV: water, what bone adds, what contrast and steel add (from
memory; only the look depends on them)."""

TRUNK_MM: Final = (160.0, 0.0, 105.0)
SPINE_MM: Final = (22.0, 38.0, 20.0)
"""Half width, y of the middle, half depth of an elliptic cylinder along z."""

PHOTONS: Final = 1.5e5
"""Per pixel where nothing lies in the beam; sets the noise."""

WHITEST: Final = 4095


@dataclass(frozen=True)
class Projector:
    """A point source before the person and a detector square to y behind.

    Parameters
    ----------
    source_mm : (x, y, z)
        LPS.
    source_detector_mm : float
    spacing_mm : (between rows, between columns)
        At the detector.
    shape : (rows, columns)
    foot_px : (column, row)
        Where the perpendicular from the source meets the picture.
    """

    source_mm: tuple[float, float, float]
    source_detector_mm: float
    spacing_mm: tuple[float, float]
    shape: tuple[int, int]
    foot_px: tuple[float, float]

    def depth_of(self, points_mm: ArrayLike) -> Floats:
        """Return distances from the source along y, shape (n,)."""
        points = np.asarray(points_mm, dtype=np.float64)
        return np.asarray(points[..., 1] - self.source_mm[1], dtype=np.float64)

    def pixel_of(self, points_mm: ArrayLike) -> Floats:
        """Return column and row of the shadows of LPS points, shape (n, 2)."""
        points = np.asarray(points_mm, dtype=np.float64)
        larger = self.source_detector_mm / self.depth_of(points)
        across = (points[..., 0] - self.source_mm[0]) * larger / self.spacing_mm[1]
        down = -(points[..., 2] - self.source_mm[2]) * larger / self.spacing_mm[0]
        places = [self.foot_px[0] + across, self.foot_px[1] + down]
        return np.asarray(np.stack(places, axis=-1), dtype=np.float64)


@dataclass(frozen=True)
class Ruler:
    """A radiopaque ruler along z with a mark every 10 mm; LPS millimetres."""

    top_mm: tuple[float, float, float]
    length_mm: float

    def marks_mm(self) -> Floats:
        """Return the middles of its marks, shape (n, 3)."""
        fall = np.arange(0.0, self.length_mm + 0.5, 10.0)
        middles = np.asarray(self.top_mm) - fall[:, None] * np.array([0.0, 0.0, 1.0])
        return np.asarray(middles, dtype=np.float64)


def projected(
    tubes: Sequence[Tube], projector: Projector, *, ruler: Ruler | None = None, seed: int = 20
) -> Radiograph:
    """Return a radiograph of tubes, with the detector's spacing and distance stated.

    Parameters
    ----------
    tubes : sequence of Tube
        Ureters full of contrast, in LPS mm.
    projector : Projector
    ruler : Ruler, optional
    seed : int
        Of the noise.
    """
    slope = _slopes(projector)
    loss = SOFT_PER_MM * _chord(projector, slope, TRUNK_MM)
    loss += BONE_PER_MM * _chord(projector, slope, SPINE_MM)
    for tube in tubes:
        line = tube.centreline
        radius = tube.lumen_at(line.station_mm) / 2
        loss += CONTRAST_PER_MM * _through(projector, line.points_mm, radius)
    if ruler is not None:
        marks = ruler.marks_mm()
        half = np.linspace(-3.0, 3.0, 25)[:, None] * np.array([1.0, 0.0, 0.0])
        bars = (marks[:, None, :] + half).reshape(-1, 3)
        loss += STEEL_PER_MM * _through(projector, bars, np.full(len(bars), 0.6))
    counts = np.random.default_rng(seed).poisson(PHOTONS * np.exp(-loss))
    dense = -np.log(np.maximum(counts, 1) / PHOTONS)
    low, high = np.percentile(dense, [0.5, 99.9])
    grey = np.rint(((dense - low) / (high - low)).clip(0, 1) * WHITEST)
    return Radiograph(
        grey.astype(np.float32),
        modality="DX",
        detector_spacing_mm=projector.spacing_mm,
        source_detector_mm=projector.source_detector_mm,
        shape_ratio=projector.spacing_mm[0] / projector.spacing_mm[1],
        phantom=True,
    )


def _slopes(projector: Projector) -> tuple[Floats, Floats]:
    """Return how far rays go in x and z per mm of y, one row and one column of the picture."""
    rows, columns = projector.shape
    across = (np.arange(columns) - projector.foot_px[0]) * projector.spacing_mm[1]
    down = (np.arange(rows) - projector.foot_px[1]) * projector.spacing_mm[0]
    far = projector.source_detector_mm
    return np.asarray(across / far), np.asarray(down / far)


def _chord(
    projector: Projector, slope: tuple[Floats, Floats], body: tuple[float, float, float]
) -> Floats:
    """Return what each ray runs through an elliptic cylinder about a line along z, mm."""
    across, down = slope
    half_width, middle, half_depth = body
    x, y = projector.source_mm[0] / half_width, (projector.source_mm[1] - middle) / half_depth
    dx, dy = across / half_width, 1 / half_depth
    square, mixed, rest = dx**2 + dy**2, x * dx + y * dy, x**2 + y**2 - 1
    inside = np.sqrt(np.maximum(mixed**2 - square * rest, 0.0)) / square
    return np.asarray(2 * inside * np.sqrt(1 + across**2 + down[:, None] ** 2))


def _through(projector: Projector, points_mm: Floats, radius_mm: Floats) -> Floats:
    """Return what each ray runs through round rods square to it, mm."""
    rows, columns = projector.shape
    pixel = np.asarray(projector.spacing_mm[::-1])
    larger = projector.source_detector_mm / projector.depth_of(points_mm)
    shadow = projector.pixel_of(points_mm) * pixel
    widest = float((radius_mm * larger).max())
    row, column = np.mgrid[0:rows, 0:columns]
    places = np.stack([column, row], axis=-1) * pixel
    low, high = shadow.min(axis=0) - widest, shadow.max(axis=0) + widest
    near = ((places >= low) & (places <= high)).all(axis=-1)
    aside, index = cKDTree(shadow).query(places[near], distance_upper_bound=widest)
    index = np.minimum(index, len(shadow) - 1)
    aside = np.where(np.isfinite(aside), aside, widest) / larger[index]
    found = np.zeros(projector.shape)
    found[near] = 2 * np.sqrt(np.maximum(radius_mm[index] ** 2 - aside**2, 0.0))
    return found
