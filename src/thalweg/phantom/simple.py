"""Small phantoms for checks: tubes in one uniform tissue, in a volume cropped to them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from thalweg.phantom.grid import Grid, grid_over
from thalweg.phantom.paint import TubeTissue, paint_tube
from thalweg.phantom.scanner import Scanner, scan
from thalweg.phantom.tube import Gap, Narrowing, Tube

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thalweg.phantom.curves import Curve
    from thalweg.record.image import ImageVolume

__all__ = ["TubePhantom", "simple_tube", "tubes_in_fat"]

FAT_HU = -100.0


@dataclass(frozen=True, eq=False)
class TubePhantom:
    """An image of tubes and the truth about them."""

    volume: ImageVolume
    tubes: tuple[Tube, ...]
    tissue: TubeTissue
    background_hu: float

    @property
    def tube(self) -> Tube:
        """The first tube, which is the only one of `simple_tube`."""
        return self.tubes[0]


def simple_tube(
    curve: Curve,
    calibre_mm: float | tuple[tuple[float, float], ...] = 4.0,
    *,
    spacing_mm: tuple[float, float, float] = (1.0, 0.75, 0.75),
    gaps: tuple[tuple[float, float], ...] = (),
    narrowings: tuple[Narrowing, ...] = (),
    wall_mm: float = 0.0,
    taper_mm: float = 0.0,
    lumen_hu: float = 400.0,
    wall_hu: float = 40.0,
    background_hu: float = FAT_HU,
    noise_hu: float = 0.0,
    psf_mm: float = 0.0,
    seed: int = 20,
    margin_mm: float = 8.0,
    oblique_deg: tuple[float, float, float] | None = None,
) -> TubePhantom:
    """Return one tube along a curve in uniform tissue, by default a clean one in fat.

    Parameters
    ----------
    curve : Curve
    calibre_mm : float or tuple of (station_mm, diameter_mm)
    spacing_mm : (plane, row, column)
    gaps : tuple of (from_mm, to_mm)
        Stations without contrast.
    narrowings : tuple of Narrowing
    wall_mm, taper_mm
        As in `Tube`.
    lumen_hu, wall_hu, background_hu, noise_hu : float
        Hounsfield units.
    psf_mm, seed
        As in `Scanner`.
    margin_mm : float
        Tissue kept around the tube on every side.
    oblique_deg : (x, y, z), optional
        Turns of the grid about the LPS axes; the tube stays where it is.

    Returns
    -------
    TubePhantom
    """
    tube = Tube(
        curve=curve,
        calibre_mm=calibre_mm,
        gaps=tuple(Gap(*gap) for gap in gaps),
        narrowings=narrowings,
        wall_mm=wall_mm,
        taper_mm=taper_mm,
    )
    return tubes_in_fat(
        [tube],
        spacing_mm=spacing_mm,
        tissue=TubeTissue(lumen_hu, wall_hu),
        background_hu=background_hu,
        scanner=Scanner(psf_mm=psf_mm, noise_hu=noise_hu, seed=seed),
        margin_mm=margin_mm,
        oblique_deg=oblique_deg,
    )


def tubes_in_fat(
    tubes: Sequence[Tube],
    *,
    spacing_mm: tuple[float, float, float],
    tissue: TubeTissue,
    background_hu: float = FAT_HU,
    scanner: Scanner,
    margin_mm: float = 8.0,
    oblique_deg: tuple[float, float, float] | None = None,
) -> TubePhantom:
    """Return several tubes, later ones over earlier ones, in a volume cropped to them."""
    grid = _grid_around(tubes, spacing_mm, margin_mm, oblique_deg)
    values = np.full(grid.shape, background_hu, dtype=np.float32)
    for tube in tubes:
        paint_tube(values, grid, tube, tissue)
    return TubePhantom(scan(values, grid, scanner), tuple(tubes), tissue, background_hu)


def _grid_around(
    tubes: Sequence[Tube],
    spacing_mm: tuple[float, float, float],
    margin_mm: float,
    oblique_deg: tuple[float, float, float] | None,
) -> Grid:
    """Return a grid that keeps `margin_mm` around every tube, even when turned."""
    points = np.concatenate([tube.centreline.points_mm for tube in tubes])
    reach = max(float(tube.outer_at(tube.centreline.station_mm).max()) / 2 for tube in tubes)
    pad = reach + margin_mm
    if oblique_deg is None:
        return grid_over(points.min(axis=0) - pad, points.max(axis=0) + pad, spacing_mm)
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    turned = grid_over(middle - 1, middle + 1, spacing_mm, oblique_deg)
    axes = turned.to_lps[:3, :3] / turned.spacing_mm
    local = (points - middle) @ axes
    half = (np.abs(local).max(axis=0) + pad)[::-1]
    return grid_over(middle - half, middle + half, spacing_mm, oblique_deg)
