"""Great vessels in front of the spine, followed from plane to plane where they are enhanced."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

if TYPE_CHECKING:
    from thalweg.measure.coarse import Coarse
    from thalweg.measure.skeleton import Level

__all__ = ["Vessel", "great_vessels"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

ABOVE_SOFT_HU = 40.0
"""A vessel is taken as enhanced from so much above muscle on; below, it cannot be told from bowel
wall and muscle with safety."""

GREATEST_HU = 300.0
"""Excreted contrast is brighter."""

LEAST_RADIUS_SHARE = 0.09
SEED_RADIUS_SHARE = (0.2, 0.75)
"""Radius of any vessel followed, and of aorta and vena cava, against that of the spine's front."""

WIDTH = 3.2
"""Vessels are looked for this many radii of the spine to either side."""

SEED_GAP_MM = 9.0
"""Aorta and vena cava lie within this of the spine; mesenteric vessels and bowel do not."""

MOVE_SHARE = 0.5
MOVE_MM = 2.0
"""From a plane to the next a vessel moves by at most this share of its radius and this."""

TOUCH_MM = 3.0
BESIDE_MM = 7.0
BESIDE_SHARE = 0.6
"""A branch, or the vein beside an artery, begins this near to a vessel above it, and keeps this
near to others over this share of its length."""

ALIKE = (0.55, 1.7)
MISSED_PLANES = 3
LEAST_TRUNK_MM = 60.0
LEAST_BRANCH_MM = 28.0
"""A trunk or branch followed over less, at an adult's size, is left out."""

ADULT_SPINE_MM = 27.0
"""Usual radius of the front of an adult's lumbar spine, by which lengths are scaled."""

ARTERY_ASIDE_MM = -4.0
"""The trunk whose middle lies farther right of the spine's than this is the vena cava."""

RAYS = 20
LEAST_DISCS = 4
FAT_HU = -110.0


@dataclass(eq=False)
class _Track:
    """Circles of one vessel from plane to plane, downwards."""

    parent: _Track | None
    discs: list[Floats] = field(default_factory=list)
    planes: list[int] = field(default_factory=list)

    def predicted(self, plane: int) -> Floats:
        last = self.discs[-1]
        if len(self.discs) < 4:
            return last
        slope = (last - self.discs[-4]) / (self.planes[-1] - self.planes[-4])
        slope[2] = 0.0
        return np.asarray(last + slope * (plane - self.planes[-1]))


@dataclass(frozen=True, eq=False)
class Vessel:
    """One stretch of a great vessel.

    Parameters
    ----------
    name : str
    centres_mm : ndarray, shape (n, 3)
        From head to foot, LPS mm.
    radii_mm : ndarray, shape (n,)
    surface_mm : ndarray, shape (m, 3)
        Places where its brightness has fallen half way to that of its surroundings.
    """

    name: str
    centres_mm: Floats
    radii_mm: Floats
    surface_mm: Floats


def great_vessels(
    coarse: Coarse, bone: Flags, levels: list[Level], ureters: Floats, soft_hu: float
) -> list[Vessel]:
    """Return aorta, vena cava and iliac vessels as far as they are enhanced.

    Parameters
    ----------
    coarse : Coarse
    bone : ndarray of bool
    levels : list of Level
        The spine, from above.
    ureters : ndarray, shape (n, 3)
    soft_hu : float
        Brightness of muscle.
    """
    if len(levels) < 3:
        return []
    spine = float(np.median([level.radius_mm for level in levels]))
    lit = _lit(coarse, bone, ureters, soft_hu)
    x = coarse.low_mm[0] + coarse.step_mm * np.arange(lit.shape[2])
    lit[:, :, np.abs(x - np.median([level.centre_mm[0] for level in levels])) > WIDTH * spine] = 0
    seen = [_discs(coarse, plane, LEAST_RADIUS_SHARE * spine) for plane in lit]
    tracks = _followed(coarse, seen, levels, spine)
    size = spine / ADULT_SPINE_MM
    return _named(coarse, _long_enough(tracks, coarse.step_mm, size), levels, spine, soft_hu)


