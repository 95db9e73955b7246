"""From a rough way to a centre line: centring in planes square to it, then smoothing, in turn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from thalweg.measure.cord import followed_cords
from thalweg.measure.corridor import BRIGHT_HU
from thalweg.measure.levels import Tone, untouched
from thalweg.measure.section import TISSUE_HU, Sections, cut_sections
from thalweg.measure.spline import even_steps, frames, smoothed, spline_through
from thalweg.measure.stretches import closed_holes, runs, without_specks

if TYPE_CHECKING:
    from thalweg.measure.corridor import Corridor, Obstacles
    from thalweg.record.image import ImageVolume

__all__ = ["STEP_MM", "CentreLine", "Lit", "lit_stations", "refined", "sections_along"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

STEP_MM = 1.0
"""Distance between stations."""

SMOOTHINGS = ((4.0, 2), (3.0, 2), (3.0, 3), (2.5, 3), (2.5, 3))
"""Scale in mm and order of the smoothing of each round. The first two look for contrast near the
rough way; the later ones bridge gaps with the bend that leads into them."""

SEEKING_ROUNDS = 2

TOLD_SHARE = 0.3
"""Where less than this share of a course was seen, its bends do not say how the rest runs."""

CORD_FROM_ROUND = 3
"""From this round on the empty ureter is looked for in the gaps."""

FARTHEST_MOVE_MM = 2.5
"""How far one round may move a station."""

LIT_SHARE = 0.3
"""A core below this share of the brightness nearby is not told from an empty ureter."""

FAINT_HU = 140.0
"""Fainter contrast than `BRIGHT_HU` counts down to this where it leads on between brighter parts:
a fine lumen in thick planes. A vein that crosses a gap does not lead to contrast."""

NEARBY_MM = 10.0

WIDE_ENDS_MM = 30.0
"""Length at each end within which a wide section is renal pelvis or bladder."""

WIDE_RATIO = 1.8
"""Sections wider than this times the median are wide, if also wider than `WIDE_RADIUS_MM`."""

WIDE_RADIUS_MM = 3.5

END_WEIGHT = 4.0
VIA_WEIGHT = 1.0
"""Weights of placed points where the image shows no centre; none where it does."""


@dataclass(frozen=True, eq=False)
class Lit:
    """Which stations show the ureter's contrast.

    Parameters
    ----------
    lit : ndarray of bool, shape (n,)
        Contrast at the centre, short losses made good and lone specks left out.
    wide_end : ndarray of bool, shape (n,)
        Within the renal pelvis or the bladder, where no centre of a ureter can be told.
    specks : list of (int, int)
        First and one-past-last stations of the lone spots left out.
    """

    lit: Flags
    wide_end: Flags
    specks: list[tuple[int, int]]


@dataclass(frozen=True, eq=False)
class CentreLine:
    """A refined course.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 3)
        Evenly spaced, about `STEP_MM` apart.
    sections : Sections
        Cut square to the course at those points.
    state : Lit
    scatter_mm : float
        Root mean square distance between the centres found and the curve.
    corded : ndarray of bool, shape (n,)
        Where the course follows a cord of soft tissue through a gap.
    """

    points_mm: Floats
    sections: Sections
    state: Lit
    scatter_mm: float
    corded: Flags


def refined(
    volume: ImageVolume, corridor: Corridor, placed_mm: Floats, tone: Tone = untouched
) -> CentreLine:
    """Return the smooth centre line near a rough way.

    Parameters
    ----------
    volume : ImageVolume
        On the working scale (`thalweg.measure.signal`).
    corridor : Corridor
        Within some 3 mm of the ureter where it holds contrast.
    placed_mm : ndarray, shape (k, 3)
        The points someone placed. They hold the curve where it shows no contrast, and the first
        and last of them say where it starts and ends.
    tone : callable
        Sets fat off from soft tissue (`thalweg.measure.levels`).
    """
    points = _unstaired(corridor.points_mm)
    scatter = 0.0
    trust = np.zeros(len(points))
    tapers = (0, 0)
    for number, (scale, order) in enumerate(SMOOTHINGS):
        seeking = number < SEEKING_ROUNDS
        sections, tangent = sections_along(volume, points, corridor.obstacles)
        state = lit_stations(sections, STEP_MM, seeking=seeking)
        if not seeking:
            tapers = _tapered(state.wide_end, tapers)
        move = sections.sought() if seeking else sections.centred()
        size = np.linalg.norm(move, axis=1, keepdims=True)
        move *= np.minimum(1.0, FARTHEST_MOVE_MM / np.maximum(size, 1e-9))
        weight = _weights(state)
        target = points + move * (weight > 0)[:, None]
        if number >= CORD_FROM_ROUND:
            move, trust = followed_cords(volume, points, ~state.lit, corridor.obstacles, tone)
            target, weight = target + move, weight + trust
        _hold_placed(target, weight, points, tangent, placed_mm)
        seen = weight > 0.5
        told = order if seen.mean() > TOLD_SHARE else 2
        curve = smoothed(target, weight, scale_mm=scale, step_mm=STEP_MM, order=told)
        if seen.any():
            off = np.sum((target - curve)[seen] ** 2, axis=1)
            scatter = float(np.sqrt(off.mean()))
        points = even_steps(curve, STEP_MM)
    sections, _ = sections_along(volume, points, corridor.obstacles)
    state = lit_stations(sections, STEP_MM)
    _tapered(state.wide_end, tapers)
    share = np.linspace(0.0, 1.0, len(points))
    corded = np.interp(share, np.linspace(0.0, 1.0, len(trust)), trust) > 0
    return CentreLine(points, sections, state, scatter, corded)


def sections_along(
    volume: ImageVolume, points_mm: Floats, obstacles: Obstacles | None = None
) -> tuple[Sections, Floats]:
    """Return the sections square to the curve through evenly spaced points, and its tangents."""
    spline, run = spline_through(points_mm)
    tangent, one, two = frames(spline, run)
    return cut_sections(volume, points_mm, one, two, obstacles), tangent


def lit_stations(sections: Sections, step_mm: float, *, seeking: bool = False) -> Lit:
    """Say which stations show contrast, and which of them lie in the renal pelvis or bladder.

    While `seeking`, contrast anywhere near counts; later only contrast at the centre does.
    """
    level = sections.peak_hu if seeking else sections.core_hu
    reach = round(NEARBY_MM / step_mm)
    nearby = ndimage.maximum_filter1d(level, 2 * reach + 1)
    bright = level > BRIGHT_HU
    if bright.any():
        nearby = np.minimum(nearby, 1.5 * np.median(level[bright]))
    floor = TISSUE_HU + LIT_SHARE * (nearby - TISSUE_HU)
    lit = level > np.maximum(BRIGHT_HU, floor)
    if not seeking:
        lit = _continued(lit, level > np.maximum(FAINT_HU, floor))
    lit, specks = without_specks(closed_holes(lit, step_mm), step_mm)
    return Lit(lit, _wide_ends(sections.edge_mm, lit, step_mm), specks)


def _continued(lit: Flags, faint: Flags) -> Flags:
    """Return `lit` with the faint stretches that lead from one lit station to another."""
    out = lit.copy()
    for first, stop in runs(faint & ~lit):
        if first > 0 and stop < len(lit) and lit[first - 1] and lit[stop]:
            out[first:stop] = True
    return out


def _wide_ends(edge_mm: Floats, lit: Flags, step_mm: float) -> Flags:
    """Say which stations belong to a wide object that reaches an end of the course."""
    out = np.zeros_like(lit)
    known = lit & np.isfinite(edge_mm)
    if not known.any():
        return out
    usual = float(np.median(edge_mm[known]))
    wide = lit & (edge_mm > max(WIDE_RATIO * usual, WIDE_RADIUS_MM))
    near = min(round(WIDE_ENDS_MM / step_mm), len(lit) // 3)
    settle = round(3.0 / step_mm)
    for first, stop in runs(ndimage.binary_closing(wide, np.ones(5, bool)) | wide):
        if first <= settle and stop <= near:
            out[: stop + settle] = True
        if stop >= len(lit) - settle and first >= len(lit) - near:
            out[first - settle :] = True
    return out


def _tapered(wide_end: Flags, before: tuple[int, int]) -> tuple[int, int]:
    """Widen the wide ends, in place, to the most stations any round has found; return how many.

    Otherwise a course that is held off the bladder in one round would be drawn into it in the next.
    """
    flagged = [int(part.argmin()) if not part.all() else 0 for part in (wide_end, wide_end[::-1])]
    start, end = (max(now, then) for now, then in zip(flagged, before, strict=True))
    wide_end[:start] = True
    wide_end[len(wide_end) - end :] = True
    return start, end


def _weights(state: Lit) -> Floats:
    """Return 1 where a centre was seen, falling to 0 over two stations towards anything else."""
    seen = (state.lit & ~state.wide_end).astype(np.float64)
    weight = seen * ndimage.uniform_filter1d(seen, 3, mode="nearest")
    return np.asarray(np.where(weight < 0.999, weight * 0.5, weight))


def _hold_placed(
    target: Floats, weight: Floats, points: Floats, tangent: Floats, placed_mm: Floats
) -> None:
    """Pull the targets to the placed points where nothing was seen; fix the ends lengthwise."""
    for at, placed in ((0, placed_mm[0]), (-1, placed_mm[-1])):
        if weight[at] < 0.5:
            target[at], weight[at] = placed, END_WEIGHT
        else:
            target[at] += tangent[at] * np.dot(placed - points[at], tangent[at])
    for placed in placed_mm[1:-1]:
        at = int(np.argmin(np.linalg.norm(points - placed, axis=1)))
        if weight[at] < 0.5:
            target[at], weight[at] = placed, VIA_WEIGHT


def _unstaired(rough_mm: Floats) -> Floats:
    """Return the rough way evenly spaced and without the steps of the grid it was found on."""
    kept = np.concatenate([[True], np.linalg.norm(np.diff(rough_mm, axis=0), axis=1) > 1e-6])
    way = even_steps(rough_mm[kept], STEP_MM)
    weight = np.ones(len(way))
    weight[[0, -1]] = 100.0
    return even_steps(smoothed(way, weight, scale_mm=2.5, step_mm=STEP_MM), STEP_MM)
