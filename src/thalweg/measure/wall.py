"""How thick the abdominal wall is at a place: skin, fat and muscle, to its inner border."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from thalweg.errors import ImageError, InputError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from thalweg.record.image import ImageVolume

__all__ = ["WallThickness", "wall_thickness"]

Floats = NDArray[np.float64]

SURFACE_HU = -500.0
FAT_MUSCLE_HU = -22.0
"""Half way between fat (about -100 HU) and muscle (about 55 HU)."""

GAS_HU = -250.0

STEP_MM = 0.5
DEEPEST_MM = 130.0
BUNDLE_MM = 12.0
RAYS = 91
"""So many rays side by side within this of the place are walked: about a stoma's aperture."""

SKIN_MM = 5.0
"""Soft tissue this close under the surface is skin."""

LEAST_GLIMPSE_MM = 1.5
LEAST_MUSCLE_MM = 3.0
"""A layer thinner than the first is a vessel or noise; one thinner than the second may be muscle
or only fascia, and what lies behind it may be the muscle or bowel."""

STRIPE_MM = 2.0
"""Fat thinner than this lies between two layers of muscle."""

GREATEST_MUSCLE_MM = 30.0
"""A thicker layer is muscle with bowel, liver or a swelling against it."""

OUTER_AGREEMENT_MM = 8.0
AGREEMENT_MM = 5.0
LEAST_SHARE = 0.35
EASY_SHARE = 0.65
"""The borders are where most rays find them within so many mm of each other. Where bowel lies
against the muscle rays end anywhere, and between the recti some find none; fewer than the first
share that agree are not believed, fewer than the second are believed with a caution."""


@dataclass(frozen=True)
class WallThickness:
    """The abdominal wall at one place.

    Parameters
    ----------
    thickness_mm : float or None
        From the surface of the skin to the inner border of the muscle; None: not known.
    sd_mm : float or None
        Its standard deviation: spread of the rays and size of the voxels.
    depth_of_muscle_mm : float or None
        From the surface to the outer border of the muscle: skin and fat together.
    cautions : tuple of str
    """

    thickness_mm: float | None
    sd_mm: float | None
    depth_of_muscle_mm: float | None
    cautions: tuple[str, ...] = ()


def wall_thickness(
    volume: ImageVolume, skin_point_mm: ArrayLike, normal: ArrayLike
) -> WallThickness:
    """Walk inward from the skin and say where the muscle of the abdominal wall ends.

    Parameters
    ----------
    volume : ImageVolume
        CT in Hounsfield units.
    skin_point_mm : array_like, shape (3,)
        On the skin, LPS millimetres.
    normal : array_like, shape (3,)
        Outward; need not be of unit length.

    Returns
    -------
    WallThickness

    Raises
    ------
    InputError
        The point is outside the image, or point or normal is not finite.
    ImageError
        The series is not CT.

    Notes
    -----
    Lying down is assumed, as the image was taken so; standing, fat hangs and the wall differs.
    """
    point, inward = _checked(volume, skin_point_mm, normal)
    values = _rays(volume, point, inward)
    walks = [_walk(ray) for ray in values]
    told = np.array([walk for walk in walks if walk is not None]).reshape(-1, 2)
    told = told[_agreeing(told[:, 0], OUTER_AGREEMENT_MM)]
    told = told[_agreeing(told[:, 1], AGREEMENT_MM)]
    said = [*volume.cautions, "Measured lying down; standing, the wall is shaped otherwise."]
    if len(told) < LEAST_SHARE * len(walks):
        said.append(
            "The layers of the wall cannot be told here: bowel, an organ or scar lies against the"
            " muscle, or the layers end outside the image."
        )
        return WallThickness(None, None, None, tuple(said))
    along = float(np.linalg.norm(inward @ volume.from_lps[:3, :3].T)) ** -1
    if len(told) < EASY_SHARE * len(walks):
        said.append("Only part of the wall nearby shows its layers: its inner border is unsure.")
    depth_of_muscle, thickness = (float(value) for value in np.median(told, axis=0))
    sd = float(np.hypot(told[:, 1].std(), along / np.sqrt(12.0)))
    return WallThickness(thickness, sd, depth_of_muscle, tuple(said))


def _agreeing(depths: Floats, within_mm: float) -> NDArray[np.int64]:
    """Return which depths make up the largest group that lies within so many millimetres."""
    order = np.argsort(depths)
    last = np.searchsorted(depths[order], depths[order] + within_mm, side="right")
    if not len(depths):
        return order
    first = int(np.argmax(last - np.arange(len(depths))))
    return np.asarray(order[first : last[first]])


