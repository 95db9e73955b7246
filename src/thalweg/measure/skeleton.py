"""Bone on a coarse CT, told from urine, bowel and vessels that are as bright."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

if TYPE_CHECKING:
    from thalweg.measure.coarse import Coarse

__all__ = ["Level", "bone_mask", "bone_threshold", "midline", "soft_tissue", "spine_levels"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

SOFT_HU = (-10.0, 110.0)
"""Muscle and unenhanced organs lie between these."""

BONE_ABOVE_SOFT_HU = 120.0
"""Spongy bone of an adult begins about this far above muscle (common practice: 160-200 HU)."""

HOLE_CM2 = 25.0
"""A gap inside bone in one plane, such as a porous vertebral body or the canal, is filled up to
this size."""

CLOSING_MM = 4.0
"""Thin cortex is broken where it is blurred; gaps up to twice this are bridged."""

LARGE_CELLS = 280
"""A bright object of fewer cells than this after peeling, 2 ml in an adult, is no bone that a
route meets."""

ALONG_CELLS = 3
"""Where vessels are as bright as bone, so much round a ureter is taken for no bone."""

OWN_MM = 4.0
"""A bright object with a ureter's course this near to its core holds urine."""

EVEN_SHARE = 0.2
CORTEX_SHARE = 1.15
"""Fluid is even: its spread inside is less than this share of its mean. Where a rim is brighter
than the inside by the second share, it is cortex."""

BODY_WINDOW_MM = 36.0
FAN_DEG = 70.0
"""The vertebral body is looked for this far from the midline; its front is what lies this far to
either side of straight ahead. Rays reach so many radii of its widest circle, and their ends are a
front if they lie on a circle to within this root mean square."""

REACH_SHARE = 1.8
ROUND_MM = 2.5
RAYS = 29
FIRM_SHARE = 0.6
"""A level whose widest circle is less than this share of the usual one is disc or arch."""

LOOK_BACK = 25
JUMP_MM = 5.0
LONG_GAP_MM = 25.0
"""Levels follow on one another when the centre moves sideways by less than this and the height
between them, which counts up to the second; so many levels are looked back over."""

WIDEST_SHARE = 1.2
SLOW_LEVELS = 9
FRONT_OFF_MM = 4.0
"""A circle wider than this share of the usual one has run out along the sacrum's wings; radius and
midline are evened over so many levels, and one whose front lies this far off them is left out."""

RECEDED_SHARE = 1.0
"""Sacrum that lies behind the foremost vertebra by more than this share of the usual radius is
beyond the reach of routes."""


@dataclass(frozen=True, eq=False)
class Level:
    """The front of a vertebral body in one plane.

    Parameters
    ----------
    centre_mm : ndarray, shape (3,)
        Of the circle that fits its front.
    radius_mm : float
    front_mm : ndarray, shape (n, 3)
        Places on its surface.
    """

    centre_mm: Floats
    radius_mm: float
    front_mm: Floats


def soft_tissue(coarse: Coarse) -> tuple[float, float]:
    """Return the commonest brightness of soft tissue and its spread, HU.

    Both are taken from the image's own histogram. The spread is that of the darker half, which
    enhanced vessels and organs do not widen.
    """
    low, high = SOFT_HU
    counts, edges = np.histogram(coarse.values, bins=np.arange(low, high + 1, 2.0))
    smooth = ndimage.gaussian_filter1d(counts.astype(np.float64), 3.0)
    # Bowel content makes a peak of its own below muscle: of peaks alike in size, the brighter.
    peaks = np.flatnonzero((smooth[1:-1] >= smooth[:-2]) & (smooth[1:-1] > smooth[2:])) + 1
    strong = [int(at) for at in peaks if smooth[at] > 0.5 * smooth.max()]
    mode_at = strong[-1] if strong else int(np.argmax(smooth))
    half = np.flatnonzero(smooth[: mode_at + 1] < 0.6 * smooth[mode_at])
    below = half[-1] if half.size else 0
    return float(edges[mode_at] + 1.0), float(np.clip(2.0 * (mode_at - below), 4.0, 25.0))


