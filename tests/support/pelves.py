"""Ellipsoidal renal pelves of contrast inside a kidney, with a ureter and calyces' necks.

Each voxel's share of contrast is summed over small cells; nothing is shared with what measures it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage
from scipy.spatial.transform import Rotation

from thalweg.record.image import ImageVolume

Array = NDArray[np.float64]

KIDNEY_HU, FAT_HU = 160.0, -90.0
CELLS = 3
NECKS = ((14.0, 3.0, 16.0), (15.0, 2.0, 0.0), (14.0, 4.0, -14.0))


@dataclass(frozen=True)
class Pelvis:
    """An ellipsoid about the origin with half axes in mm, turned by degrees about x, y, z."""

    half_mm: tuple[float, float, float]
    degrees: tuple[float, float, float] = (0.0, 0.0, 0.0)
    necks: bool = True
    ureter_mm: float = 2.0
    kidney: bool = True

    @property
    def form(self) -> Array:
        """Matrix A of the ellipsoid x' A x = 1."""
        turn = Rotation.from_euler("xyz", self.degrees, degrees=True).as_matrix()
        return np.asarray(turn @ np.diag(1 / np.square(self.half_mm)) @ turn.T)

    @property
    def ap_mm(self) -> float:
        """Longest line along y: 2 / sqrt(A_yy), as it runs through the centre."""
        return float(2 / np.sqrt(self.form[1, 1]))

    @property
    def short_mm(self) -> float:
        """Short axis of the transverse section through the centre."""
        return float(2 / np.sqrt(np.linalg.eigvalsh(self.form[:2, :2]).max()))

    def course(self) -> Array:
        """Return the ureter's course from the centre: out below and inward."""
        s = np.linspace(0.0, 70.0, 140)
        return np.stack([-3.0 * np.sin(s / 25.0), 2.0 * np.sin(s / 30.0), -s], axis=1)


def _fill(
    hu: NDArray[np.float32], axes: list[Array], a: Array, b: Array, radius: float, value: float
) -> None:
    """Fill a rod with round ends, looking only at its own box."""
    low, high = np.minimum(a, b)[::-1] - radius, np.maximum(a, b)[::-1] + radius
    box = tuple(
        slice(*np.searchsorted(axis, (one, two)))
        for axis, one, two in zip(axes, low, high, strict=True)
    )
    own = [axis[part] for axis, part in zip(axes, box, strict=True)]
    z, y, x = np.meshgrid(*own, indexing="ij")
    away = np.stack([x, y, z], axis=-1) - a
    along = np.clip(away @ (b - a) / ((b - a) @ (b - a)), 0, 1)
    away -= along[..., None] * (b - a)
    hu[box][(away**2).sum(axis=-1) < radius**2] = value


def volume_of(
    pelvis: Pelvis,
    spacing_mm: tuple[float, float, float] = (1.0, 0.72, 0.72),
    *,
    urine_hu: float = 420.0,
    noise_hu: float = 15.0,
    blur_mm: float = 0.35,
    seed: int = 0,
    size_mm: float = 76.0,
    shift_mm: ArrayLike = (0.1, 0.23, -0.17),
) -> ImageVolume:
    """Render a pelvis into a volume centred a little beside it, so that voxels cut it unevenly."""
    spacing = np.asarray(spacing_mm)
    shape = tuple(int(n) for n in np.ceil(size_mm / spacing))
    low = -(np.array(shape) - 1) / 2 * spacing + np.asarray(shift_mm)[::-1]
    fine = [np.arange(n * CELLS) for n in shape]
    axes = [low[i] + (fine[i] - (CELLS - 1) / 2) / CELLS * spacing[i] for i in range(3)]
    z, y, x = (axis.astype(np.float32) for axis in np.ix_(*axes))
    hu = np.full(tuple(len(axis) for axis in axes), FAT_HU, np.float32)
    if pelvis.kidney:
        hu[(x / 27) ** 2 + (y / 25) ** 2 + (z / 38) ** 2 < 1] = KIDNEY_HU
    a = pelvis.form
    inside = a[0, 0] * x**2 + a[1, 1] * y**2 + a[2, 2] * z**2 + 2 * a[0, 1] * x * y < (
        1 - 2 * (a[0, 2] * x + a[1, 2] * y) * z
    )
    hu[inside] = urine_hu
    tubes = [((0.0, 0.0, 0.0), end, 1.6) for end in NECKS] if pelvis.necks else []
    course = pelvis.course()
    tubes += [(a, b, pelvis.ureter_mm) for a, b in zip(course[:-1:6], course[6::6], strict=False)]
    for start, end, radius in tubes:
        _fill(hu, axes, np.asarray(start), np.asarray(end), radius, urine_hu)
    blocks = hu.reshape(shape[0], CELLS, shape[1], CELLS, shape[2], CELLS)
    values = blocks.mean(axis=(1, 3, 5)).astype(float)
    values = ndimage.gaussian_filter(values, [0.0, blur_mm / spacing[1], blur_mm / spacing[2]])
    values += np.random.default_rng(seed).normal(0.0, noise_hu, shape)
    to_lps = np.eye(4)
    to_lps[:3, :3] = np.array([[0.0, 0, 1], [0, 1, 0], [1, 0, 0]]) * spacing
    to_lps[:3, 3] = low[::-1]
    whole = np.clip(np.rint(values), -1024, 3071).astype(np.int16)
    return ImageVolume(values=whole, to_lps=to_lps, phantom=True)
