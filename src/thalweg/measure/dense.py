"""What is denser than contrast on CT: a stone, a stent, or undiluted urine, told apart by shape.

A stone is short, with steps in density at both ends. A stent is thin, of one width, and runs on.
Undiluted contrast is as wide as the lumen, whose width changes along the way. Where none of these
is plain it is said that they cannot be told; in every case calibre is not measured there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from thalweg.measure.course import Stent, Stone
from thalweg.measure.section import RING_MM, TISSUE_HU
from thalweg.measure.stretches import closed_holes, runs

if TYPE_CHECKING:
    from thalweg.measure.section import Sections

__all__ = ["Dense", "dense_things", "nothing_dense"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

DENSE_HU, DENSE_RATIO = 1000.0, 1.5
"""Denser than the first, and than the second times the contrast elsewhere, is no usual contrast."""

SURELY_DENSE_HU = 2000.0
"""Denser than this, whatever is elsewhere."""

STONE_RATIO, STONE_ABOVE_HU = 1.4, 200.0
"""A stone is denser than the contrast beside it by both."""

STONE_MM = 25.0
"""What is longer is no single stone."""

STEP_MM = 3.5
"""Density steps up to a stone within this; contrast thickens along centimetres."""

BESIDE_MM = (5.0, 25.0)
"""From how far and up to how far beyond a dense stretch the contrast is compared with it."""

STENT_HU = 550.0
"""A stent's core, mixed with what lies round it, is at least so dense (own judgement)."""

STENT_WIDTH_MM = (1.2, 3.2)
"""Width at half height: 5 to 8 French, by definition a third of a millimetre each, as blurred."""

STENT_SPREAD_MM = 0.5
"""Nine tenths of a stent's widths lie within this."""

STENT_LENGTH_MM, STENT_SHARE = 60.0, 0.6
"""A stent runs through at least so much of a course; both must hold."""

PLAIN_MM = 100.0
"""So long an unbroken stretch of one width is plainly a stent: the calibre of a ureter changes over
such a length, and waves of peristalsis break its contrast (own judgement)."""

HOLLOW_MM = 1.4
"""The wall of a stent filled with plain urine lies within this of its middle."""


@dataclass(frozen=True, eq=False)
class Dense:
    """What was found: stations at which calibre is hidden, stones, and the stent if any.

    `hidden` includes stones and stent; `unnamed` is the rest, whose nature is not known.
    """

    hidden: Flags
    unnamed: Flags
    stones: tuple[Stone, ...]
    stents: tuple[Stent, ...]


def nothing_dense(count: int) -> Dense:
    """Return that nothing was found: MR, where stones and stents are dark."""
    return Dense(np.zeros(count, dtype=bool), np.zeros(count, dtype=bool), (), ())


def dense_things(sections: Sections, usable: Flags, station_mm: Floats) -> Dense:
    """Find what is denser than contrast along a course.

    Parameters
    ----------
    sections : Sections
        Hounsfield units.
    usable : ndarray of bool, shape (n,)
        Stations with contrast, outside pelvis and bladder.
    station_mm : ndarray, shape (n,)
    """
    if not usable.any():
        return nothing_dense(len(usable))
    core = sections.core_hu
    width = _widths(sections)
    stents = _stents(sections, core, width, usable, station_mm)
    if stents:
        hidden = usable.copy()
        return Dense(hidden, np.zeros_like(usable), (), stents)
    usual = float(np.median(core[usable]))
    level = min(max(DENSE_HU, DENSE_RATIO * usual), SURELY_DENSE_HU)
    dense = np.asarray(ndimage.binary_dilation(usable & (core > level), iterations=2) & usable)
    stones, of_stone = _stones(core, width, usable, station_mm)
    return Dense(dense | of_stone, dense & ~of_stone, stones, ())


def _widths(sections: Sections) -> Floats:
    """Return the width at half height between tissue and core, mm, shape (n,), from ring means."""
    means = sections.smooth.mean(axis=1)
    inner = means[:, : round(HOLLOW_MM / RING_MM)]  # a hollow stent's wall, else the core
    half = TISSUE_HU + 0.5 * np.maximum(inner.max(axis=1) - TISSUE_HU, 1.0)
    outward = np.arange(means.shape[1]) > inner.argmax(axis=1)[:, None]
    below = (means < half[:, None]) & outward
    at = np.maximum(below.argmax(axis=1), 1)
    own = np.arange(len(means))
    fall = means[own, at - 1] - means[own, at]
    share = np.clip((means[own, at - 1] - half) / np.maximum(fall, 1e-6), 0.0, 1.0)
    radius = sections.radii_mm[at - 1] + share * (sections.radii_mm[at] - sections.radii_mm[at - 1])
    return np.asarray(np.where(below.any(axis=1), 2 * radius, np.inf))


