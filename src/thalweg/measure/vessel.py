"""Great vessels in front of the spine, followed from plane to plane where they are enhanced."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from thalweg.measure.blood import before_bone, even_cells, lit_cells, vessel_discs
from thalweg.measure.discs import FAT_HU
from thalweg.measure.tracks import ADULT_SPINE_MM, SEED_RADIUS_SHARE, followed, long_enough

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from thalweg.measure.blood import Blood
    from thalweg.measure.coarse import Coarse
    from thalweg.measure.skeleton import Level
    from thalweg.measure.tracks import Track

__all__ = ["Vessel", "great_vessels", "vessel_cells"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

LEAST_RADIUS_SHARE = 0.09
"""Radius of any vessel followed against that of the spine's front."""

WIDTH = 3.2
"""Vessels are looked for this many radii of the spine to either side."""

SEED_GAP_MM = 9.0
"""Aorta and vena cava lie within this of the spine; mesenteric vessels and bowel do not."""

ARTERY_ASIDE_MM = -4.0
"""The trunk whose middle lies farther right of the spine's than this is the vena cava."""

RAYS = 20
LEAST_DISCS = 4

EVEN_SHARE = 0.3
LEAST_INNER_SHARE = 0.06
"""Before bone is known only the inside of vessels is looked at, where brightness changes by less
than the first share of what it is over muscle; it is narrower than the vessel."""

PAINTED_CELLS = 1
"""A circle is smaller than the oval of a slanting vessel; the rest is so near to it."""

HELD_SHARE = 0.4
HELD_REACH = 1.2
"""A track with a ureter inside so many radii in this share of its planes holds urine."""


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


def vessel_cells(
    coarse: Coarse,
    kinds: Sequence[Blood],
    midline_mm: float,
    size: float,
    ureters: Floats,
    soft_hu: float,
    bone_hu: float,
) -> Flags:
    """Return the cells of enhanced vessels before the spine is known.

    They are to be taken out of the bone that they touch and are as bright as.

    Parameters
    ----------
    coarse : Coarse
    kinds : sequence of Blood
    midline_mm : float
        x of the spine.
    size : float
        The person's against an adult's.
    ureters : ndarray, shape (n, 3)
    soft_hu, bone_hu : float
        Brightness of muscle, and the least of bone.
    """
    cells = np.zeros(coarse.values.shape, dtype=bool)
    spine = ADULT_SPINE_MM * size
    lit = _near(coarse, lit_cells(coarse, kinds, cells, ureters), midline_mm, spine)
    even = even_cells(coarse, soft_hu, EVEN_SHARE)
    inner = [(kind, mask & even) for kind, mask in lit]
    wide = vessel_discs(coarse, inner, soft_hu, LEAST_INNER_SHARE * spine, widen=True)
    fine = vessel_discs(coarse, lit, soft_hu, LEAST_RADIUS_SHARE * spine)
    seen = [np.concatenate(rows) for rows in zip(wide, fine, strict=True)]
    tracks = followed(seen, before_bone(coarse, midline_mm, size, bone_hu))
    tracks = _without_urine(coarse, long_enough(tracks, coarse.step_mm, size), ureters)
    for kind, own in lit:
        cells |= _painted(coarse, tracks, kind, own)
    return cells


def _painted(coarse: Coarse, tracks: list[Track], kind: Blood, own: Flags) -> Flags:
    """Return the cells of one kind of blood in the circles of tracks, and their edge."""
    cells = np.zeros(own.shape, dtype=bool)
    x, y = (coarse.low_mm[n] + coarse.step_mm * np.arange(own.shape[2 - n]) for n in (0, 1))
    for track in tracks:
        for plane, disc in zip(track.planes, track.discs, strict=True):
            if disc[3] == kind.mean_hu:
                cells[plane] |= np.hypot(x - disc[0], y[:, None] - disc[1]) < disc[2]
    grown = ndimage.binary_dilation(cells, iterations=PAINTED_CELLS, mask=own | cells)
    # The edge towards fat belongs to the vessel; what is brighter than it there is bone.
    return np.asarray(grown | (ndimage.binary_dilation(grown) & (coarse.values < kind.mean_hu)))


