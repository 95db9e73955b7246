"""How bright a person's own enhanced blood is, measured on the image, and which cells are so."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from thalweg.measure.discs import inscribed, of_vessels
from thalweg.measure.skeleton import soft_tissue
from thalweg.measure.tracks import ADULT_SPINE_MM, SEED_RADIUS_SHARE, followed

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from thalweg.measure.coarse import Coarse
    from thalweg.measure.skeleton import Level
    from thalweg.measure.tracks import Track

__all__ = [
    "Blood",
    "before_bone",
    "blood_seen",
    "dark_before_spine",
    "even_cells",
    "lit_cells",
    "vessel_discs",
]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

ABOVE_SOFT_HU = 40.0
"""A vessel is taken as enhanced from so much above muscle on; below, it cannot be told from bowel
wall and muscle with safety."""

GREATEST_HU = 325.0
"""Blood brighter than this cannot be told from excreted contrast with safety."""

BRIGHTEST_HU = 700.0
"""Up to this bright discs before the spine are looked for, so that they can be spoken of."""

EDGE_SHARE = 0.47
LEAST_OFF_HU = 15.0
"""Cells darker than this share of the way from muscle to blood are none; weakly enhanced blood is
followed down to so much below its mean, and not farther than `ABOVE_SOFT_HU`."""

SPREAD_HU = 45.0
SPREAD_SHARE = 0.25
"""Cells of blood are brighter than its mean by at most the first, or by this share of its
brightness over muscle."""

ALIKE_HU = 50.0
"""Vessels less apart than this are looked for together."""

EVEN_HU = 14.0
EVEN_SHARE = 0.22
"""Inside a vessel brightness changes from cell to cell by less than the first, or than this share
of what it is over muscle."""

SMOOTHING_CELLS = 0.7
EVEN_RADIUS_SHARE = 0.1
ASIDE_SHARE = 1.5
"""Even patches as wide as the first share of the spine's radius are looked at, within the second to
either side of the midline."""

BONE_BEHIND_MM = 15.0
BONE_CELLS = 4
"""Behind aorta and cava, within this at an adult's size, lies bone of at least so many cells."""

LEAST_CHAIN_MM = 35.0
"""Discs alike must follow one another over so much, at an adult's size, to count as blood."""

FIELD_DEG = 60.0
FIELD_FROM_MM, FIELD_TO_MM = 4.0, 20.0
BRIGHT_FIELD, SOFT_FIELD = 0.1, 0.15
"""Aorta and cava lie so far to either side of straight ahead and off an adult's spine. Together
they fill about a quarter of that; they are dark where less than the first share of it is brighter
than muscle and more than the second as bright."""

FLECK_CELLS = 250
"""Something brighter of fewer cells, 2 ml in an adult, that holds no ureter is taken for plaque in
a vessel's wall."""


@dataclass(frozen=True)
class Blood:
    """Brightness of one kind of blood: arterial, venous, or both where they are alike.

    Parameters
    ----------
    low_hu, high_hu : float
        Cells between these may be of it.
    mean_hu : float
        Of the brightest vessel of this kind.
    """

    low_hu: float
    mean_hu: float
    high_hu: float

    @property
    def told(self) -> bool:
        """Whether it can be told from excreted contrast."""
        return self.mean_hu <= GREATEST_HU