def _lit(coarse: Coarse, bone: Flags, ureters: Floats, soft_hu: float) -> Flags:
    """Return the cells as bright as enhanced blood, without the blurred rims of bone and urine."""
    values = coarse.values
    urine = values > GREATEST_HU
    taken = ndimage.binary_dilation(urine | bone)
    lit = (values > soft_hu + ABOVE_SOFT_HU) & ~taken
    index = np.rint(coarse.index_of(ureters)).astype(int) if len(ureters) else np.zeros((0, 3), int)
    index = index[((index >= 0) & (index < values.shape)).all(axis=1)]
    lit[tuple(index.T)] = False
    return np.asarray(lit)


def _discs(coarse: Coarse, plane: Flags, least_mm: float) -> Floats:
    """Return circles inscribed in a plane's bright patches: rows of x, y, radius, mm."""
    if not plane.any():
        return np.zeros((0, 3))
    used = np.flatnonzero(plane.any(axis=0)), np.flatnonzero(plane.any(axis=1))
    plane = np.pad(plane[used[1][0] : used[1][-1] + 1, used[0][0] : used[0][-1] + 1], 1)
    first = np.array([used[1][0] - 1, used[0][0] - 1])
    # Twice as fine, because neighbouring vessels touch over less than a cell.
    fine = ndimage.zoom(plane.astype(np.float32), 2, order=1) > 0.5
    scale = (np.array(plane.shape) - 1) / (np.array(fine.shape) - 1) * coarse.step_mm
    depth = ndimage.distance_transform_edt(fine, sampling=scale)
    smooth = ndimage.gaussian_filter(depth, 0.7)
    peak = (smooth >= ndimage.maximum_filter(smooth, 3)) & (depth >= least_mm)
    index = np.argwhere(peak)
    order = np.argsort(-depth[tuple(index.T)], kind="stable")
    rows = np.column_stack(
        [
            coarse.low_mm[0] + first[1] * coarse.step_mm + index[:, 1] * scale[1],
            coarse.low_mm[1] + first[0] * coarse.step_mm + index[:, 0] * scale[0],
            depth[tuple(index.T)],
        ]
    )[order]
    kept: list[Floats] = []
    for row in rows:
        if all(np.hypot(*(row[:2] - one[:2])) > 0.7 * max(one[2], row[2]) for one in kept):
            kept.append(row)
    return np.array(kept).reshape(-1, 3)


def _followed(
    coarse: Coarse, seen: list[Floats], levels: list[Level], spine: float
) -> list[_Track]:
    """Link circles downwards; new tracks begin beside the spine or as a branch."""
    heights = np.array([level.centre_mm[2] for level in levels])
    front = min(levels, key=lambda level: float(level.centre_mm[1] - level.radius_mm))
    tracks: list[_Track] = []
    for plane in range(len(seen) - 1, -1, -1):
        z = coarse.low_mm[2] + plane * coarse.step_mm
        free = list(range(len(seen[plane])))
        live = [track for track in tracks if track.planes[-1] - plane <= MISSED_PLANES]
        for track in live:
            _extend(track, plane, seen[plane], free)
        for number in list(free):
            disc = seen[plane][number]
            parent = next((one for one in live if _branches(one, plane, disc)), None)
            level = levels[int(np.argmin(np.abs(heights - z)))]
            above = z > front.centre_mm[2] - spine
            if parent is not None or (above and _beside(disc, level, spine)):
                tracks.append(_Track(parent, [disc], [plane]))
    return tracks


