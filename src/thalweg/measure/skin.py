"""The body in a CT volume and the front of its skin."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from thalweg.errors import ImageError, InputError

if TYPE_CHECKING:
    from thalweg.record.image import ImageVolume

__all__ = ["BodyMask", "SkinSurface", "anterior_skin", "body_mask"]

Floats = NDArray[np.float64]

TISSUE_HU = -300.0
"""Body above, air, foam and most of the clothing below (fat is about -100 HU)."""

SURFACE_HU = -500.0
"""Half way between air (-1000 HU) and skin: where a blurred surface lies."""

COARSE_MM = 3.0
"""Every so many millimetres a voxel is looked at to find the body."""

OPENING_MM = 5.0
"""Sheets thinner than about twice this, such as a table top, are cut off the body."""

GRID_MM = 2.0
NORMAL_SCALE_MM = 6.0
"""Spacing of the surface's grid; standard deviation of the smoothing behind its normals."""

SEARCH_MM = 12.0


@dataclass(frozen=True, eq=False)
class BodyMask:
    """Where the body is, on a coarse grid.

    Parameters
    ----------
    inside : ndarray of bool, shape (planes, rows, columns)
        Body, gas within it included; table and loose objects left out.
    to_lps : ndarray, shape (4, 4)
        Index to LPS millimetres of this coarse grid.
    """

    inside: NDArray[np.bool_]
    to_lps: Floats

    def at(self, points_mm: Floats) -> NDArray[np.bool_]:
        """Say which LPS points, shape (..., 3), lie in the body; outside the image none does."""
        inverse = np.linalg.inv(self.to_lps)
        index = np.rint(points_mm @ inverse[:3, :3].T + inverse[:3, 3]).astype(np.int64)
        within = ((index >= 0) & (index < self.inside.shape)).all(axis=-1)
        nearest = np.where(within[..., None], index, 0)
        return np.asarray(self.inside[tuple(np.moveaxis(nearest, -1, 0))] & within)


@dataclass(frozen=True, eq=False)
class SkinSurface:
    """The front of the skin as a height over the coronal plane.

    Parameters
    ----------
    x_mm, z_mm : ndarray, shape (nx,) and (nz,)
        LPS millimetres of the grid.
    y_mm : ndarray, shape (nx, nz)
        LPS y of the skin; NaN beside the body and where the image cuts it off.
    smooth_y_mm : ndarray, shape (nx, nz)
        The same, smoothed, from which normals are taken.
    cautions : tuple of str
    """

    x_mm: Floats
    z_mm: Floats
    y_mm: Floats
    smooth_y_mm: Floats
    cautions: tuple[str, ...] = ()

    def point(self, x_mm: float, z_mm: float) -> Floats:
        """Return the skin's point, LPS mm, shape (3,), in front of (x, z).

        Raises
        ------
        InputError
            No skin is seen there.
        """
        y = self._interpolated(self.y_mm, x_mm, z_mm)
        if not np.isfinite(y):
            raise InputError(
                f"no front skin is seen at x {x_mm:.0f} mm, z {z_mm:.0f} mm",
                mend="choose a place on the front of the body within the image",
            )
        return np.array([x_mm, float(y), z_mm])

    def heights(self, x_mm: Floats, z_mm: Floats) -> Floats:
        """Return y of the skin over the raster of (x, z), shape (nx, nz), mm; NaN where unseen."""
        across, up = np.meshgrid(x_mm, z_mm, indexing="ij")
        return self._interpolated(self.y_mm, across, up)

    def normal(self, x_mm: float, z_mm: float) -> Floats:
        """Return the skin's outward unit normal, shape (3,), at (x, z).

        Raises
        ------
        InputError
            No skin is seen there.
        """
        self.point(x_mm, z_mm)
        step = GRID_MM
        by_x = self._slope((x_mm - step, z_mm), (x_mm + step, z_mm))
        by_z = self._slope((x_mm, z_mm - step), (x_mm, z_mm + step))
        outward = np.array([by_x, -1.0, by_z])
        return np.asarray(outward / np.linalg.norm(outward))

    def _slope(self, low: tuple[float, float], high: tuple[float, float]) -> float:
        y = self._interpolated(self.smooth_y_mm, *np.transpose([low, high]))
        rise = float(y[1] - y[0])
        return rise / (2 * GRID_MM) if np.isfinite(rise) else 0.0

    def _interpolated(self, height: Floats, x_mm: ArrayLike, z_mm: ArrayLike) -> Floats:
        column = (np.asarray(x_mm, dtype=np.float64) - self.x_mm[0]) / GRID_MM
        row = (np.asarray(z_mm, dtype=np.float64) - self.z_mm[0]) / GRID_MM
        where = np.stack([np.atleast_1d(column), np.atleast_1d(row)])
        found = ndimage.map_coordinates(height, where, order=1, mode="constant", cval=np.nan)
        return np.asarray(found.reshape(column.shape))