def blood_seen(
    coarse: Coarse, midline_mm: float, size: float, soft_hu: float, bone_hu: float
) -> tuple[Blood, ...]:
    """Return the kinds of enhanced blood that discs before the spine show, brightest first.

    Parameters
    ----------
    coarse : Coarse
    midline_mm : float
        x of the spine.
    size : float
        The person's against an adult's.
    soft_hu : float
        Brightness of muscle.
    bone_hu : float
        Bone is at least so bright.

    Notes
    -----
    Only the even inside of things is looked at, where brightness changes little from cell to
    cell. So no threshold is needed to part vessels from the bone or urine that they touch.
    """
    spine = ADULT_SPINE_MM * size
    even = even_cells(coarse, soft_hu, EVEN_SHARE)
    x = coarse.low_mm[0] + coarse.step_mm * np.arange(even.shape[2])
    even[:, :, np.abs(x - midline_mm) > (ASIDE_SHARE + SEED_RADIUS_SHARE[1]) * spine] = False
    low, high = (share * spine for share in SEED_RADIUS_SHARE)
    seen = []
    for number, plane in enumerate(even):
        discs = inscribed(coarse, plane, EVEN_RADIUS_SHARE * spine)
        vessel, bright, wide = of_vessels(coarse, number, discs, soft_hu, SPREAD_HU)
        vessel &= (low < wide) & (wide < high) & (bright > soft_hu + ABOVE_SOFT_HU)
        seen.append(np.column_stack([discs[:, :2], wide, bright])[vessel])
    begins = before_bone(coarse, midline_mm, size, bone_hu)
    chains = followed(seen, begins, branching=False)
    long = [one for one in chains if one.length_mm(coarse.step_mm) > LEAST_CHAIN_MM * size]
    return _kinds(long, soft_hu)


def before_bone(
    coarse: Coarse, midline_mm: float, size: float, bone_hu: float
) -> Callable[[int, Floats], bool]:
    """Return what says whether a circle in a plane is as wide as aorta or cava and before bone."""
    spine = ADULT_SPINE_MM * size
    low, high = (share * spine for share in SEED_RADIUS_SHARE)

    def begins(plane: int, disc: Floats) -> bool:
        x, y, radius, bright = disc
        if not low < radius < high or abs(x - midline_mm) > ASIDE_SHARE * spine:
            return False
        corners = np.array(
            [
                [min(x, midline_mm), y + radius / 2, 0.0],
                [max(x, midline_mm), y + radius + BONE_BEHIND_MM * size, 0.0],
            ]
        )
        first, last = np.rint(coarse.index_of(corners)).astype(int)[:, 1:]
        first, last = np.maximum(first, 0), np.maximum(last + 1, 0)
        box = coarse.values[plane, first[0] : last[0], first[1] : last[1]]
        return int((box > max(bone_hu, bright + SPREAD_HU)).sum()) >= BONE_CELLS

    return begins


def dark_before_spine(coarse: Coarse, levels: Sequence[Level]) -> bool:
    """Say whether soft tissue lies before the spine, and next to nothing brighter.

    Where aorta and vena cava are is then seen, and they are as dark as muscle.
    """
    if not levels:
        return False
    soft_hu, _ = soft_tissue(coarse)
    angle = np.radians(np.linspace(-FIELD_DEG, FIELD_DEG, 25))
    ways = np.column_stack([np.sin(angle), -np.cos(angle), 0 * angle])
    off = np.linspace(FIELD_FROM_MM, FIELD_TO_MM, 12) / ADULT_SPINE_MM
    shares = []
    for level in levels:
        out = level.radius_mm * (1 + off[:, None, None])
        values = coarse.at(level.centre_mm + out * ways)
        bright = (values > soft_hu + ABOVE_SOFT_HU).mean()
        shares.append((bright, (np.abs(values - soft_hu) < ABOVE_SOFT_HU).mean()))
    # The median: in some planes an arch or a spur may have passed for a body's front.
    bright, soft = np.median(np.array(shares), axis=0)
    return bool(bright < BRIGHT_FIELD and soft > SOFT_FIELD)


def even_cells(coarse: Coarse, soft_hu: float, share: float) -> Flags:
    """Return the cells brighter than muscle, up to contrast, where brightness changes little.

    `share` is how much it may change from cell to cell, of what it is over muscle.
    """
    smooth = ndimage.gaussian_filter(coarse.values, SMOOTHING_CELLS)
    square = np.zeros_like(smooth)
    for axis in range(3):
        slope = ndimage.correlate1d(smooth, [-0.5, 0.0, 0.5], axis=axis)
        square += slope * slope
    over = smooth - soft_hu
    even = square < np.maximum(EVEN_HU, share * over) ** 2
    return np.asarray(even & (over > ABOVE_SOFT_HU) & (smooth < BRIGHTEST_HU))


