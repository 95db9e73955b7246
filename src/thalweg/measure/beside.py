"""What bright things lie beside a gap, where they may be taken for the ureter."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from thalweg.measure.section import cut_sections
from thalweg.measure.spline import transported_frames
from thalweg.measure.stretches import runs

if TYPE_CHECKING:
    from thalweg.measure.course import Gap
    from thalweg.record.image import ImageVolume

__all__ = ["bright_beside"]

Floats = NDArray[np.float64]

CLOSE_MM = 6.0
"""Bright things farther than this from a bridge do not draw it."""

LEAST_MM = 8.0
"""Shorter than this along the gap a bright thing is a crossing, a stone or a clip."""

END_MM = 4.0
"""At its ends a gap lies beside the ureter's own contrast."""

BRIGHT_HU = 190.0
"""A little below what the way is drawn by: the blur of a fine vessel."""


def bright_beside(
    volume: ImageVolume, points_mm: Floats, station_mm: Floats, gaps: tuple[Gap, ...]
) -> list[tuple[float, float, float]]:
    """Return stretches of gaps that something bright runs along.

    Parameters
    ----------
    volume : ImageVolume
    points_mm : ndarray, shape (n, 3)
    station_mm : ndarray, shape (n,)
    gaps : tuple of Gap

    Returns
    -------
    list of (from_mm, to_mm, least distance in mm)
    """
    found = []
    one, two = transported_frames(points_mm)
    for gap in gaps:
        part = (station_mm > gap.from_mm + END_MM) & (station_mm < gap.to_mm - END_MM)
        if gap.length_mm < LEAST_MM + 2 * END_MM:
            continue
        sections = cut_sections(volume, points_mm[part], one[part], two[part])
        bright = (sections.smooth > BRIGHT_HU).any(axis=1)
        near = bright & (sections.radii_mm <= CLOSE_MM)
        close = ndimage.binary_closing(near.any(axis=1), np.ones(3, bool))
        at = station_mm[part]
        for first, stop in runs(close):
            if at[stop - 1] - at[first] >= LEAST_MM:
                ring = int(near[first:stop].any(axis=0).argmax())
                found.append(
                    (float(at[first]), float(at[stop - 1]), float(sections.radii_mm[ring]))
                )
    return found