def bone_threshold(soft_hu: float, spread_hu: float) -> float:
    """Return the brightness above which a cell may be bone, HU."""
    return soft_hu + max(BONE_ABOVE_SOFT_HU, 5.0 * spread_hu)


def bone_mask(
    coarse: Coarse, threshold_hu: float, ureters: Floats, vessels: Flags | None = None
) -> Flags:
    """Return which cells are bone.

    Parameters
    ----------
    coarse : Coarse
    threshold_hu : float
    ureters : ndarray, shape (n, 3)
        Points of the ureters' courses, LPS mm, some mm apart; may be empty.
    vessels : ndarray of bool, optional
        Cells known to be of vessels, which are no bone.

    Notes
    -----
    Gaps and holes in bright cells are filled, and what is left after peeling one cell is judged
    object by object. Kept is what is large, holds no ureter, and is uneven or brighter in its
    rim than inside, as bone with its cortex is and a pool of contrast is not.
    """
    bright = coarse.values > threshold_hu
    if vessels is not None:
        # Branches too fine to be followed may tie bone to a ureter that is filled.
        bright &= ~(vessels | _along(coarse, ureters))
    solid = _filled(bright, coarse.step_mm)
    if vessels is not None:
        solid &= ~vessels  # a bridge from spine to vessel may have been filled
    labels, count = ndimage.label(ndimage.binary_erosion(solid, border_value=1))
    keep = np.bincount(labels.ravel(), minlength=count + 1) > LARGE_CELLS
    keep[0] = False
    held = np.zeros_like(keep)
    held[_with_ureter(coarse, labels, ureters)] = True
    keep &= _bony(coarse, labels, keep, held)
    cores = keep[labels]
    fluid = ndimage.binary_dilation((labels > 0) & ~cores, iterations=2)
    return np.asarray(ndimage.binary_dilation(cores, iterations=3, mask=solid & ~fluid) | cores)


def _filled(bright: Flags, step_mm: float) -> Flags:
    """Return the mask with small gaps and holes closed in each axial plane."""
    reach = max(round(CLOSING_MM / step_mm), 1)
    most = HOLE_CM2 * 100 / step_mm**2
    solid = bright.copy()
    for plane in solid:
        if not plane.any():
            continue
        padded = np.pad(plane, reach)
        ring = ndimage.binary_closing(padded, iterations=reach)[reach:-reach, reach:-reach]
        # Drawn in by a cell, lest a bridge to an artery on the spine stay broad.
        filled = ndimage.binary_erosion(ndimage.binary_fill_holes(ring))
        labels, count = ndimage.label(filled & ~plane)
        small = np.bincount(labels.ravel(), minlength=count + 1) <= most
        small[0] = False
        np.logical_or(plane, small[labels], out=plane)
    return solid


def _along(coarse: Coarse, ureters: Floats) -> Flags:
    """Return the cells along ureters' courses."""
    near = np.zeros(coarse.values.shape, dtype=bool)
    index = np.rint(coarse.index_of(ureters)).astype(int)
    index = index[((index >= 0) & (index < near.shape)).all(axis=1)]
    near[tuple(index.T)] = True
    return np.asarray(ndimage.binary_dilation(near, iterations=ALONG_CELLS))


def _with_ureter(coarse: Coarse, labels: NDArray[np.int32], ureters: Floats) -> NDArray[np.int64]:
    """Return the objects that hold part of a ureter's course."""
    if not len(ureters):
        return np.zeros(0, dtype=np.int64)
    reach = int(np.ceil(OWN_MM / coarse.step_mm))
    offset = np.argwhere(np.ones((2 * reach + 1,) * 3)) - reach
    offset = offset[np.linalg.norm(offset, axis=1) * coarse.step_mm <= OWN_MM]
    index = np.rint(coarse.index_of(ureters)).astype(int)
    cells = np.unique((index[:, None] + offset).reshape(-1, 3), axis=0)
    cells = cells[((cells >= 0) & (cells < labels.shape)).all(axis=1)]
    return np.asarray(np.unique(labels[tuple(cells.T)]), dtype=np.int64)


