"""Dividing a course into stretches: gaps, narrowings, dilatations."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from thalweg.measure.course import Dilatation, Gap, Narrowing

__all__ = ["closed_holes", "dilatations", "gaps_of", "narrowings", "runs", "without_specks"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

HOLE_MM = 2.5
"""Shorter losses of contrast are noise."""

SPECK_MM = 5.0
"""A shorter spot of contrast with gaps on both sides may be a stone or lie outside the ureter."""

NARROW_SHARE = 0.6
NARROWER_SHARE = 0.85
"""A narrowing is narrower than the first share of the wider side nearby, and than the second of
the other side (our own choice): a ureter that merely stops being dilated is not narrowed."""

NARROW_LEAST_MM = 2.0
"""Shorter narrowings are not told from noise."""

CLEAR_MM = 4.0
NEARBY_MM = 30.0
"""From how far and up to how far on either side the ureter counts as nearby."""

DILATED_MM = 7.0
"""A ureter of 7 mm or more is called wide (common practice in naming megaureter)."""

DILATED_LEAST_MM = 5.0


def runs(flags: Flags) -> list[tuple[int, int]]:
    """Return first and one-past-last index of each run of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def closed_holes(lit: Flags, step_mm: float) -> Flags:
    """Return `lit` with losses of contrast shorter than `HOLE_MM` made good."""
    out = lit.copy()
    for first, stop in runs(~lit):
        if (stop - first) * step_mm < HOLE_MM:
            out[first:stop] = True
    return out


def without_specks(lit: Flags, step_mm: float) -> tuple[Flags, list[tuple[int, int]]]:
    """Return `lit` without spots shorter than `SPECK_MM`, and the spots left out."""
    out = lit.copy()
    specks = [(a, b) for a, b in runs(lit) if (b - a) * step_mm < SPECK_MM]
    for first, stop in specks:
        out[first:stop] = False
    return out, specks


def gaps_of(lit: Flags, station_mm: Floats) -> tuple[Gap, ...]:
    """Return the stretches without contrast, each to halfway between lit and unlit stations."""
    return tuple(Gap(*_limits(first, stop, station_mm)) for first, stop in runs(~lit))


def narrowings(
    calibre_mm: Floats, upper_mm: Floats, lit: Flags, station_mm: Floats
) -> tuple[Narrowing, ...]:
    """Return lit stretches much narrower than the ureter nearby, wider on both sides.

    Parameters
    ----------
    calibre_mm, upper_mm : ndarray, shape (n,)
        As in `Course`.
    lit : ndarray of bool, shape (n,)
    station_mm : ndarray, shape (n,)

    Returns
    -------
    tuple of Narrowing
        A narrow stretch that ends in a gap is part of how the ureter closes and is left out.
    """
    fine = np.isfinite(upper_mm)
    measured = np.where(fine, upper_mm, calibre_mm)
    before, after = _medians_beside(calibre_mm, station_mm)
    greater, lesser = np.fmax(before, after), np.fmin(before, after)
    narrow = (measured < NARROW_SHARE * greater) & (measured < NARROWER_SHARE * lesser)
    narrow = _joined((narrow | (fine & np.isfinite(greater))) & lit)
    reference = greater
    found = []
    for first, stop in runs(narrow):
        start, end = _limits(first, stop, station_mm)
        open_both = first > 0 and stop < len(lit) and lit[first - 1] and lit[stop]
        if not open_both or end - start < NARROW_LEAST_MM:
            continue
        part = measured[first:stop]
        if not np.isfinite(part).any():
            continue
        least = first + int(np.nanargmin(part))
        found.append(
            Narrowing(
                from_mm=start,
                to_mm=end,
                least_calibre_mm=float(measured[least]),
                reference_calibre_mm=float(reference[least]),
                less_than=bool(fine[first:stop].any()),
            )
        )
    return tuple(found)


def dilatations(calibre_mm: Floats, saturated: Flags, station_mm: Floats) -> tuple[Dilatation, ...]:
    """Return stretches of at least `DILATED_MM`; `saturated`: wider than the window."""
    wide = saturated | (np.nan_to_num(calibre_mm) >= DILATED_MM)
    found = []
    for first, stop in runs(_joined(wide)):
        start, end = _limits(first, stop, station_mm)
        part = calibre_mm[first:stop]
        if end - start < DILATED_LEAST_MM or not np.isfinite(part).any():
            continue
        found.append(
            Dilatation(start, end, float(np.nanmax(part)), bool(saturated[first:stop].any()))
        )
    return tuple(found)


def _medians_beside(calibre_mm: Floats, station_mm: Floats) -> tuple[Floats, Floats]:
    """Return the median calibre nearby on the kidney's and on the bladder's side of each station.

    NaN where nothing is known on that side.
    """
    known = np.flatnonzero(np.isfinite(calibre_mm))
    at, value = station_mm[known], calibre_mm[known]
    out = np.full((2, len(station_mm)), np.nan)
    for number, station in enumerate(station_mm):
        for side, (low, high) in enumerate(((-NEARBY_MM, -CLEAR_MM), (CLEAR_MM, NEARBY_MM))):
            part = value[np.searchsorted(at, station + low) : np.searchsorted(at, station + high)]
            if len(part):
                out[side, number] = np.median(part)
    return out[0], out[1]


def _joined(flags: Flags) -> Flags:
    """Return flags with single missing stations between two true ones filled in."""
    return np.asarray(flags | ndimage.binary_closing(flags, np.ones(3, bool)))


def _limits(first: int, stop: int, station_mm: Floats) -> tuple[float, float]:
    """Return the stations halfway to the neighbours outside a run."""
    start = station_mm[0] if first == 0 else (station_mm[first - 1] + station_mm[first]) / 2
    last = len(station_mm)
    end = station_mm[-1] if stop == last else (station_mm[stop - 1] + station_mm[stop]) / 2
    return float(start), float(end)