def _extend(track: _Track, plane: int, discs: Floats, free: list[int]) -> None:
    """Add the nearest free circle in a plane to a track, where one follows on."""
    place, last = track.predicted(plane), track.discs[-1]
    missed = track.planes[-1] - plane
    reach = (MOVE_SHARE * last[2] + MOVE_MM) * (1 + 0.3 * (missed - 1))
    options = [
        (float(np.hypot(*(discs[number][:2] - place[:2]))), number)
        for number in free
        if ALIKE[0] < discs[number][2] / last[2] < ALIKE[1]
    ]
    if options and min(options)[0] < reach:
        _, number = min(options)
        track.discs.append(discs[number])
        track.planes.append(plane)
        free.remove(number)


def _branches(track: _Track, plane: int, disc: Floats) -> bool:
    """Say whether a circle begins in or beside a vessel's circle just above."""
    for earlier, circle in zip(track.planes[-3:], track.discs[-3:], strict=True):
        gap = float(np.hypot(*(disc[:2] - circle[:2]))) - circle[2] - disc[2]
        if earlier > plane and gap < TOUCH_MM and disc[2] < ALIKE[1] * circle[2]:
            return True
    return False


def _beside(disc: Floats, level: Level, spine: float) -> bool:
    """Say whether a circle is as wide as aorta or cava and lies on the front of the spine."""
    low, high = SEED_RADIUS_SHARE
    away = disc[:2] - level.centre_mm[:2]
    gap = float(np.hypot(*away)) - level.radius_mm - disc[2]
    ahead = away[1] < -0.5 * level.radius_mm
    return bool(low * spine < disc[2] < high * spine and gap < SEED_GAP_MM and ahead)


def _long_enough(tracks: list[_Track], step_mm: float, size: float) -> list[_Track]:
    """Return the trunks that are followed far enough, and long branches that keep to others."""

    def length(track: _Track) -> float:
        places = np.column_stack([np.array(track.discs)[:, :2], np.array(track.planes) * step_mm])
        return float(np.linalg.norm(places[-1] - places[0]))

    kept: list[_Track] = []
    for track in tracks:
        least = LEAST_TRUNK_MM if track.parent is None else LEAST_BRANCH_MM
        if length(track) < least * size:
            continue
        trunk = track
        while trunk.parent is not None:
            trunk = trunk.parent
        if track is trunk or (trunk in kept and _keeps_company(track, tracks, size)):
            kept.append(track)
    return kept


def _keeps_company(track: _Track, tracks: list[_Track], size: float) -> bool:
    """Say whether a track runs beside others, as iliac arteries and veins do, or ends one."""
    others: dict[int, list[Floats]] = {plane: [] for plane in track.planes}
    for other in tracks:
        if other is track:
            continue
        for plane, disc in zip(other.planes, other.discs, strict=True):
            if plane in others:
                others[plane].append(disc)
    near = 0
    for plane, disc in zip(track.planes, track.discs, strict=True):
        gaps = [np.hypot(*(disc[:2] - one[:2])) - disc[2] - one[2] for one in others[plane]]
        near += min(gaps, default=np.inf) < BESIDE_MM * max(size, 0.5)
    return near > BESIDE_SHARE * len(track.planes)


def _named(
    coarse: Coarse, tracks: list[_Track], levels: list[Level], spine: float, soft_hu: float
) -> list[Vessel]:
    """Return stretches between branchings, with names by place.

    Below the trunks artery and vein are not told apart: in this phase they are as bright.
    """
    heights = [level.centre_mm[2] for level in levels[::-1]]
    middles = [level.centre_mm[0] for level in levels[::-1]]
    found = []
    for track in tracks:
        z = coarse.low_mm[2] + coarse.step_mm * np.array(track.planes)
        aside = np.array(track.discs)[:, 0] - np.interp(z, heights, middles)
        cut = 0 if track.parent is not None else _end_of_trunk(track, aside, spine)
        trunk = "aorta" if np.median(aside[: cut + 1]) > ARTERY_ASIDE_MM else "inferior vena cava"
        branch = f"iliac vessel, {'left' if np.median(aside[cut:]) > 0 else 'right'}"
        for first, last, name in ((0, cut + 1, trunk), (cut, len(z), branch)):
            measured = _measured(coarse, track, first, last, soft_hu)
            if measured is not None:
                found.append(Vessel(name, *measured))
    return found