def _kinds(chains: Sequence[Track], soft_hu: float) -> tuple[Blood, ...]:
    """Return the kinds of blood in chains of discs, brightest first."""
    means = sorted((float(np.median(np.array(one.discs)[:, 3])) for one in chains), reverse=True)
    groups: list[list[float]] = []
    for mean in means:
        if groups and groups[-1][0] - mean < ALIKE_HU:
            groups[-1].append(mean)
        else:
            groups.append([mean])
    kinds: list[Blood] = []
    least = np.inf
    for group in groups:
        edge = soft_hu + EDGE_SHARE * (group[-1] - soft_hu)
        low = max(edge, min(soft_hu + ABOVE_SOFT_HU, group[-1] - LEAST_OFF_HU))
        high = group[0] + max(SPREAD_HU, SPREAD_SHARE * (group[0] - soft_hu))
        if kinds:
            between = (group[0] + least) / 2
            high = min(high, between)
            kinds[-1] = replace(kinds[-1], low_hu=max(kinds[-1].low_hu, between))
        least = group[-1]
        kinds.append(Blood(low, group[0], high))
    return tuple(kinds)


def lit_cells(
    coarse: Coarse, kinds: Sequence[Blood], bone: Flags, ureters: Floats
) -> list[tuple[Blood, Flags]]:
    """Return for each kind of blood the cells that may be of it.

    Parameters
    ----------
    coarse : Coarse
    kinds : sequence of Blood
    bone : ndarray of bool
    ureters : ndarray, shape (n, 3)

    Notes
    -----
    The blurred rims of bone, of urine and of brighter blood are left out. Specks of plaque count
    as blood, lest they part a vessel.
    """
    if not kinds:
        return []
    values = coarse.values
    smooth = ndimage.gaussian_filter(values, SMOOTHING_CELLS)
    # Noise would pit the masks, and smoothing alone would lose small vessels.
    lower, higher = np.minimum(values, smooth), np.maximum(values, smooth)
    urine = np.zeros(values.shape, dtype=bool)
    index = np.rint(coarse.index_of(ureters)).astype(int)
    index = index[((index >= 0) & (index < values.shape)).all(axis=1)]
    urine[tuple(index.T)] = True
    urine = ndimage.binary_dilation(urine, np.ones((3, 3, 3)))
    # Before bone is known its broken rims would pass for plaque.
    flecks = _flecks((lower > kinds[0].high_hu) & ~bone, urine) if bone.any() else bone
    found = []
    for kind in kinds:
        brighter = ndimage.binary_dilation(bone | ((lower > kind.high_hu) & ~flecks))
        within = (higher > kind.low_hu) & (lower <= kind.high_hu)
        found.append((kind, np.asarray((within | flecks) & ~brighter & ~urine)))
    return found


def _flecks(brighter: Flags, urine: Flags) -> Flags:
    """Return small objects that hold no ureter."""
    labels, count = ndimage.label(brighter)
    small = np.bincount(labels.ravel(), minlength=count + 1) < FLECK_CELLS
    small[0] = False
    small[np.unique(labels[urine])] = False
    return np.asarray(small[labels])


def vessel_discs(
    coarse: Coarse,
    lit: Sequence[tuple[Blood, Flags]],
    soft_hu: float,
    least_mm: float,
    *,
    widen: bool = False,
) -> list[Floats]:
    """Return for each plane the circles that may be vessels: x, y, radius in mm, HU.

    Parameters
    ----------
    coarse : Coarse
    lit : sequence of (Blood, ndarray of bool)
    soft_hu : float
    least_mm : float
        Radius of the smallest.
    widen : bool
        Give circles the radius at which brightness falls half way, in place of the inscribed.
    """
    seen = []
    for number in range(len(coarse.values)):
        rows = [np.zeros((0, 4))]
        for kind, cells in lit:
            discs = inscribed(coarse, cells[number], least_mm)
            vessel, _, wide = of_vessels(
                coarse, number, discs, soft_hu, kind.high_hu - kind.mean_hu
            )
            radius = wide if widen else discs[:, 2]
            bright = np.full(len(discs), kind.mean_hu)
            rows.append(np.column_stack([discs[:, :2], radius, bright])[vessel])
        seen.append(np.concatenate(rows))
    return seen
