"""The front of a person's abdomen as candidate sites: skin, wall and bone at a raster of places."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from thalweg.errors import InputError
from thalweg.measure.front_bone import front_bone
from thalweg.measure.wall import wall_thickness
from thalweg.plan.reach.front import SiteMask
from thalweg.plan.reach.map_types import SiteGrid
from thalweg.plan.reach.scene import defaults

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from thalweg.measure.skin import SkinSurface
    from thalweg.plan.staging import FreedUreter, MeasuredSite
    from thalweg.progress import Progress
    from thalweg.record.image import ImageVolume

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = ["FrontGrid", "front_grid"]

ABOVE_MM = 30.0
"""The map reaches this far above the highest traced ureter, and down to the lowest."""
STEEPEST = 0.5
"""Least share of the skin's normal that points to the front: beyond lies the flank, where a height
over the coronal plane says little."""
BESIDE_BONE_MM = 15.0
"""A stoma's plate wants so much soft skin round it (common practice: half its width or more)."""
BONE_DEPTH_MM = 60.0
"""Straight to the back from the skin: rib, iliac crest and pubis, not spine or sacrum."""
BONE_STEP_MM = 4.0
LEAST_PLACES = 4

BONE = "over or beside rib or pelvic bone"


@dataclass(frozen=True, eq=False)
class FrontGrid:
    """Candidate sites over the front; arrays as in `FrontMap`.

    Parameters
    ----------
    x_mm, z_mm : ndarray, mm
    row : ndarray of int, shape (nx, nz)
    unknown : ndarray of bool, shape (nx, nz)
        Skin, but no thickness of the wall.
    sites : SiteGrid
    bone : SiteMask
        Places over or beside bone.
    bone_seen : tuple of ndarray
        x (m,), z (k,) and flags (m, k): bone close behind the skin, on a finer raster.
    outline : ndarray, shape (m, 3), mm
        z, and least and greatest x of the body there.
    cautions : tuple of str
    """

    x_mm: Floats
    z_mm: Floats
    row: NDArray[np.int64]
    unknown: Flags
    sites: SiteGrid
    bone: SiteMask
    bone_seen: tuple[Floats, Floats, Flags]
    outline: Floats
    cautions: tuple[str, ...]


def front_grid(
    volume: ImageVolume,
    skin: SkinSurface,
    ureters: Sequence[FreedUreter],
    marked: Sequence[MeasuredSite],
    *,
    step_mm: float,
    progress: Progress,
) -> FrontGrid:
    """Measure skin and wall at a raster of places on the front of the abdomen.

    Parameters
    ----------
    volume : ImageVolume
        CT in Hounsfield units.
    skin : SkinSurface
        Of the same image.
    ureters : sequence of FreedUreter
        At least one; they say from where to where the map reaches.
    marked : sequence of MeasuredSite
        Their stoma height, the greatest where they differ, is taken throughout.
    step_mm : float
        Spacing of the raster.
    progress : Progress

    Raises
    ------
    InputError
        If no place shows skin and wall.
    """
    x, z = _raster(skin, ureters, step_mm)
    bone = _bone(volume, skin, x, z)
    there, points, normals = _on_skin(skin, x, z, ~bone.over)
    thickness, spread = _walls(volume, points, normals, progress)
    known = np.isfinite(thickness)
    if not known.any():
        raise InputError(
            "no place on the front shows skin and wall, so there is no map of margins",
            mend="give a CT that shows the whole front of the abdomen",
        )
    row = np.full(there.shape, -1, dtype=np.int64)
    unknown = np.zeros(there.shape, dtype=bool)
    held = np.argwhere(there)
    row[tuple(held[known].T)] = np.arange(int(known.sum()))
    unknown[tuple(held[~known].T)] = True
    height, told = _height(marked)
    lying = float(defaults()["doubt"]["wall_mm"])
    sites = SiteGrid(
        points[known],
        normals[known],
        thickness[known],
        np.full(int(known.sum()), height),
        np.hypot(lying, spread[known]),
    )
    mask = SiteMask(BONE, bone.beside)
    outline = _outline(skin, z)
    return FrontGrid(
        x, z, row, unknown, sites, mask, bone.seen, outline, (told, *_said(unknown, known))
    )


