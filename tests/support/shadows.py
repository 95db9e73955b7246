"""Curves thrown on to a detector by a point source, written from similar triangles alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thalweg.record.radiograph import Radiograph

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Beam:
    """A source above the origin looking along +z; the detector is the plane z = `detector_mm`."""

    detector_mm: float = 1100.0
    foot_px: tuple[float, float] = (1199.5, 1499.5)
    spacing_mm: tuple[float, float] = (0.2, 0.15)
    shape: tuple[int, int] = (3000, 2400)

    def pixels(self, points_mm: Floats) -> list[tuple[float, float]]:
        """Return column and row of the shadow of points (x, y, z)."""
        on_detector = points_mm[:, :2] * (self.detector_mm / points_mm[:, 2:])
        pixel = on_detector / np.array([self.spacing_mm[1], self.spacing_mm[0]])
        return [(float(c + self.foot_px[0]), float(r + self.foot_px[1])) for c, r in pixel]

    def radiograph(self, **changes: object) -> Radiograph:
        """Return an empty picture taken so."""
        stated: dict[str, object] = {
            "detector_spacing_mm": self.spacing_mm,
            "source_detector_mm": self.detector_mm,
            "shape_ratio": self.spacing_mm[0] / self.spacing_mm[1],
            "acquired": "2026-03-02",
        }
        blank = np.zeros(self.shape, dtype=np.float32)
        return Radiograph(blank, **(stated | changes))  # type: ignore[arg-type]


def run_of(points: Floats) -> float:
    """Return the length of a polygon."""
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