def _bony(coarse: Coarse, labels: NDArray[np.int32], asked: Flags, held: Flags) -> Flags:
    """Say which objects are uneven, or brighter in their rim than inside.

    One that a ureter is held in must have a rim as only cortex makes it: a ureter that touches
    the pelvis must not take the whole skeleton away.
    """
    bony = np.zeros_like(asked)
    boxes = ndimage.find_objects(labels)
    for label in np.flatnonzero(asked):
        box = boxes[label - 1]
        own = np.pad(labels[box] == label, 1)
        depth = ndimage.distance_transform_cdt(own)[1:-1, 1:-1, 1:-1]
        values = coarse.values[box]
        inside = values[depth >= min(3, int(depth.max()))]
        rim = values[depth == 1]
        even = inside.std() < EVEN_SHARE * abs(inside.mean())
        shell = float(rim.mean() / inside.mean())
        bony[label] = shell > CORTEX_SHARE if held[label] else not even or shell > 1.0
    return bony


def spine_levels(coarse: Coarse, bone: Flags, size: float = 1.0) -> list[Level]:
    """Return the front of the spine in every plane where a vertebral body is seen, from above.

    `size` is the person's against an adult's. A circle is fitted to the front of the widest bone
    near the midline. Planes through discs,
    where only the arch is bone, give none.
    """
    middle_mm = midline(coarse, bone)
    x = coarse.low_mm[0] + coarse.step_mm * np.arange(bone.shape[2])
    found: list[tuple[float, Level]] = []
    for number in range(bone.shape[0] - 1, -1, -1):
        near = np.flatnonzero(np.abs(x - middle_mm) < BODY_WINDOW_MM * size)
        if not near.size or not bone[number][:, near].any():
            continue
        depth = ndimage.distance_transform_edt(np.pad(bone[number][:, near], ((1, 1), (0, 0))))
        row, column = np.unravel_index(int(np.argmax(depth[1:-1])), depth[1:-1].shape)
        inscribed = float(depth[1:-1][row, column]) * coarse.step_mm
        middle = coarse.point_of(np.array([number, row, near[column]]))
        level = _fitted(coarse, bone[number], middle, inscribed)
        if level is not None:
            found.append((inscribed, level))
            middle_mm = 0.8 * middle_mm + 0.2 * float(middle[0])
    if not found:
        return []
    usual = float(np.percentile([inscribed for inscribed, _ in found], 80))
    firm = [level for inscribed, level in found if inscribed > FIRM_SHARE * usual]
    return _to_promontory(_evened(_linked(firm)))


def _linked(levels: list[Level]) -> list[Level]:
    """Return the longest run of levels that follow on one another, hips and ribs left out."""
    best: list[tuple[int, int]] = []
    for number, level in enumerate(levels):
        longest = (1, -1)
        for earlier in range(max(number - LOOK_BACK, 0), number):
            move = np.abs(level.centre_mm - levels[earlier].centre_mm)
            if np.hypot(*move[:2]) < JUMP_MM + min(move[2], LONG_GAP_MM):
                longest = max(longest, (best[earlier][0] + 1, earlier))
        best.append(longest)
    at = max(range(len(best)), key=lambda number: best[number][0], default=-1)
    run = []
    while at >= 0:
        run.append(levels[at])
        at = best[at][1]
    return run[::-1]