def _raster(
    skin: SkinSurface, ureters: Sequence[FreedUreter], step: float
) -> tuple[Floats, Floats]:
    """Return x and z of the raster, on whole steps so that the same step gives the same places."""
    heights = np.concatenate([one.course.points_mm[:, 2] for one in ureters])
    low, high = float(heights.min()), float(heights.max()) + ABOVE_MM
    seen = skin.x_mm[np.isfinite(skin.y_mm).any(axis=1)]
    if not seen.size:
        raise InputError("no front skin is seen on the image", mend="give a CT of the abdomen")
    whole = [
        step * np.arange(np.ceil(first / step), np.floor(last / step) + 1)
        for first, last in ((float(seen[0]), float(seen[-1])), (low, high))
    ]
    if min(len(part) for part in whole) < LEAST_PLACES:
        raise InputError(
            f"steps of {step:g} mm leave fewer than {LEAST_PLACES} places to a side",
            mend="take a smaller step",
        )
    return whole[0], whole[1]


def _on_skin(
    skin: SkinSurface, x: Floats, z: Floats, wanted: Flags
) -> tuple[Flags, Floats, Floats]:
    """Return where wanted skin faces the front, (nx, nz), and points and normals there, (n, 3)."""
    there = np.zeros((len(x), len(z)), dtype=bool)
    points, normals = [], []
    for column, row in np.argwhere(np.isfinite(skin.heights(x, z)) & wanted):
        point, normal = skin.point(x[column], z[row]), skin.normal(x[column], z[row])
        if -normal[1] >= STEEPEST:
            there[column, row] = True
            points.append(point)
            normals.append(normal)
    return there, np.array(points).reshape(-1, 3), np.array(normals).reshape(-1, 3)


def _walls(
    volume: ImageVolume, points: Floats, normals: Floats, progress: Progress
) -> tuple[Floats, Floats]:
    """Return thickness and its standard deviation at every place, mm; nan where not told."""
    found = np.full((len(points), 2), np.nan)
    for number, (point, normal) in enumerate(zip(points, normals, strict=True)):
        progress("Measuring the wall over the front", number, len(points))
        wall = wall_thickness(volume, point, normal)
        if wall.thickness_mm is not None and wall.sd_mm is not None:
            found[number] = wall.thickness_mm, wall.sd_mm
    progress("Measuring the wall over the front", len(points), len(points))
    return found[:, 0], found[:, 1]


def _height(marked: Sequence[MeasuredSite]) -> tuple[float, str]:
    if not marked:
        height = float(defaults()["usual"]["height_mm"])
        return height, f"No site is marked: the stoma is taken as {height:.0f} mm high throughout."
    height = max(site.height_mm for site in marked)
    return height, f"The stoma is taken as {height:.0f} mm high throughout, as at the marked sites."


def _said(unknown: Flags, known: Flags) -> tuple[str, ...]:
    if not unknown.any():
        return ()
    lost, share = int(unknown.sum()), 100 * int(unknown.sum()) / len(known)
    return (
        (
            f"At {lost} of {len(known)} places ({share:.0f} %) the image does not show "
            "the layers of the wall: the margin there is not known and was left out."
        ),
    )


@dataclass(frozen=True, eq=False)
class _Bone:
    """Where bone lies close behind the skin, and where a stoma's plate would lie on it."""

    over: Flags
    beside: Flags
    seen: tuple[Floats, Floats, Flags]


def _bone(volume: ImageVolume, skin: SkinSurface, x: Floats, z: Floats) -> _Bone:
    pad = 2 * BESIDE_BONE_MM
    fine = [np.arange(axis[0] - pad, axis[-1] + pad, BONE_STEP_MM) for axis in (x, z)]
    bone = front_bone(volume, skin, fine[0], fine[1], BONE_DEPTH_MM)
    away = np.full(bone.shape, np.inf)
    if bone.any():
        away = np.asarray(ndimage.distance_transform_edt(~bone, sampling=BONE_STEP_MM))
    column = np.rint((x - fine[0][0]) / BONE_STEP_MM).astype(int)
    row = np.rint((z - fine[1][0]) / BONE_STEP_MM).astype(int)
    here = away[np.ix_(column, row)]
    return _Bone(here == 0.0, here <= BESIDE_BONE_MM, (fine[0], fine[1], bone))


def _outline(skin: SkinSurface, z: Floats) -> Floats:
    """Return z and the least and greatest x of the body over the map's heights."""
    rows = []
    for index, height in enumerate(skin.z_mm):
        seen = skin.x_mm[np.isfinite(skin.y_mm[:, index])]
        if z[0] - 15 <= height <= z[-1] + 15 and seen.size:
            rows.append((height, seen[0], seen[-1]))
    return np.array(rows)
