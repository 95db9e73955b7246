"""Cross-sections of a volume square to a course, in polar coordinates, and their centres."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

if TYPE_CHECKING:
    from thalweg.measure.corridor import Obstacles
    from thalweg.record.image import ImageVolume

__all__ = ["RING_MM", "Sections", "cut_sections"]

Floats = NDArray[np.float64]

RINGS = 34
RING_MM = 0.35
"""Rings of the polar grid; they reach 11.9 mm, a ureter 23 mm wide."""

ANGLES = 24

CORE_MM = 0.7
"""Radius of the disc whose mean is called the core brightness."""

SEEK_MM = 3.5
"""How far from the presumed centre contrast is looked for."""

SKIRT_MM = 2.8
"""How far beyond half height the blur of an edge is followed outward."""

TISSUE_HU = 40.0
"""Soft tissue such as the ureter's wall, unenhanced to mildly enhanced (common practice)."""


@dataclass(frozen=True, eq=False)
class Sections:
    """Brightness on polar grids in planes square to a course.

    Parameters
    ----------
    values : ndarray of float32, shape (n, ANGLES, RINGS)
        Hounsfield units; ring j lies at ``(j + 1/2) RING_MM``.
    normals : tuple of two ndarrays, shape (n, 3)
        Directions of angle 0 and of a quarter turn.
    """

    values: NDArray[np.float32]
    normals: tuple[Floats, Floats]

    @cached_property
    def radii_mm(self) -> Floats:
        """Radius of each ring."""
        return (np.arange(RINGS, dtype=np.float64) + 0.5) * RING_MM

    @cached_property
    def directions(self) -> Floats:
        """Cosine and sine of each angle, shape (ANGLES, 2)."""
        angle = np.arange(ANGLES) * 2 * np.pi / ANGLES
        return np.stack([np.cos(angle), np.sin(angle)], axis=1)

    @cached_property
    def area_mm2(self) -> Floats:
        """Area that one sample of each ring stands for."""
        return self.radii_mm * RING_MM * (2 * np.pi / ANGLES)

    @cached_property
    def smooth(self) -> NDArray[np.float32]:
        """The values averaged 1-2-1 along each ray and round each ring."""
        along = ndimage.convolve1d(self.values, [0.25, 0.5, 0.25], axis=2, mode="nearest")
        return np.asarray(ndimage.convolve1d(along, [0.25, 0.5, 0.25], axis=1, mode="wrap"))

    @cached_property
    def core_hu(self) -> Floats:
        """Mean brightness within `CORE_MM` of the centre, shape (n,)."""
        rings = round(CORE_MM / RING_MM)
        share = self.area_mm2[:rings] / self.area_mm2[:rings].sum() / ANGLES
        return np.asarray((self.values[:, :, :rings] @ share).sum(axis=1), dtype=np.float64)

    @cached_property
    def peak_hu(self) -> Floats:
        """Greatest smoothed brightness within `SEEK_MM`, shape (n,)."""
        rings = round(SEEK_MM / RING_MM)
        return np.asarray(self.smooth[:, :, :rings].max(axis=(1, 2)), dtype=np.float64)

    def sought(self) -> Floats:
        """Return the way, shape (n, 3), to the centre of what is bright within `SEEK_MM`."""
        rings = round(SEEK_MM / RING_MM)
        near = self.smooth[:, :, :rings]
        floor = TISSUE_HU + 0.4 * np.maximum(self.peak_hu - TISSUE_HU, 1.0)
        weight = np.maximum(near - floor[:, None, None], 0.0) * self.area_mm2[:rings]
        return self._moved(weight, self.radii_mm[:rings])

    @cached_property
    def ends(self) -> NDArray[np.int64]:
        """Ring at which each ray leaves the bright object round the centre, shape (n, ANGLES).

        A ray falls to half the core's height, then down the blurred skirt to tissue or to the
        first rise, `SKIRT_MM` at most. `RINGS`: it never falls to half height.
        """
        half = TISSUE_HU + 0.5 * np.maximum(self.core_hu - TISSUE_HU, 1.0)
        ring = np.arange(RINGS)
        below = self.smooth < half[:, None, None]
        edge = np.where(below.any(axis=2), below.argmax(axis=2), RINGS)
        rising = np.zeros_like(below)
        rising[:, :, :-1] = self.smooth[:, :, 1:] > self.smooth[:, :, :-1]
        stop = rising | (self.smooth <= TISSUE_HU)
        stop |= ring >= edge[:, :, None] + round(SKIRT_MM / RING_MM)
        stop &= ring >= edge[:, :, None]
        return np.where(stop.any(axis=2), stop.argmax(axis=2), RINGS)

    @cached_property
    def edge_mm(self) -> Floats:
        """Median radius at half height, shape (n,); infinite where most rays never fall to it."""
        half = TISSUE_HU + 0.5 * np.maximum(self.core_hu - TISSUE_HU, 1.0)
        below = self.smooth < half[:, None, None]
        edge = np.where(below.any(axis=2), self.radii_mm[below.argmax(axis=2)], np.inf)
        return np.asarray(np.median(edge, axis=1))

    @cached_property
    def inside(self) -> NDArray[np.bool_]:
        """Say which samples belong to the bright object round the centre or to its skirt."""
        return np.asarray(np.arange(RINGS) < self.ends[:, :, None])

    def centred(self) -> Floats:
        """Return the way, shape (n, 3), to the centroid of the bright object round the centre."""
        weight = np.maximum(self.values - TISSUE_HU, 0.0) * self.inside * self.area_mm2
        return self._moved(weight, self.radii_mm)

    def _moved(self, weight: Floats, radii_mm: Floats) -> Floats:
        total = weight.sum(axis=(1, 2))
        moment = np.einsum("naj,j,ad->nd", weight, radii_mm, self.directions, optimize=True)
        offset = moment / np.maximum(total, 1e-9)[:, None]
        one, two = self.normals
        return np.asarray(offset[:, :1] * one + offset[:, 1:] * two)


def cut_sections(
    volume: ImageVolume,
    points_mm: Floats,
    one: Floats,
    two: Floats,
    obstacles: Obstacles | None = None,
) -> Sections:
    """Sample the volume round each point in the plane of two unit normals.

    Values between voxels are interpolated linearly; beyond the image the rim's value goes on.
    Samples within `obstacles` are given the brightness of tissue, so that nothing centres on them.
    """
    empty = Sections(np.empty((0, ANGLES, RINGS), np.float32), (one, two))
    ways = empty.directions @ np.stack([one, two], axis=1)
    centres = volume.index_of(points_mm)
    steps = ways @ volume.from_lps[:3, :3].T
    index = centres.T[:, :, None, None] + steps.transpose(2, 0, 1)[..., None] * empty.radii_mm
    values = ndimage.map_coordinates(
        volume.values, index, output=np.float32, order=1, mode="nearest"
    )
    if obstacles is not None:
        values[obstacles.at(index)] = TISSUE_HU
    return Sections(values, (one, two))
