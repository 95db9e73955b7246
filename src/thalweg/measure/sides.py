"""Whether start and end can belong to one ureter: which side of the body, and which is higher."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from thalweg.errors import InputError
from thalweg.measure.fault import Fault, PlacedFault, fault_of
from thalweg.measure.placed import AIR_HU

if TYPE_CHECKING:
    from thalweg.record.image import ImageVolume

__all__ = ["checked_sides", "midline_x_mm"]

Floats = NDArray[np.float64]

LOOK_MM = 3.0
"""Step of the raster on which the body's outline is looked for."""

LEVELS = 7
"""How many levels between start and end are looked at."""

LEAST_BODY_SHARE = 0.1
"""A level where less of the raster is body than this shows no trunk."""

LATERAL_MM = 15.0
"""A start this far from the midline lies on one side (an adult's renal pelvis: some 40 mm)."""

ACROSS_MM = 8.0
"""An end this far beyond the midline lies on the other side. A bladder's ureteric orifices lie some
10 to 25 mm from the midline (descriptive anatomy, from memory); both figures shrink with the body.
"""

USUAL_HALF_WIDTH_MM = 160.0
"""Half the width of the trunk that the distances above are meant for."""

HIGHER_MM = 20.0
"""An end this much higher than the start makes it likely that they are swapped; the figure shrinks
with the body. Only from a kidney in the pelvis, as a transplant, does a ureter run upward."""


def checked_sides(
    volume: ImageVolume,
    placed_mm: Floats,
    body_above: float = AIR_HU,
    *,
    named: str = "",
    by_hand: bool = False,
) -> tuple[str, ...]:
    """Return cautions where start and end hardly belong to one ureter as it usually runs.

    Parameters
    ----------
    volume : ImageVolume
    placed_mm : ndarray, shape (k, 3)
        Start, via points and end.
    body_above : float
        What is brighter belongs to the body, in the image's own units.
    named : str
        The ureter that the points are said to lie on: ``"left"``, ``"right"``, or empty where
        nobody said.
    by_hand : bool
        The points are the whole course.

    Raises
    ------
    InputError
        The points lie on the other side of the body than the ureter they are named for; start and
        end lie on different sides, or the end much higher than the start, and no via point says
        that the ureter truly runs so. `InputError.detail` is a
        `thalweg.measure.fault.PlacedFault`.
    """
    middle = midline_x_mm(volume, placed_mm[0, 2], placed_mm[-1, 2], body_above)
    midline, half_width = (None, USUAL_HALF_WIDTH_MM) if middle is None else middle
    size = min(half_width / USUAL_HALF_WIDTH_MM, 1.0)
    try:
        sides: tuple[str, ...] = ()
        if midline is not None:
            _require_named_side(placed_mm, midline, size, named)
            sides = _crossing(placed_mm, midline, size)
        return (*sides, *_running_up(placed_mm, size))
    except InputError as refused:
        if not (by_hand and isinstance(refused.detail, PlacedFault)):
            raise
        raise InputError(
            refused.what,
            where="the points placed by hand",
            mend=refused.mend,
            detail=replace(refused.detail, by_hand=True),
        ) from None


def _require_named_side(placed_mm: Floats, midline: float, size: float, named: str) -> None:
    """Refuse points that start on the other side than that of the ureter they are named for."""
    off = float(placed_mm[0, 0] - midline)
    if not named or abs(off) <= LATERAL_MM * size:
        return
    lies = "left" if off > 0 else "right"
    if lies != named:
        raise InputError(
            f"it lies {abs(off):.0f} mm to the {lies} of the body's midline, but is named for the "
            f"{named} ureter",
            where="start",
            mend=f"place the points on the {named} ureter, or name them for the {lies} one",
            detail=replace(
                fault_of(Fault.OTHER_SIDE, placed_mm, *range(len(placed_mm))), midline_mm=midline
            ),
        )


