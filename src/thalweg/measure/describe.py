"""From a centre line and its sections to everything a `Course` says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypedDict

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from thalweg.measure.bends import bend_radii, least_bend_radius, sharper_radii
from thalweg.measure.beside import bright_beside
from thalweg.measure.calibre import fitted_calibres, voxel_blur
from thalweg.measure.course import Course
from thalweg.measure.dense import Dense, dense_things, nothing_dense
from thalweg.measure.doubt import END_SD_MM, length_sd
from thalweg.measure.hollow import dark_cores
from thalweg.measure.refine import STEP_MM, Lit
from thalweg.measure.remarks import Seen, remarks
from thalweg.measure.spline import frames, spline_through
from thalweg.measure.spread import SHARP_VOXEL_MM, calibre_sd, with_spreads
from thalweg.measure.stretches import dilatations, gaps_of, narrowings, runs

if TYPE_CHECKING:
    from thalweg.measure.capture import OtherWay
    from thalweg.measure.section import Sections
    from thalweg.record.image import ImageVolume

__all__ = ["described", "undescribed"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

RESOLVED_VOXELS = 1.5
"""A lumen narrower than this many voxel widths is given as 'less than'."""

RAYLEIGH_MEDIAN = 1.177
"""Median distance of points scattered in a plane, in standard deviations of one coordinate."""

END_STATIONS = 2
"""At the very ends a section is half in the ureter and half in what it opens into."""

GAP_MARGIN_MM = 1.0
"""Within this (or a voxel's longest edge) of a gap the blur of its end spoils the calibre."""


class _Lengths(TypedDict):
    """The part of a `Course` that follows from its points alone."""

    points_mm: Floats
    station_mm: Floats
    length_mm: float
    chord_mm: float
    tortuosity: float


@dataclass(frozen=True, eq=False)
class _Calibre:
    """Calibre along a course: measured, too fine, too wide, or spoilt by something dense."""

    measured_mm: Floats
    sd_mm: Floats
    upper_mm: Floats
    saturated: Flags
    dense: Flags
    things: Dense
    hollow: Flags
    lit: Flags


def described(
    volume: ImageVolume,
    points_mm: Floats,
    sections: Sections,
    state: Lit,
    placed_mm: Floats,
    *,
    scatter_mm: float,
    corded: Flags | None = None,
    length_sd_mm: float | None = None,
    others: tuple[OtherWay, ...] = (),
    touched_mm: Floats | None = None,
) -> Course:
    """Return the course with lengths, calibre, stretches, bends, doubt and cautions.

    Parameters
    ----------
    volume : ImageVolume
    points_mm : ndarray, shape (n, 3)
        Evenly spaced.
    sections : Sections
        Cut at those points, or at the centres of the contrast beside them.
    state : Lit
    placed_mm : ndarray, shape (k, 3)
    scatter_mm : float
        How far the centres found lie from the curve.
    corded : ndarray of bool, shape (n,), optional
        Where the course follows a cord of soft tissue; by default nowhere.
    length_sd_mm : float, optional
        Given for a course placed by hand, whose length does not come from the image; by default
        what gaps, ends, scatter and other ways leave in doubt (`thalweg.measure.doubt`).
    others : tuple of OtherWay
        Ways that the course could take instead.
    touched_mm : ndarray, shape (k, 3), optional
        Where another bright tube touches the course.
    """
    spline, station = spline_through(points_mm)
    calibre = _calibre(volume, sections, state, frames(spline, station)[0], station)
    gaps = gaps_of(calibre.lit, station)
    radius = bend_radii(points_mm, float(station[1]))
    seen = calibre.lit & ~state.wide_end
    bend = float(np.mean(1 / radius[seen])) if seen.any() else 0.0
    fine = float(volume.spacing_mm.max()) <= SHARP_VOXEL_MM
    if length_sd_mm is None and fine:  # a course placed by hand bends where it was placed
        off = sections.centred()
        noise = float(np.median(np.linalg.norm(off[seen], axis=1))) if seen.any() else 0.0
        radius = sharper_radii(
            radius, points_mm + off, noise / RAYLEIGH_MEDIAN, seen, float(station[1])
        )
    narrow = narrowings(calibre.measured_mm, calibre.upper_mm, seen, station)
    wide = dilatations(calibre.measured_mm, calibre.saturated & seen, station)
    least_bend = least_bend_radius(radius, station, seen)
    told = Seen(
        station_mm=station,
        points_mm=points_mm,
        placed_mm=placed_mm,
        gaps=gaps,
        corded=np.zeros(len(station), dtype=bool) if corded is None else corded,
        narrowings=narrow,
        dilatations=wide,
        dense=_spans(calibre.dense, station),
        hollow=_spans(calibre.hollow, station),
        stones=calibre.things.stones,
        stents=calibre.things.stents,
        specks=[(float(station[a]), float(station[b - 1])) for a, b in state.specks],
        others=others,
        touched_mm=np.empty((0, 3)) if touched_mm is None else touched_mm,
        beside=bright_beside(volume, points_mm, station, gaps),
        least_bend_mm=least_bend,
    )
    traced_sd = length_sd(float(station[-1]), gaps, scatter_mm, bend, others)
    course = Course(
        **_lengths(points_mm, station),
        length_sd_mm=traced_sd if length_sd_mm is None else length_sd_mm,
        calibre_mm=calibre.measured_mm,
        calibre_upper_mm=calibre.upper_mm,
        bend_radius_mm=radius,
        least_bend_radius_mm=least_bend,
        gaps=gaps,
        narrowings=narrow,
        dilatations=wide,
        cautions=remarks(volume, told),
        by_hand=length_sd_mm is not None,
        stones=calibre.things.stones,
        stents=calibre.things.stents,
        calibre_sd_mm=calibre.sd_mm,
    )
    return with_spreads(course, float(volume.spacing_mm.max()), END_SD_MM, volume.modality)


def undescribed(points_mm: Floats, length_sd_mm: float, cautions: tuple[str, ...]) -> Course:
    """Return a course placed by hand of which only the line is known: no calibre, no gaps."""
    _, station = spline_through(points_mm)
    radius = bend_radii(points_mm, float(station[1]))
    nothing = np.full(len(station), np.nan)
    everywhere = np.ones(len(station), dtype=bool)
    course = Course(
        **_lengths(points_mm, station),
        length_sd_mm=length_sd_mm,
        calibre_mm=nothing,
        calibre_upper_mm=nothing.copy(),
        bend_radius_mm=radius,
        least_bend_radius_mm=least_bend_radius(radius, station, everywhere),
        cautions=cautions,
        by_hand=True,
        calibre_sd_mm=nothing.copy(),
    )
    return with_spreads(course, None, END_SD_MM)


def _lengths(points_mm: Floats, station: Floats) -> _Lengths:
    length = float(station[-1])
    chord = float(np.linalg.norm(points_mm[-1] - points_mm[0]))
    return {
        "points_mm": points_mm,
        "station_mm": station,
        "length_mm": length,
        "chord_mm": chord,
        "tortuosity": length / chord if chord > 0 else float("inf"),
    }


def _calibre(
    volume: ImageVolume, sections: Sections, state: Lit, tangent: Floats, station: Floats
) -> _Calibre:
    lit = state.lit.copy()
    spread = np.isfinite(sections.edge_mm)
    usable = lit & spread & ~state.wide_end
    hollow = dark_cores(sections, STEP_MM) if volume.modality == "MR" else np.zeros_like(usable)
    usable &= ~hollow
    is_ct = volume.modality == "CT"
    things = dense_things(sections, usable, station) if is_ct else nothing_dense(len(usable))
    dense = things.hidden
    fit = fitted_calibres(sections, usable & ~dense, voxel_blur(volume, *sections.normals), STEP_MM)
    limit = RESOLVED_VOXELS * _voxel_width(volume, tangent)
    fine = usable & ~dense & (fit.diameter_mm < limit)
    for first, stop in runs(fine):  # a fine end beside a gap is how the ureter closes
        if (first > 0 and not lit[first - 1]) or (stop < len(lit) and not lit[stop]):
            lit[first:stop] = False
    margin = max(GAP_MARGIN_MM, float(volume.spacing_mm.max()) * 0.6)
    beside = ndimage.binary_dilation(~lit, iterations=int(np.ceil(margin / STEP_MM)))
    good = usable & ~dense & ~fine & ~beside
    good[:END_STATIONS] = good[-END_STATIONS:] = False
    return _Calibre(
        measured_mm=np.where(good, fit.diameter_mm, np.nan),
        sd_mm=calibre_sd(
            np.where(good, fit.diameter_mm, np.nan),
            fit.sd_mm,
            float(volume.spacing_mm.max()),
            STEP_MM,
            volume.modality,
        ),
        upper_mm=np.where(fine & lit, limit, np.nan),
        saturated=lit & ~spread,
        dense=things.unnamed & lit,
        things=things,
        hollow=hollow,
        lit=lit,
    )


def _voxel_width(volume: ImageVolume, tangent: Floats) -> Floats:
    """Return the width in mm of a square as large as a voxel's mean section square to tangents."""
    along = np.linalg.norm(tangent @ volume.from_lps[:3, :3].T, axis=1)
    voxel_mm3 = abs(float(np.linalg.det(volume.to_lps[:3, :3])))
    return np.asarray(np.sqrt(voxel_mm3 * along))


def _spans(flags: Flags, station: Floats) -> list[tuple[float, float]]:
    return [(float(station[a]), float(station[b - 1])) for a, b in runs(flags)]
