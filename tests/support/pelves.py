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


def _capsule(points: Array, a: ArrayLike, b: ArrayLike, radius: float) -> NDArray[np.bool_]:
    a, b = np.asarray(a, float), np.asarray(b, float)
    along = np.clip((points - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
    away = points - a - along[..., None] * (b - a)
    return np.asarray((away**2).sum(axis=-1) < radius**2)


def volume_of(
    pelvis: Pelvis,
    spacing_mm: tuple[float, float, float] = (1.0, 0.72, 0.72),
    *,
    urine_hu: float = 420.0,
    noise_hu: float = 15.0,
    blur_mm: float = 0.35,
    seed: int = 0,
    size_mm: float = 84.0,
    shift_mm: ArrayLike = (0.1, 0.23, -0.17),
) -> ImageVolume:
    """Render a pelvis into a volume centred a little beside it, so that voxels cut it unevenly."""
    spacing = np.asarray(spacing_mm)
    shape = tuple(int(n) for n in np.ceil(size_mm / spacing))
    low = -(np.array(shape) - 1) / 2 * spacing + np.asarray(shift_mm)[::-1]
    fine = [np.arange(n * CELLS) for n in shape]
    axes = [
        low[i] + (fine[i] - (CELLS - 1) / 2) / CELLS * spacing[i] for i in range(3)
    ]
    hu = np.empty(tuple(len(axis) for axis in axes), np.float32)
    course = pelvis.course()
    for at in range(0, len(axes[0]), 12):
        z, y, x = np.meshgrid(axes[0][at : at + 12], axes[1], axes[2], indexing="ij")
        points = np.stack([x, y, z], axis=-1)
        part = np.full(x.shape, FAT_HU)
        if pelvis.kidney:
            part[(x / 27) ** 2 + (y / 25) ** 2 + (z / 38) ** 2 < 1] = KIDNEY_HU
        inside = np.einsum("...i,ij,...j->...", points, pelvis.form, points) < 1
        if pelvis.necks:
            for end in ((14, 3, 16), (15, 2, 0), (14, 4, -14)):
                inside |= _capsule(points, (0, 0, 0), end, 1.6)
        for a, b in zip(course[:-1:6], course[6::6], strict=False):
            if a[2] > axes[0][at : at + 12].max() + 6 or b[2] < axes[0][at] - 6:
                continue
            inside |= _capsule(points, a, b, pelvis.ureter_mm)
        part[inside] = urine_hu
        hu[at : at + 12] = part
    blocks = hu.reshape(shape[0], CELLS, shape[1], CELLS, shape[2], CELLS)
    values = blocks.mean(axis=(1, 3, 5)).astype(float)
    values = ndimage.gaussian_filter(values, [0.0, blur_mm / spacing[1], blur_mm / spacing[2]])
    values += np.random.default_rng(seed).normal(0.0, noise_hu, shape)
    to_lps = np.eye(4)
    to_lps[:3, :3] = np.array([[0.0, 0, 1], [0, 1, 0], [1, 0, 0]]) * spacing
    to_lps[:3, 3] = low[::-1]
    whole = np.clip(np.rint(values), -1024, 3071).astype(np.int16)
    return ImageVolume(values=whole, to_lps=to_lps, phantom=True)