def _running_up(placed_mm: Floats, size: float) -> tuple[str, ...]:
    """Refuse an end above its start, or say so where via points confirm it."""
    higher = float(placed_mm[-1, 2] - placed_mm[0, 2])
    if higher <= HIGHER_MM * size:
        return ()
    told = f"the end lies {higher:.0f} mm higher than the start"
    if len(placed_mm) == 2:
        raise InputError(
            f"{told}, as if the two were swapped",
            where="start and end",
            mend="put the start in the renal pelvis and the end at the bladder, or, where the "
            "ureter truly runs upward, add via points along it",
            detail=fault_of(Fault.SWAPPED, placed_mm, 0, 1),
        )
    said = (
        f"{told[0].upper()}{told[1:]}: stations count from the right end only if this ureter truly"
        " runs upward, as from a kidney in the pelvis."
    )
    return (said,)


def _crossing(placed_mm: Floats, midline: float, size: float) -> tuple[str, ...]:
    """Refuse ends on different sides, or say so where via points confirm it."""
    off = placed_mm[[0, -1], 0] - midline
    lateral, across = (off[0], off[1]) if abs(off[0]) > abs(off[1]) else (off[1], off[0])
    if abs(lateral) <= LATERAL_MM * size or -np.sign(lateral) * across <= ACROSS_MM * size:
        return ()
    one, other = ("left", "right") if off[0] > 0 else ("right", "left")
    told = f"the start lies on the {one} and the end on the {other} of the body's midline"
    if len(placed_mm) == 2:
        raise InputError(
            f"{told}, so they do not belong to one ureter as it usually runs",
            where="end",
            mend="put both on one ureter, or, where it truly crosses over, add via points along it",
            detail=replace(fault_of(Fault.SIDES, placed_mm, 0, 1), midline_mm=midline),
        )
    return (
        f"{told[0].upper()}{told[1:]}: the length holds only if this ureter truly crosses over.",
    )


def midline_x_mm(
    volume: ImageVolume, top_mm: float, foot_mm: float, body_above: float = AIR_HU
) -> tuple[float, float] | None:
    """Return x of the body's midline between two heights, and half its width, in LPS mm.

    The middle of the trunk's outline, the median over several levels. None where the image does
    not show both flanks with air beside them.
    """
    corners = np.stack(np.meshgrid(*([0, n - 1] for n in volume.shape), indexing="ij"), axis=-1)
    reach = volume.point_of(corners.reshape(-1, 3).astype(np.float64))
    low, high = reach.min(axis=0), reach.max(axis=0)
    x, y = (np.arange(low[axis], high[axis], LOOK_MM) for axis in (0, 1))
    found = []
    for z in np.linspace(top_mm, foot_mm, LEVELS):
        places = np.stack(np.broadcast_arrays(x[None, :], y[:, None], z), axis=-1)
        index = np.moveaxis(volume.index_of(places), -1, 0)
        values = ndimage.map_coordinates(
            volume.values, index, output=np.float32, order=0, mode="constant", cval=np.nan
        )
        flanks = _flanks(values, body_above)
        if flanks is not None:
            found.append(x[list(flanks)])
    if not found:
        return None
    sides = np.asarray(found)
    return float(np.median(sides.mean(axis=1))), float(np.median(np.ptp(sides, axis=1)) / 2)


def _flanks(values: NDArray[np.float32], body_above: float) -> tuple[int, int] | None:
    """Return the first and last column of the trunk; None where one of them is not to be seen."""
    body = ndimage.binary_opening(values > body_above, np.ones((5, 5)))  # without table and tubes
    labels, count = ndimage.label(body)
    if not count:
        return None
    trunk = labels == 1 + int(np.argmax(np.bincount(labels.ravel())[1:]))
    columns = np.flatnonzero(trunk.any(axis=0))
    if trunk.mean() < LEAST_BODY_SHARE:
        return None
    for column, outward in ((columns[0], -1), (columns[-1], 1)):
        beside = column + 2 * outward
        rows = trunk[:, column]
        if not 0 <= beside < values.shape[1] or not (values[rows, beside] <= body_above).any():
            return None
    return int(columns[0]), int(columns[-1])