def great_vessels(
    coarse: Coarse,
    bone: Flags,
    levels: list[Level],
    ureters: Floats,
    kinds: Sequence[Blood],
    soft_hu: float,
) -> list[Vessel]:
    """Return aorta, vena cava and iliac vessels as far as they are enhanced.

    Parameters
    ----------
    coarse : Coarse
    bone : ndarray of bool
    levels : list of Level
        The spine, from above.
    ureters : ndarray, shape (n, 3)
    kinds : sequence of Blood
        What is looked for.
    soft_hu : float
        Brightness of muscle.
    """
    if len(levels) < 3 or not kinds:
        return []
    spine = float(np.median([level.radius_mm for level in levels]))
    middle = float(np.median([level.centre_mm[0] for level in levels]))
    lit = _near(coarse, lit_cells(coarse, kinds, bone, ureters), middle, spine)
    seen = vessel_discs(coarse, lit, soft_hu, LEAST_RADIUS_SHARE * spine)
    tracks = followed(seen, _before_spine(coarse, levels, spine))
    tracks = long_enough(tracks, coarse.step_mm, spine / ADULT_SPINE_MM)
    return _named(coarse, _without_urine(coarse, tracks, ureters), levels, spine, soft_hu)


def _near(
    coarse: Coarse, lit: list[tuple[Blood, Flags]], middle_mm: float, spine: float
) -> list[tuple[Blood, Flags]]:
    """Return the masks without what lies too far to the sides."""
    x = coarse.low_mm[0] + coarse.step_mm * np.arange(coarse.values.shape[2])
    return [(kind, cells & (np.abs(x - middle_mm) < WIDTH * spine)) for kind, cells in lit]


def _without_urine(coarse: Coarse, tracks: list[Track], ureters: Floats) -> list[Track]:
    """Return the tracks that do not run along a ureter's course."""
    kept = []
    for track in tracks:
        held = 0
        for plane, disc in zip(track.planes, track.discs, strict=True):
            z = coarse.low_mm[2] + plane * coarse.step_mm
            near = ureters[np.abs(ureters[:, 2] - z) < coarse.step_mm]
            reach = HELD_REACH * disc[2]
            held += bool((np.hypot(*(near[:, :2] - disc[:2]).T) < reach).any())
        if held <= HELD_SHARE * len(track.planes):
            kept.append(track)
    return kept


def _before_spine(
    coarse: Coarse, levels: list[Level], spine: float
) -> Callable[[int, Floats], bool]:
    """Return what says whether a circle is as wide as aorta or cava and lies on the spine."""
    heights = np.array([level.centre_mm[2] for level in levels])
    front = min(levels, key=lambda level: float(level.centre_mm[1] - level.radius_mm))
    low, high = SEED_RADIUS_SHARE

    def begins(plane: int, disc: Floats) -> bool:
        z = coarse.low_mm[2] + plane * coarse.step_mm
        level = levels[int(np.argmin(np.abs(heights - z)))]
        away = disc[:2] - level.centre_mm[:2]
        gap = float(np.hypot(*away)) - level.radius_mm - disc[2]
        ahead = away[1] < -0.5 * level.radius_mm and z > front.centre_mm[2] - spine
        return bool(low * spine < disc[2] < high * spine and gap < SEED_GAP_MM and ahead)

    return begins


def _named(
    coarse: Coarse, tracks: list[Track], levels: list[Level], spine: float, soft_hu: float
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
        branch = (
            f"iliac vessel, {'left' if np.median(aside[min(cut, len(z) - 1) :]) > 0 else 'right'}"
        )
        for first, last, name in ((0, cut + 1, trunk), (cut, len(z), branch)):
            measured = _measured(coarse, track, first, last, soft_hu)
            if measured is not None:
                found.append(Vessel(name, *measured))
    return found


def _end_of_trunk(track: Track, aside: Floats, spine: float) -> int:
    """Return the number of the circle at which aorta or cava has become an iliac vessel."""
    radius = ndimage.median_filter(np.array(track.discs)[:, 2], 5, mode="nearest")
    small = (radius < SEED_RADIUS_SHARE[0] * spine) | (np.abs(aside) > spine)
    first = int(np.argmin(small))  # where it begins only part of it may be seen
    return first + int(np.argmax(small[first:])) if small[first:].any() else len(aside)


def _measured(
    coarse: Coarse, track: Track, first: int, last: int, soft_hu: float
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
