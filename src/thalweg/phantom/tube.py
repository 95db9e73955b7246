"""An artificial ureter: a centreline with a calibre, a wall, gaps and narrowings, all known."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator

from thalweg.phantom.centreline import Centreline, centreline_of
from thalweg.phantom.solids import Rod

if TYPE_CHECKING:
    from thalweg.phantom.curves import Curve

__all__ = ["Gap", "Narrowing", "Tube"]

Floats = NDArray[np.float64]

TABLE_STEP_MM = 0.02
"""Step of the table of radii that drawing looks up; far below any sub-voxel."""


@dataclass(frozen=True)
class Gap:
    """A stretch without contrast, such as a wave of peristalsis leaves; stations in mm."""

    from_mm: float
    to_mm: float


@dataclass(frozen=True)
class Narrowing:
    """A stretch held at one small calibre, with shoulders outside it; stations in mm."""

    from_mm: float
    to_mm: float
    least_diameter_mm: float
    shoulder_mm: float = 4.0


@dataclass(frozen=True)
class Tube:
    """A ureter as it was drawn: the truth that a measurement of its image is held against.

    Parameters
    ----------
    curve : Curve
        Centreline from kidney to bladder in LPS mm.
    calibre_mm : float or tuple of (station_mm, diameter_mm)
        Inner diameter when filled; between the stations it runs monotonically and smoothly.
    gaps : tuple of Gap
        Where the lumen is shut and holds no contrast.
    narrowings : tuple of Narrowing
        Where the calibre is held down, filled or not.
    wall_mm : float
        Thickness of the wall when filled; its cross-section is kept when the lumen shuts, so that
        a gap shows as a soft cord. 0 for a bare column of contrast.
    taper_mm : float
        Length over which the lumen closes towards a gap, outside the gap. 0 for a square end.
    """

    curve: Curve
    calibre_mm: float | tuple[tuple[float, float], ...]
    gaps: tuple[Gap, ...] = ()
    narrowings: tuple[Narrowing, ...] = ()
    wall_mm: float = 0.0
    taper_mm: float = 0.0

    def __post_init__(self) -> None:
        stretches: tuple[Gap | Narrowing, ...] = (*self.gaps, *self.narrowings)
        for stretch in stretches:
            if not 0 <= stretch.from_mm < stretch.to_mm <= self.length_mm:
                msg = f"{stretch} does not lie within 0 to {self.length_mm:.1f} mm"
                raise ValueError(msg)

    @cached_property
    def centreline(self) -> Centreline:
        """Dense points, stations and bend radii of the curve."""
        return centreline_of(self.curve)

    @property
    def length_mm(self) -> float:
        """Arc length of the centreline."""
        return self.centreline.length_mm

    def calibre_at(self, station_mm: ArrayLike) -> Floats:
        """Return the inner diameter in mm at stations, as if filled everywhere."""
        station = np.asarray(station_mm, dtype=np.float64)
        diameter = self._free_calibre(station)
        for narrow in self.narrowings:
            outside = _outside(station, narrow.from_mm, narrow.to_mm)
            share = np.clip(outside / max(narrow.shoulder_mm, 1e-9), 0.0, 1.0)
            opening = 0.5 - 0.5 * np.cos(np.pi * share)
            held = narrow.least_diameter_mm + (diameter - narrow.least_diameter_mm) * opening
            diameter = np.minimum(diameter, held)
        return diameter

    def lumen_at(self, station_mm: ArrayLike) -> Floats:
        """Return the diameter in mm of the column of contrast at stations; 0 within gaps."""
        station = np.asarray(station_mm, dtype=np.float64)
        diameter = self.calibre_at(station)
        for gap in self.gaps:
            outside = _outside(station, gap.from_mm, gap.to_mm)
            # A square root keeps the closing end round, like the tail of a bolus.
            ramp = np.sqrt(np.clip(outside / max(self.taper_mm, 1e-9), 0.0, 1.0))
            diameter = diameter * np.where(outside <= 0, 0.0, ramp)
        return diameter

    def outer_at(self, station_mm: ArrayLike) -> Floats:
        """Return the outer diameter in mm at stations, the wall's cross-section being kept."""
        calibre = self.calibre_at(station_mm)
        wall_section = (calibre + 2 * self.wall_mm) ** 2 - calibre**2
        return np.sqrt(self.lumen_at(station_mm) ** 2 + wall_section)

    def rods(self, step_mm: float, *, wall: bool = False) -> tuple[Rod, ...]:
        """Return the filled lumen, or the whole tube with its wall, as a chain of rods."""
        count = max(round(self.length_mm / step_mm), 1)
        station = np.linspace(0.0, self.length_mm, count + 1)
        radius = (self.calibre_at(station) / 2 + (self.wall_mm if wall else 0.0)).tolist()
        points = [(x, y, z) for x, y, z in self.centreline.point_at(station).tolist()]
        return tuple(Rod(points[i], points[i + 1], radius[i], radius[i + 1]) for i in range(count))

    def radii_near(self, station_mm: Floats) -> tuple[Floats, Floats]:
        """Return lumen and outer radius in mm at the nearest of closely tabled stations.

        Beyond the ends they stay as they are there. For drawing, where millions are asked for.
        """
        lumen, outer = self._radius_table
        index = np.rint(station_mm * (len(lumen) - 1) / self.length_mm).astype(np.intp)
        index = index.clip(0, len(lumen) - 1)
        return lumen[index], outer[index]

    @cached_property
    def _radius_table(self) -> tuple[Floats, Floats]:
        count = int(np.ceil(self.length_mm / TABLE_STEP_MM)) + 1
        station = np.linspace(0.0, self.length_mm, count)
        return self.lumen_at(station) / 2, self.outer_at(station) / 2

    def lumen_volume_mm3(self) -> float:
        """Return the volume of contrast in mm³: the integral of its cross-section (Pappus)."""
        station = np.linspace(0.0, self.length_mm, 200_001)
        return float(np.trapezoid(np.pi / 4 * self.lumen_at(station) ** 2, station))

    def _free_calibre(self, station: Floats) -> Floats:
        if not isinstance(self.calibre_mm, tuple):
            return np.full_like(station, self.calibre_mm)
        knots = np.asarray(self.calibre_mm, dtype=np.float64)
        if len(knots) == 1:
            return np.full_like(station, knots[0, 1])
        within = station.clip(knots[0, 0], knots[-1, 0])
        return np.asarray(PchipInterpolator(knots[:, 0], knots[:, 1])(within))


def _outside(station: Floats, start: float, stop: float) -> Floats:
    """Return how far stations lie outside a stretch; negative within it."""
    return np.maximum(start - station, station - stop)
