"""Standard deviations of what is measured along a course, besides its length.

Noise comes from the fit of each cross-section. What blur and voxels do to every section alike does
not show in the fit; it was measured on tubes and artificial abdomens of known calibre
(``benchmarks/accuracy_trace.py``) and is added as squares.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

if TYPE_CHECKING:
    from thalweg.measure.course import Course, Dilatation, Gap, Narrowing

__all__ = [
    "SHARP_VOXEL_MM",
    "bend_interval",
    "calibre_sd",
    "median_sd",
    "systematic_sd",
    "with_spreads",
]

Floats = NDArray[np.float64]

VOXEL_SHARE = 0.03
"""Systematic part of a calibre's standard deviation in mm, per square mm of the longest edge of a
voxel: 0.03 mm in planes 1 mm thick, 0.27 mm in planes of 3 mm (measured, see above)."""

SYSTEMATIC_MM = 0.06
"""What is left of blur and model where voxels are fine (measured on an infant's, see above)."""

MR_SHARE = 0.05
"""On MR the level of urine is an estimate: off by a tenth, it changes an area by that much and a
calibre by half (the same phantoms)."""

VOXEL_VARIANCE = 1 / 12 + 1 / 6
"""Variance of a voxel of unit edge and of linear interpolation (`thalweg.measure.calibre`)."""

POINT_SPREAD_MM2 = 0.2
"""Usual variance of a scanner's own blur."""

ALIKE_MM = 3.0
"""Calibres nearer to one another than this share their noise."""

STEP_SHARE = 1 / np.sqrt(12)
"""Standard deviation of a place within a step of which only the step is known."""

GAP_END_MM, GAP_END_VOXELS = 0.8, 0.5
"""Doubt of where contrast ends, which tapers: in mm, and in longest voxel edges."""

WIDEST_END_MM = 6.0
"""The end of a narrowing that opens slowly is not given as worse than this."""

NEARBY_MM = 30.0

TIGHTER, KINK_MM, ROUNDED_MM, WIDER = 0.85, 3.0, 6.0, 1.25
"""The true radius of a bend that reads r lies from `TIGHTER` r to `WIDER` r, and may be `KINK_MM`
less where it turns within a few millimetres, or `ROUNDED_MM` less where no kink can be put right
(measured on single bends of 45 to 110 degrees)."""

SHARP_VOXEL_MM = 1.6
"""In voxels longer than this the centres wander by a share of a plane, and would seem kinks."""


def systematic_sd(calibre_mm: Floats | float, longest_edge_mm: float, modality: str) -> Floats:
    """Return the part of a calibre's standard deviation that no averaging takes away, mm."""
    share = MR_SHARE if modality == "MR" else 0.0
    fixed = np.hypot(VOXEL_SHARE * longest_edge_mm**2, SYSTEMATIC_MM)
    return np.asarray(np.hypot(fixed, share * np.asarray(calibre_mm, dtype=np.float64)))


def calibre_sd(
    calibre_mm: Floats,
    fit_sd_mm: Floats,
    longest_edge_mm: float,
    step_mm: float,
    modality: str = "CT",
) -> Floats:
    """Return the standard deviation of calibres: noise, voxels, and blur along the course.

    Blur of variance v along a course changes a calibre by half v times its second derivative: a
    short narrowing is filled in.
    """
    known = np.isfinite(calibre_mm)
    if known.sum() < 3:
        fixed = systematic_sd(calibre_mm, longest_edge_mm, modality)
        return np.where(known, np.hypot(fit_sd_mm, fixed), np.nan)
    at = np.arange(len(calibre_mm))
    whole = np.interp(at, at[known], calibre_mm[known])
    bent = ndimage.gaussian_filter1d(whole, 1.0, order=2, mode="nearest") / step_mm**2
    filled = (longest_edge_mm**2 * VOXEL_VARIANCE + POINT_SPREAD_MM2) / 2 * bent
    parts = [fit_sd_mm, systematic_sd(whole, longest_edge_mm, modality), filled]
    return np.where(known, np.linalg.norm(parts, axis=0), np.nan)


def median_sd(calibre_sd_mm: Floats, step_mm: float, fixed_mm: float) -> float:
    """Return the standard deviation of a median calibre.

    Noise averages out over stretches of `ALIKE_MM` (a median's is 1.25 times a mean's for normal
    deviates); what is systematic (`systematic_sd`) stays.
    """
    known = calibre_sd_mm[np.isfinite(calibre_sd_mm)]
    if not known.size:
        return float("nan")
    noise = np.sqrt(np.maximum(np.mean(known**2) - fixed_mm**2, 0.0))
    apart = max(len(known) * step_mm / ALIKE_MM, 1.0)
    return float(np.hypot(fixed_mm, 1.2533 * noise / np.sqrt(apart)))


def bend_interval(radius_mm: float, longest_edge_mm: float | None) -> tuple[float, float]:
    """Return where the true radius of the tightest bend lies in 95 % of cases, mm."""
    sharp = longest_edge_mm is not None and longest_edge_mm <= SHARP_VOXEL_MM
    less = KINK_MM if sharp else ROUNDED_MM
    return max(min(radius_mm * TIGHTER, radius_mm - less), 0.0), radius_mm * WIDER


def with_spreads(
    course: Course, longest_edge_mm: float | None, end_sd_mm: float, modality: str = "CT"
) -> Course:
    """Return a course with the standard deviations of all that is measured along it.

    Parameters
    ----------
    course : Course
        With its calibres' standard deviations.
    longest_edge_mm : float or None
        Of a voxel; None where no image was measured.
    end_sd_mm : float
        How far each end may lie along the course from where it was meant.
    modality : str
        Of the image, ``"CT"`` or ``"MR"``.
    """
    chord_sd, tortuosity_sd = _of_ends(course, end_sd_mm)
    edge = None if course.by_hand else longest_edge_mm
    changed = replace(
        course,
        chord_sd_mm=chord_sd,
        tortuosity_sd=tortuosity_sd,
        least_bend_interval_mm=bend_interval(course.least_bend_radius_mm, edge),
    )
    if longest_edge_mm is None:
        return changed
    step = float(course.station_mm[1])
    blur = GAP_END_VOXELS * longest_edge_mm
    gap_sd = float(np.linalg.norm([STEP_SHARE * step, GAP_END_MM, blur]))
    everywhere = np.ones(len(course.station_mm), dtype=bool)
    middle = _median_within(course, everywhere, longest_edge_mm, modality)
    return replace(
        changed,
        median_calibre_sd_mm=middle if np.isfinite(middle) else None,
        gaps=tuple(_gap(one, gap_sd) for one in course.gaps),
        narrowings=tuple(
            _narrowing(one, course, longest_edge_mm, modality) for one in course.narrowings
        ),
        dilatations=tuple(_dilatation(one, course) for one in course.dilatations),
    )


def _of_ends(course: Course, end_sd_mm: float) -> tuple[float, float]:
    """Return the standard deviations of chord and tortuosity.

    An end moved along the course by e changes the length by e and the chord by e times the cosine
    between them; the rest of the length's doubt leaves the chord as it is.
    """
    chord = course.points_mm[-1] - course.points_mm[0]
    size = max(course.chord_mm, 1e-6)
    ways = np.stack(
        [course.points_mm[1] - course.points_mm[0], course.points_mm[-1] - course.points_mm[-2]]
    )
    cosines = ways @ chord / (np.linalg.norm(ways, axis=1) * size)
    rest = max(course.length_sd_mm**2 - 2 * end_sd_mm**2, 0.0)
    each = end_sd_mm * (1 / size - course.length_mm * cosines / size**2)
    chord_sd = end_sd_mm * float(np.linalg.norm(cosines))
    return chord_sd, float(np.sqrt(np.sum(each**2) + rest / size**2))


def _gap(gap: Gap, end_sd_mm: float) -> Gap:
    return replace(gap, end_sd_mm=end_sd_mm)


def _median_within(
    course: Course, where: NDArray[np.bool_], longest_edge_mm: float, modality: str
) -> float:
    """Return the standard deviation of the median calibre of some stations; nan without any."""
    known = where & np.isfinite(course.calibre_mm)
    if not known.any():
        return float("nan")
    usual = float(np.median(course.calibre_mm[known]))
    fixed = float(systematic_sd(usual, longest_edge_mm, modality))
    return median_sd(course.calibre_sd_mm[known], float(course.station_mm[1]), fixed)


def _narrowing(
    narrow: Narrowing, course: Course, longest_edge_mm: float, modality: str
) -> Narrowing:
    station, step = course.station_mm, float(course.station_mm[1])
    beside = np.abs(station - (narrow.from_mm + narrow.to_mm) / 2) < NEARBY_MM
    reference = _median_within(course, beside, longest_edge_mm, modality)
    ends = [_end_sd(place, course, step) for place in (narrow.from_mm, narrow.to_mm)]
    least = _sd_within(narrow.from_mm, narrow.to_mm, course, least=True)
    return replace(
        narrow,
        from_sd_mm=ends[0],
        to_sd_mm=ends[1],
        least_sd_mm=None if narrow.less_than else least,
        reference_sd_mm=reference if np.isfinite(reference) else None,
    )


def _dilatation(wide: Dilatation, course: Course) -> Dilatation:
    if wide.more_than:
        return wide
    greatest = _sd_within(wide.from_mm, wide.to_mm, course, least=False)
    return replace(wide, greatest_sd_mm=greatest)


def _sd_within(start: float, end: float, course: Course, *, least: bool) -> float | None:
    """Return the standard deviation of the least or the greatest calibre of a stretch."""
    inside = (course.station_mm >= start) & (course.station_mm <= end)
    known = np.flatnonzero(inside & np.isfinite(course.calibre_mm))
    if not known.size:
        return None
    calibre = course.calibre_mm[known]
    return float(course.calibre_sd_mm[known[calibre.argmin() if least else calibre.argmax()]])


def _end_sd(place: float, course: Course, step: float) -> float:
    """Return the standard deviation of a narrowing's end: the calibre's over its slope there."""
    at = int(np.argmin(np.abs(course.station_mm - place)))
    near = slice(max(at - 2, 0), at + 3)
    calibre, sd = course.calibre_mm[near], course.calibre_sd_mm[near]
    known = np.isfinite(calibre)
    if known.sum() < 3:
        return WIDEST_END_MM
    slope = abs(float(np.polyfit(course.station_mm[near][known], calibre[known], 1)[0]))
    moved = float(sd[known].mean()) / max(slope, 1e-3)
    return float(min(np.hypot(STEP_SHARE * step, moved), WIDEST_END_MM))