def body_mask(volume: ImageVolume) -> BodyMask:
    """Return the largest piece of tissue in a CT volume, with the gas inside it.

    Parameters
    ----------
    volume : ImageVolume
        CT in Hounsfield units.

    Raises
    ------
    ImageError
        The series is not CT, or holds no tissue.

    Notes
    -----
    Tissue is what is brighter than `TISSUE_HU`; an opening by about `OPENING_MM` frees the body
    from the table it lies on and from sheets and lines. Holes are filled plane by plane, so that
    bowel gas counts as body even where it reaches the last plane.
    """
    if volume.modality != "CT":
        raise ImageError(
            f"the skin is found by Hounsfield units, and this series is {volume.modality!r}",
            mend="give a CT series",
        )
    stride = np.maximum(np.rint(COARSE_MM / volume.spacing_mm), 1).astype(int)
    coarse = volume.values[tuple(slice(None, None, n) for n in stride)]
    spacing = volume.spacing_mm * stride
    tissue = coarse > TISSUE_HU
    within = ndimage.distance_transform_edt(_padded(tissue), sampling=spacing)
    labels, count = ndimage.label(_unpadded(within) > OPENING_MM)
    if count == 0:
        raise ImageError("the image holds no body", mend="give a CT of the abdomen")
    largest = 1 + int(np.argmax(np.bincount(labels.ravel())[1:]))
    regrown = ndimage.distance_transform_edt(labels != largest, sampling=spacing)
    body = tissue & (regrown <= OPENING_MM + float(spacing.max()) / 2)
    filled = np.stack([ndimage.binary_fill_holes(plane) for plane in body])
    to_lps = volume.to_lps @ np.diag([*stride.astype(np.float64), 1.0])
    return BodyMask(filled, to_lps)


def anterior_skin(volume: ImageVolume) -> SkinSurface:
    """Return the front of the skin.

    Parameters
    ----------
    volume : ImageVolume
        CT in Hounsfield units; any orientation.

    Returns
    -------
    SkinSurface
        Found to a fraction of a voxel, where the image crosses `SURFACE_HU`.

    Raises
    ------
    ImageError
        The series is not CT, or holds no body.
    """
    body = body_mask(volume)
    corners = volume.point_of(
        np.array(np.meshgrid(*([-0.5, n - 0.5] for n in volume.shape))).reshape(3, -1).T
    )
    low, high = corners.min(axis=0), corners.max(axis=0)
    x, z = (np.arange(low[axis], high[axis], GRID_MM) for axis in (0, 2))
    rough = _rough(body, x, z, np.arange(low[1], high[1], COARSE_MM))
    front = np.stack(np.broadcast_arrays(x[:, None], rough - 2 * COARSE_MM, z), axis=-1)
    cut = np.isfinite(rough) & ~volume.contains(front)
    rough[cut] = np.nan
    found = _refined(volume, x, z, rough)
    said = [*volume.cautions]
    if cut.sum() > 0.02 * max(int(np.isfinite(rough).sum()), 1):
        said.append("Part of the front skin lies outside the image.")
    return SkinSurface(x, z, found, _smoothed(found), tuple(said))


def _rough(body: BodyMask, x: Floats, z: Floats, y: Floats) -> Floats:
    """Return the least of the `y` that lies in the body over each (x, z); NaN beside it."""
    skip = 2
    points = np.stack(np.meshgrid(x[::skip], y, z[::skip], indexing="ij"), axis=-1)
    inside = body.at(points)
    first = np.where(inside.any(axis=1), y[inside.argmax(axis=1)], np.nan)
    whole = first.repeat(skip, axis=0).repeat(skip, axis=1)
    return np.asarray(whole[: len(x), : len(z)])


def _refined(volume: ImageVolume, x: Floats, z: Floats, rough_y: Floats) -> Floats:
    """Return y where each line from the front first crosses `SURFACE_HU` near the rough skin."""
    step = 0.5
    offset = np.arange(-SEARCH_MM, SEARCH_MM + step, step)
    at = np.argwhere(np.isfinite(rough_y))
    y = rough_y[tuple(at.T)][:, None] + offset
    across = np.stack([np.broadcast_to(x[at[:, 0], None], y.shape), y,
                       np.broadcast_to(z[at[:, 1], None], y.shape)], axis=-1)  # fmt: skip
    index = np.moveaxis(volume.index_of(across), -1, 0)
    values = ndimage.map_coordinates(
        volume.values, index, output=np.float32, order=1, mode="nearest"
    )
    crossing = (values[:, :-1] <= SURFACE_HU) & (values[:, 1:] > SURFACE_HU)
    from_rough = np.where(crossing, np.abs(offset[:-1] + step / 2), np.inf)
    number = np.arange(len(at))
    best = from_rough.argmin(axis=1)
    before, after = values[number, best], values[number, best + 1]
    share = (SURFACE_HU - before) / np.where(after > before, after - before, 1.0)
    surface = y[number, best] + share * step
    out = np.full(rough_y.shape, np.nan)
    out[tuple(at.T)] = np.where(np.isfinite(from_rough[number, best]), surface, np.nan)
    return out


def _smoothed(height: Floats) -> Floats:
    """Return heights smoothed over what is known; NaN where nothing is."""
    known = np.isfinite(height)
    scale = NORMAL_SCALE_MM / GRID_MM
    weight = ndimage.gaussian_filter(known.astype(np.float64), scale, mode="constant")
    total = ndimage.gaussian_filter(np.where(known, height, 0.0), scale, mode="constant")
    return np.where(known, total / np.maximum(weight, 1e-9), np.nan)


def _padded(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return a mask with its end planes repeated, as the body goes on beyond the image."""
    return np.pad(mask, ((4, 4), (0, 0), (0, 0)), mode="edge")


def _unpadded(padded: Floats) -> Floats:
    return padded[4:-4]