def _checked(
    volume: ImageVolume, skin_point_mm: ArrayLike, normal: ArrayLike
) -> tuple[Floats, Floats]:
    if volume.modality != "CT":
        raise ImageError(
            f"the wall's layers are told by Hounsfield units, and this series is"
            f" {volume.modality!r}",
            mend="give a CT series or measure the wall by hand",
        )
    point = np.asarray(skin_point_mm, dtype=np.float64)
    outward = np.asarray(normal, dtype=np.float64)
    size = float(np.linalg.norm(outward))
    if point.shape != (3,) or not np.isfinite(point).all() or not volume.contains(point):
        raise InputError("the skin point lies outside the image", mend="place it on the skin")
    if outward.shape != (3,) or not np.isfinite(size) or size == 0.0:
        raise InputError("the normal needs three finite numbers, not all zero", mend="give it anew")
    return point, -outward / size


def _rays(volume: ImageVolume, point: Floats, inward: Floats) -> NDArray[np.float32]:
    """Return brightness along parallel rays, shape (RAYS, steps), from 4 mm before the skin."""
    aside = np.eye(3)[np.argmin(np.abs(inward))]
    one = np.cross(inward, aside)
    one /= np.linalg.norm(one)
    two = np.cross(inward, one)
    number = np.arange(RAYS)
    radius = BUNDLE_MM * np.sqrt(number / RAYS)
    angle = number * np.pi * (3 - np.sqrt(5))  # sunflower: even over the disc
    feet = point + np.outer(radius * np.cos(angle), one) + np.outer(radius * np.sin(angle), two)
    depth = np.arange(-4.0, DEEPEST_MM, STEP_MM)
    index = volume.index_of(feet[:, None, :] + depth[:, None] * inward)
    values = ndimage.map_coordinates(
        volume.values, np.moveaxis(index, -1, 0), output=np.float32, order=1, cval=-1024.0
    )
    return np.asarray(ndimage.gaussian_filter1d(values, 0.7 / STEP_MM, axis=1, mode="nearest"))


def _walk(ray: NDArray[np.float32]) -> tuple[float, float] | None:
    """Return depths below the surface of the muscle's outer and inner border; None: not told."""
    body = np.flatnonzero(ray > SURFACE_HU)
    if not len(body):
        return None
    surface = _crossing(ray, int(body[0]), SURFACE_HU)
    soft = ray > FAT_MUSCLE_HU
    edges = np.flatnonzero(np.diff(np.concatenate([[False], soft, [False]]).astype(np.int8)))
    # One after another: the wall ends long before the ray, and most layers are never asked for.
    layers = (
        (
            _crossing(ray, int(start), FAT_MUSCLE_HU),
            _crossing(ray, int(stop), FAT_MUSCLE_HU),
            int(stop),
        )
        for start, stop in edges.reshape(-1, 2)
    )
    for start, end, stop in _merged(layers):
        if end - surface <= SKIN_MM or end - start < LEAST_GLIMPSE_MM:
            continue
        if end - start < LEAST_MUSCLE_MM:
            return None
        if end - start > GREATEST_MUSCLE_MM or stop >= len(ray):
            return None
        if start - surface < SKIN_MM / 2 or ray[stop : stop + 4].min() < GAS_HU:
            return None  # no fat in front, or gas behind: bowel may be part of the layer
        return start - surface, end - surface
    return None


def _merged(layers: Iterator[tuple[float, float, int]]) -> Iterator[tuple[float, float, int]]:
    """Yield layers, those joined that only a stripe of fat parts."""
    joined: tuple[float, float, int] | None = None
    for layer in layers:
        if joined and layer[0] - joined[1] < STRIPE_MM and joined[1] - joined[0] > 1.0:
            joined = (joined[0], layer[1], layer[2])
            continue
        if joined:
            yield joined
        joined = layer
    if joined:
        yield joined


def _crossing(ray: NDArray[np.float32], at: int, level: float) -> float:
    """Return the depth in mm at which the ray crosses a level just before sample `at`."""
    if at == 0 or at >= len(ray):
        return at * STEP_MM
    before, after = float(ray[at - 1]), float(ray[at])
    return (at - 1 + (level - before) / (after - before)) * STEP_MM
