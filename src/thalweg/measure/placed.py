"""Looking at the points that someone placed before anything is measured from them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thalweg.errors import ImageError, InputError
from thalweg.measure.fault import Fault, PlacedFault, fault_of, point_names
from thalweg.measure.levels import Tone, untouched

if TYPE_CHECKING:
    from thalweg.record.image import ImageVolume

__all__ = ["TRACEABLE", "checked_by_hand", "checked_in_tissue", "checked_points", "checked_volume"]

TRACEABLE = ("CT", "MR")

Floats = NDArray[np.float64]

AIR_HU = -300.0
"""Below this a point lies in air or lung: fat is about -100 HU, air -1000 (by definition)."""

LEAST_DISTANCE_MM = 5.0
"""Start and end closer than this are taken for the same place."""

LEAST_STEP_MM = 0.1
"""Points of a course placed by hand closer than this are the same point."""

NEEDLESS_DETOUR = 1.15
NEEDLESS_DETOUR_MM = 20.0
"""Points are out of order when turning some of them round saves this share and this much."""


def checked_volume(volume: ImageVolume) -> None:
    """Refuse an image on which it is not known how urine looks.

    Raises
    ------
    ImageError
        The series is neither CT nor MR.
    """
    if volume.modality not in TRACEABLE:
        raise ImageError(
            "a ureter can be traced by itself only on CT or MR, and this series is"
            f" {volume.modality!r}",
            mend="place the whole course by hand, point by point",
        )


def checked_points(
    volume: ImageVolume, start_mm: ArrayLike, end_mm: ArrayLike, via_mm: ArrayLike
) -> Floats:
    """Return start, via points and end as an array, shape (n, 3), fit to trace between.

    Raises
    ------
    InputError
        A point is not three finite numbers or lies outside the image; start and end are the same
        place; the via points are out of order.
    """
    via = np.asarray(via_mm, dtype=np.float64)
    via = via.reshape(0, 3) if via.size == 0 else np.atleast_2d(via)
    rows: list[ArrayLike] = [start_mm, *via, end_mm]
    for number in range(len(rows)):
        _check_one(volume, rows, number)
    points = np.asarray(rows, dtype=np.float64)
    if np.linalg.norm(points[-1] - points[0]) < LEAST_DISTANCE_MM:
        raise InputError(
            f"start and end lie within {LEAST_DISTANCE_MM:g} mm of each other",
            mend="put the start at the renal pelvis and the end at the bladder",
            detail=fault_of(Fault.SAME_PLACE, points, 0, len(points) - 1),
        )
    _check_order(points)
    return points


def checked_in_tissue(working: ImageVolume, placed_mm: Floats, tone: Tone = untouched) -> None:
    """Refuse points in air.

    Parameters
    ----------
    working : ImageVolume
        On the tracer's working scale (`thalweg.measure.signal`).
    placed_mm : ndarray, shape (n, 3)
        Start, via points and end.
    tone : callable
        Sets gas off from soft tissue (`thalweg.measure.levels`).

    Raises
    ------
    InputError
        Names the point.
    """
    where = "air or lung" if working.modality == "CT" else "air or where nothing gives signal"
    names = point_names(len(placed_mm))
    for number, (name, point) in enumerate(zip(names, placed_mm, strict=True)):
        if np.median(tone(_neighbourhood_hu(working, point))) < AIR_HU:
            shown = ", ".join(f"{value:.1f}" for value in point)
            raise InputError(
                f"({shown}) mm lies in {where}, not in tissue",
                where=name,
                mend="place it on the ureter",
                detail=fault_of(Fault.AIR, placed_mm, number),
            )


def checked_by_hand(points_mm: ArrayLike, volume: ImageVolume | None) -> Floats:
    """Return points placed by hand as an array, shape (n, 3), n at least 2.

    Raises
    ------
    InputError
        Fewer than two points; points that are not finite, coincide with the one before, or lie
        outside the image where one is given.
    """
    points = np.asarray(points_mm, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 3 or len(points) < 2:
        raise InputError(
            "a course placed by hand needs at least two points of x, y, z in millimetres",
            mend="place more points along the ureter",
        )

    def at_fault(fault: Fault, *offending: int) -> PlacedFault | None:
        shown = volume is not None
        return fault_of(fault, points, *offending, by_hand=True) if shown else None

    for number, point in enumerate(points):
        name = f"point {number + 1}"
        if not np.isfinite(point).all():
            raise InputError(
                "its coordinates are not finite",
                where=name,
                mend="place it again",
                detail=at_fault(Fault.NO_PLACE, number),
            )
        if volume is not None and not volume.contains(point):
            raise InputError(
                "it lies outside the image",
                where=name,
                mend="place it again",
                detail=at_fault(Fault.OUTSIDE, number),
            )
        if number and np.linalg.norm(point - points[number - 1]) < LEAST_STEP_MM:
            raise InputError(
                f"it lies within {LEAST_STEP_MM:g} mm of the one before",
                where=name,
                mend="leave it out",
                detail=at_fault(Fault.SAME_PLACE, number - 1, number),
            )
    return points


def _neighbourhood_hu(volume: ImageVolume, point_mm: Floats) -> Floats:
    """Return the values of the voxels (3 by 3 by 3, fewer at the rim) round a point."""
    centre = np.rint(volume.index_of(point_mm)).astype(int)
    low = np.maximum(centre - 1, 0)
    high = np.minimum(centre + 2, volume.shape)
    part = volume.values[tuple(slice(a, b) for a, b in zip(low, high, strict=True))]
    return np.asarray(part, dtype=np.float64).ravel()


def _check_one(volume: ImageVolume, rows: list[ArrayLike], number: int) -> None:
    name, point = point_names(len(rows))[number], np.asarray(rows[number], dtype=np.float64)
    if point.shape != (3,) or not np.isfinite(point).all():
        raise InputError(
            "a point needs three finite numbers x, y, z in millimetres",
            where=name,
            mend="place it",
            detail=fault_of(Fault.NO_PLACE, rows, number),
        )
    shown = ", ".join(f"{value:.1f}" for value in point)
    if not volume.contains(point):
        raise InputError(
            f"({shown}) mm lies outside the image",
            where=name,
            mend="give LPS millimetres within the series (x to the left, y to the back, z up)",
            detail=fault_of(Fault.OUTSIDE, rows, number),
        )


def _check_order(points: Floats) -> None:
    """Refuse an order in which turning a run of via points round would save much way."""
    apart = np.linalg.norm(points[:, None] - points[None, :], axis=-1)
    whole = float(apart[np.arange(len(points) - 1), np.arange(1, len(points))].sum())
    for first in range(1, len(points) - 2):
        for last in range(first + 1, len(points) - 1):
            saved = (
                apart[first - 1, first]
                + apart[last, last + 1]
                - apart[first - 1, last]
                - apart[first, last + 1]
            )
            if saved > NEEDLESS_DETOUR_MM and whole > NEEDLESS_DETOUR * (whole - saved):
                raise InputError(
                    f"via points {first} to {last} run against the course",
                    where="via",
                    mend="give the via points in order from the renal pelvis to the bladder",
                    detail=fault_of(Fault.ORDER, points, *range(first, last + 1)),
                )