def _evened(levels: list[Level]) -> list[Level]:
    """Return the levels with circles that change only slowly, their fronts where they were.

    How wide a circle through part of an outline is, is less certain than where its front lies.
    """
    if not levels:
        return []
    radius = np.array([level.radius_mm for level in levels])
    front = np.array([level.centre_mm[1] for level in levels]) - radius
    aside = np.array([level.centre_mm[0] for level in levels])
    usual = float(np.median(radius))
    radius = np.clip(_slow(radius, SLOW_LEVELS), usual / WIDEST_SHARE, usual * WIDEST_SHARE)
    slow, aside = _slow(front, SLOW_LEVELS), _slow(aside, SLOW_LEVELS)
    evened = []
    for level, r, y, x, off in zip(levels, radius, front, aside, front - slow, strict=True):
        if abs(off) > FRONT_OFF_MM:
            continue  # the arch or a rib was the widest bone here
        beside = np.abs(level.front_mm[:, 0] - x) < 0.8 * r
        centre = np.array([x, y + r, level.centre_mm[2]])
        evened.append(Level(centre, float(r), level.front_mm[beside]))
    return evened


def _to_promontory(levels: list[Level]) -> list[Level]:
    """Return the levels down to where the sacrum has receded from the foremost vertebra."""
    if not levels:
        return []
    front = np.array([level.centre_mm[1] - level.radius_mm for level in levels])
    foremost = int(np.argmin(front))
    behind = front - front[foremost] > RECEDED_SHARE * levels[foremost].radius_mm
    behind[: foremost + 1] = False
    return levels[: int(np.argmax(behind))] if behind.any() else levels


def _slow(values: Floats, count: int) -> Floats:
    middle = ndimage.median_filter(values, count, mode="nearest")
    return np.asarray(ndimage.uniform_filter1d(middle, count, mode="nearest"))


def midline(coarse: Coarse, bone: Flags) -> float:
    """Return x of the spine: where bone is seen in most planes."""
    columns = bone.any(axis=1).sum(axis=0).astype(np.float64)
    smooth = ndimage.gaussian_filter1d(columns, 10.0 / coarse.step_mm)
    body = np.flatnonzero((coarse.values > SOFT_HU[0]).any(axis=(0, 1)))
    if body.size:
        # Hips weigh more than the spine: only the middle third of the body can hold it.
        third = (body[-1] - body[0]) // 3
        smooth[: body[0] + third] = 0
        smooth[body[-1] - third :] = 0
    return float(coarse.low_mm[0] + coarse.step_mm * int(np.argmax(smooth)))


def _fitted(coarse: Coarse, plane: Flags, middle: Floats, inscribed: float) -> Level | None:
    """Return the circle through the front of the bone round a place."""
    angles = np.radians(np.linspace(-FAN_DEG, FAN_DEG, RAYS))
    ways = np.column_stack([np.sin(angles), -np.cos(angles)])
    out = np.arange(0.0, REACH_SHARE * inscribed + 4.0, coarse.step_mm / 4)
    points = middle[:2] + out[:, None, None] * ways
    index = np.moveaxis(((points - coarse.low_mm[:2]) / coarse.step_mm)[..., ::-1], -1, 0)
    seen = ndimage.map_coordinates(plane.astype(np.float32), index, order=1, cval=0.0) > 0.5
    # The last bone on a ray: porous bodies have holes.
    last = len(out) - 1 - np.argmax(seen[::-1], axis=0)
    ends = seen.any(axis=0) & (last < len(out) - 1)
    if ends.sum() < RAYS // 2:
        return None
    surface = points[last[ends], np.flatnonzero(ends)]
    system = np.column_stack([2 * surface, np.ones(len(surface))])
    (a, b, c), *_ = np.linalg.lstsq(system, (surface**2).sum(axis=1), rcond=None)
    square = float(c + a * a + b * b)
    if square <= 0 or not inscribed * 0.7 < np.sqrt(square) < inscribed * 2.5:
        return None
    off = np.abs(np.hypot(*(surface - (a, b)).T) - np.sqrt(square))
    if np.sqrt(np.mean(off**2)) > ROUND_MM:
        return None
    height = np.full((len(surface), 1), middle[2])
    return Level(np.array([a, b, middle[2]]), float(np.sqrt(square)), np.hstack([surface, height]))
