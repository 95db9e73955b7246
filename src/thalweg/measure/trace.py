"""Tracing one ureter on a CT or MR urogram, from the renal pelvis to the bladder."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thalweg.errors import ImageError
from thalweg.measure.byhand import fitted_by_hand
from thalweg.measure.corridor import find_corridor
from thalweg.measure.describe import described, undescribed
from thalweg.measure.fault import Fault, fault_of
from thalweg.measure.placed import (
    TRACEABLE,
    checked_by_hand,
    checked_in_tissue,
    checked_points,
    checked_volume,
)
from thalweg.measure.refine import STEP_MM, lit_stations, refined, sections_along
from thalweg.measure.remarks import NOT_CT, by_hand
from thalweg.measure.section import cut_sections
from thalweg.measure.sides import checked_sides
from thalweg.measure.signal import working_image
from thalweg.progress import Progress, silent

if TYPE_CHECKING:
    from thalweg.measure.course import Course
    from thalweg.record.image import ImageVolume

__all__ = ["course_from_points", "trace_ureter"]

Floats = NDArray[np.float64]

GREATEST_OBSTACLE_SHARE = 0.5
"""A way that runs through bone for more than this share of it is not a ureter."""

LEAST_OBSTACLE_MM = 6.0
"""So much of a way through bone is said."""


def trace_ureter(
    volume: ImageVolume,
    start_mm: ArrayLike,
    end_mm: ArrayLike,
    via_mm: ArrayLike = (),
    *,
    side: str = "",
    progress: Progress = silent,
) -> Course:
    """Trace one ureter between two placed points.

    Parameters
    ----------
    volume : ImageVolume
        CT in the excretory phase, Hounsfield units; or MR on which urine is bright and fat dark,
        any units (`thalweg.measure.signal`).
    start_mm, end_mm : array_like, shape (3,)
        LPS millimetres in the renal pelvis (or at its junction with the ureter) and at the
        bladder. The course starts and ends abreast of them.
    via_mm : array_like, shape (k, 3)
        Points the ureter passes, in order from start to end.
    side : str
        Whose ureter it is said to be, ``"left"`` or ``"right"``; empty: nobody said.
    progress : Progress
        Told of three steps.

    Returns
    -------
    Course

    Raises
    ------
    InputError
        A point is not finite, outside the image, in air or in bone; start and end coincide or
        lie on different sides of the body, or the end much higher than the start, without via
        points; via points are out of order; the start lies on the other side than `side`.
    ImageError
        The series is neither CT nor MR, urine does not stand out on MR, or the only way between
        the points runs through bone.

    Notes
    -----
    A cheapest path through coarse blocks shows where to look. The curve is then centred in
    planes square to it and smoothed, in turn; gaps are bridged with the least bending, or along
    the cord of the empty ureter where one shows. Length is the arc length of the curve, never of
    the path.
    """
    checked_volume(volume)
    placed = checked_points(volume, start_mm, end_mm, via_mm)
    progress("tracing", 0, 3)
    image = working_image(volume, placed)
    checked_in_tissue(image.volume, placed, image.tone)
    ends = checked_sides(volume, placed, image.body_above, named=side)
    volume = image.volume
    corridor = find_corridor(volume, placed, image.tone)
    if corridor.obstacle_share > GREATEST_OBSTACLE_SHARE:
        raise ImageError(
            f"the way between the points runs through {_large(volume)}",
            mend="move the points on to the ureter or add via points along it",
            detail=replace(
                fault_of(Fault.THROUGH_BONE, placed, 0, len(placed) - 1),
                way_mm=corridor.points_mm,
                in_bone=corridor.in_bone,
            ),
        )
    progress("tracing", 1, 3)
    line = refined(volume, corridor, placed, image.tone)
    progress("tracing", 2, 3)
    course = described(
        volume,
        line.points_mm,
        line.sections,
        line.state,
        placed,
        scatter_mm=line.scatter_mm,
        corded=line.corded,
        others=corridor.others,
        touched_mm=corridor.touched_mm,
    )
    through = _through_bone(volume, corridor.obstacle_share, course.length_mm)
    progress("tracing", 3, 3)
    return replace(course, cautions=(*course.cautions, *ends, *corridor.cautions, *through))


def _large(volume: ImageVolume) -> str:
    """Return what a bright object too large for a ureter can be on an image."""
    if volume.modality == "CT":
        return "bone or another large bright object"
    return "a large bright object, such as kidney, bowel or a vessel"


def _through_bone(volume: ImageVolume, share: float, length_mm: float) -> tuple[str, ...]:
    """Return a caution where part of the way runs through bone or another large bright object."""
    if share * length_mm < LEAST_OBSTACLE_MM:
        return ()
    said = (
        f"About {share * length_mm:.0f} mm of the way run through {_large(volume)}:"
        " the length holds only if the ureter truly passes there; add via points on it."
    )
    return (said,)


def course_from_points(
    points_mm: ArrayLike, volume: ImageVolume | None = None, *, side: str = ""
) -> Course:
    """Return the course along points placed by hand, measured like a traced one.

    Parameters
    ----------
    points_mm : array_like, shape (n, 3)
        LPS millimetres along the ureter from renal pelvis to bladder, n at least 2.
    volume : ImageVolume, optional
        Where it is given and CT or MR, calibre, narrowings and gaps are measured on the contrast
        beside the course; the course itself keeps to the points, within their scatter.
    side : str
        Whose ureter it is said to be, ``"left"`` or ``"right"``; empty: nobody said.

    Returns
    -------
    Course
        The likeliest curve along the points (`thalweg.measure.byhand`). Its `length_sd_mm` knows
        how the points scatter and what may hide between them, and nothing of the image.

    Raises
    ------
    InputError
        Fewer than two points, or points that are not finite, coincide, lie outside the image, or
        lie as no ureter does (`thalweg.measure.sides`).
    """
    placed = checked_by_hand(points_mm, volume)
    fit = fitted_by_hand(placed, STEP_MM)
    points, sd, said = fit.points_mm, fit.length_sd_mm, by_hand(placed, fit)
    if volume is None or volume.modality not in TRACEABLE:
        given = volume.cautions if volume is not None else ()
        return undescribed(points, sd, (*given, *said, NOT_CT))
    try:
        image = working_image(volume, placed)
    except ImageError as refused:
        nothing = f"Calibre, narrowings and stretches without contrast are not known: {refused}"
        return undescribed(points, sd, (*volume.cautions, *said, nothing))
    ends = checked_sides(volume, placed, image.body_above, named=side, by_hand=True)
    volume = image.volume
    sections, _ = sections_along(volume, points)
    near = lit_stations(sections, STEP_MM, seeking=True).lit
    beside = points + sections.sought() * near[:, None]
    sections = cut_sections(volume, beside, *sections.normals)
    state = lit_stations(sections, STEP_MM)
    course = described(
        volume, points, sections, state, placed, scatter_mm=fit.click_sd_mm, length_sd_mm=sd
    )
    return replace(course, cautions=(*said, *course.cautions, *ends))