def _stents(
    sections: Sections, core: Floats, width: Floats, usable: Flags, station: Floats
) -> tuple[Stent, ...]:
    """Return the stent along a course, if what is dense there is thin, even and long enough."""
    rings = round(HOLLOW_MM / RING_MM)
    wall = sections.smooth[:, :, :rings].mean(axis=1).max(axis=1)
    thin = usable & (np.fmax(core, wall) > STENT_HU)
    thin &= (width > STENT_WIDTH_MM[0]) & (width < STENT_WIDTH_MM[1])
    step = float(station[1] - station[0])
    length = float(thin.sum()) * step
    if length < STENT_LENGTH_MM or length < STENT_SHARE * float(usable.sum()) * step:
        return ()
    low, high = np.percentile(width[thin], [5, 95])
    if high - low > STENT_SPREAD_MM:
        return ()
    at = np.flatnonzero(thin)
    longest = max(stop - first for first, stop in runs(closed_holes(thin, step))) * step
    found = Stent(
        from_mm=float(station[at[0]]),
        to_mm=float(station[at[-1]]),
        width_mm=float(np.median(width[thin])),
        core_hu=float(np.median(np.fmax(core, wall)[thin])),
        certain=longest >= PLAIN_MM,
    )
    return (found,)


def _stones(
    core: Floats, width: Floats, usable: Flags, station: Floats
) -> tuple[tuple[Stone, ...], Flags]:
    """Return short stretches with a step up in density at both ends, and where they are."""
    beside = _contrast_beside(core, usable, station)
    least = np.maximum(STONE_RATIO * beside, beside + STONE_ABOVE_HU)
    found, flags = [], np.zeros_like(usable)
    step = float(station[1] - station[0])
    for first, stop in runs(usable & (core > least)):
        peak = first + int(np.argmax(core[first:stop]))
        level = float(beside[peak])
        start, end = (_crossing(core, station, peak, way, level, 0.5) for way in (-1, 1))
        whole = station[0] < start and end < station[-1]
        if not whole or not 2 * step <= end - start <= STONE_MM:
            continue
        edges = [
            abs(_crossing(core, station, peak, way, level, 0.2)
                - _crossing(core, station, peak, way, level, 0.8))
            for way in (-1, 1)
        ]  # fmt: skip
        if max(edges) > STEP_MM + step:
            continue
        within = (station >= start) & (station <= end)
        across = width[within & np.isfinite(width)]
        found.append(
            Stone(
                from_mm=start,
                to_mm=end,
                width_mm=float(np.max(across)) if across.size else float("nan"),
                core_hu=float(core[peak]),
                beside_hu=level,
            )
        )
        flags |= (station > start - STEP_MM) & (station < end + STEP_MM)
    return tuple(found), flags & usable


def _contrast_beside(core: Floats, usable: Flags, station: Floats) -> Floats:
    """Return the lower quartile of the contrast's density beside each station, on both sides.

    A stone that takes up part of what lies beside does not raise it.
    """
    at, value = station[usable], core[usable]
    out = np.full(len(station), float(np.median(value)))
    for number, here in enumerate(station):
        away = np.abs(at - here)
        part = value[(away > BESIDE_MM[0]) & (away < BESIDE_MM[1])]
        if len(part):
            out[number] = np.quantile(part, 0.25)
    return out


def _crossing(
    core: Floats, station: Floats, peak: int, way: int, level: float, share: float
) -> float:
    """Return where, going one way from a peak, density first falls to a share of its height."""
    height = level + share * (core[peak] - level)
    at = peak
    while 0 <= at + way < len(core) and core[at + way] > height:
        at += way
    if not 0 <= at + way < len(core):
        return float(station[at])
    drop = core[at] - core[at + way]
    part = float(np.clip((core[at] - height) / max(drop, 1e-9), 0.0, 1.0))
    return float(station[at] + way * part * abs(station[at + way] - station[at]))