def _end_of_trunk(track: _Track, aside: Floats, spine: float) -> int:
    """Return the number of the circle at which aorta or cava has become an iliac vessel."""
    radius = ndimage.median_filter(np.array(track.discs)[:, 2], 5, mode="nearest")
    small = (radius < SEED_RADIUS_SHARE[0] * spine) | (np.abs(aside) > spine)
    return int(np.argmax(small)) if small.any() else len(aside)


def _measured(
    coarse: Coarse, track: _Track, first: int, last: int, soft_hu: float
) -> tuple[Floats, Floats, Floats] | None:
    """Return centres, radii and surface of a stretch, to a fraction of a cell."""
    discs = np.array(track.discs[first:last])
    if len(discs) < LEAST_DISCS:
        return None
    height = coarse.low_mm[2] + coarse.step_mm * np.array(track.planes[first:last])
    centres = _smooth(np.column_stack([discs[:, :2], height]))
    radii = discs[:, 2]
    surface = np.zeros((0, 3))
    for _ in range(2):
        centres, radii, surface = _refitted(coarse, centres, radii, soft_hu)
    return centres, radii, surface


def _refitted(
    coarse: Coarse, centres: Floats, radii: Floats, soft_hu: float
) -> tuple[Floats, Floats, Floats]:
    """Return circles fitted to where brightness falls half way, and those places.

    Rays go out across the vessel. Half way is from the vessel's middle to the darkest on the ray,
    fat or muscle. Rays along which it does not fall, into a neighbour, are left out.
    """
    across = _across(centres)
    angle = 2 * np.pi * np.arange(RAYS) / RAYS
    ways = np.cos(angle)[:, None] * across[0][:, None] + np.sin(angle)[:, None] * across[1][:, None]
    out = np.linspace(0.0, 2.0 * float(np.median(radii)), 41)
    values = coarse.at(centres[:, None, None] + out[:, None] * ways[:, :, None])
    outside = np.clip(values[:, :, :34].min(axis=2), FAT_HU, soft_hu)
    half = (np.median(values[:, :, :6]) + outside) / 2
    below = values < half[:, :, None]
    where = below.argmax(axis=2)
    ended = below.any(axis=2) & (where > 2)
    reach = out[where] - out[1] / 2
    typical = np.median(np.where(ended, reach, radii[:, None]), axis=1, keepdims=True)
    good = ended & (np.abs(reach - typical) < 0.5 * typical)
    moved, fitted = centres.copy(), radii.copy()
    for number in np.flatnonzero(good.sum(axis=1) >= RAYS // 2):
        used = good[number]
        u, v = reach[number, used] * np.cos(angle[used]), reach[number, used] * np.sin(angle[used])
        system = np.column_stack([2 * u, 2 * v, np.ones(len(u))])
        (a, b, c), *_ = np.linalg.lstsq(system, u * u + v * v, rcond=None)
        if np.hypot(a, b) < 0.6 * radii[number] and c + a * a + b * b > 0:
            moved[number] += a * across[0][number] + b * across[1][number]
            fitted[number] = np.sqrt(c + a * a + b * b)
    surface = (centres[:, None] + reach[..., None] * ways)[good]
    return _smooth(moved), ndimage.median_filter(fitted, 5, mode="nearest"), surface


def _smooth(centres: Floats) -> Floats:
    return np.asarray(ndimage.gaussian_filter1d(centres, 1.5, axis=0, mode="nearest"))


def _across(centres: Floats) -> tuple[Floats, Floats]:
    """Return two unit vectors across the line of centres at each, (n, 3) and (n, 3)."""
    tangent = np.gradient(centres, axis=0)
    tangent = ndimage.gaussian_filter1d(tangent, 2.0, axis=0, mode="nearest")
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    first = np.cross(tangent, np.array([0.0, 1.0, 0.0]))
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    return first, np.cross(tangent, first)
