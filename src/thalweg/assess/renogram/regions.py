"""Regions of a renogram's picture as pixels: filled outlines, background rings, and their checks.

Places are ``(column, row)``, counted from 0 at the centre of the first pixel. A pixel belongs to a
region if its centre lies inside the outline or on it.
"""

from __future__ import annotations

from importlib import import_module
from math import isfinite
from typing import TYPE_CHECKING, Final

import numpy as np

from thalweg.errors import InputError
from thalweg.record.method import Method
from thalweg.record.renogram import KIDNEYS, ROLES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    Flags = NDArray[np.bool_]

__all__ = [
    "PERIRENAL_RING",
    "check_regions",
    "outline_of",
    "propose_background",
    "regions_of",
]

PERIRENAL_RING: Final = Method(
    key="renogram-perirenal-ring",
    title="background beside each kidney: a ring round its region",
    formula=(
        "pixels 2 and 3 steps (of the eight neighbours) from the kidney's region, less whatever "
        "lies within 1 step of another region"
    ),
    valid_for="kidney regions drawn whole, with free tissue round them on the picture",
    sources=("background-regions-1992", "thalweg-engineering"),
)

GAP_PX: Final = 1
"""Pixels left free round a region: the camera's blur carries its counts beyond the outline."""

WIDTH_PX: Final = 2
"""Pixels of the ring; the published comparison gives no width, and this one is our choice."""

FEWEST_PX: Final = 20
"""Pixels below which a ring's counts scatter too much to be subtracted; our choice."""

Corners = tuple[tuple[float, float], ...]


def regions_of(
    outlines: Mapping[str, Sequence[tuple[float, float]]], shape: tuple[int, int]
) -> dict[str, Flags]:
    """Fill outlines.

    Parameters
    ----------
    outlines : mapping of str to sequence of (column, row)
        Corners in order, by role; the last is joined to the first.
    shape : (rows, columns)
        Of the picture.

    Returns
    -------
    dict of str to ndarray of bool, shape (rows, columns)
        True where a pixel's centre lies inside the outline or on it.

    Raises
    ------
    InputError
        An outline leaves the picture, crosses itself or holds no pixel, or its role is not known.
    """
    return {role: _filled(role, corners, shape) for role, corners in outlines.items()}


def _filled(role: str, corners: Sequence[tuple[float, float]], shape: tuple[int, int]) -> Flags:
    measure = import_module("skimage.measure")  # slow to load, and without types

    if role not in ROLES:
        raise InputError(f"unknown region {role!r}", mend=f"write one of {', '.join(ROLES)}")
    if len(corners) < 3 or not all(isfinite(number) for pair in corners for number in pair):
        raise InputError(f"region {role} has fewer than 3 corners", mend="draw it whole")
    rows, columns = shape
    for column, row in corners:
        if not (-0.5 <= column <= columns - 0.5 and -0.5 <= row <= rows - 0.5):
            raise InputError(
                f"region {role} leaves the picture of {rows} by {columns} pixels at column "
                f"{column:g}, row {row:g}",
                mend="draw it on this picture",
            )
    points = np.asarray(corners, dtype=np.float64)
    if _crosses_itself(points):
        raise InputError(f"the outline of region {role} crosses itself", mend="draw it again")
    filled: Flags = measure.grid_points_in_poly(shape, points[:, ::-1], binarize=False) > 0
    if not filled.any():
        raise InputError(f"region {role} holds no pixel's centre", mend="draw it larger")
    return filled


def _crosses_itself(points: NDArray[np.float64]) -> bool:
    """Say whether two sides of a closed outline cross in their insides."""
    ends = np.roll(points, -1, axis=0)

    def side(of: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return on which side of each side (row) each point of `of` (column) lies: -1, 0, 1."""
        along = (ends - points)[:, None, :]
        to = of[None, :, :] - points[:, None, :]
        return np.asarray(np.sign(along[..., 0] * to[..., 1] - along[..., 1] * to[..., 0]))

    starts, stops = side(points), side(ends)
    parted = starts * stops < 0
    return bool((parted & parted.T).any())


def outline_of(region: Flags) -> Corners:
    """Return an outline that `regions_of` fills to exactly this region.

    Parameters
    ----------
    region : ndarray of bool, shape (rows, columns)
        In one piece, by pixels that share a side, without holes.

    Raises
    ------
    ValueError
        It is empty, in pieces or has a hole.
    """
    measure = import_module("skimage.measure")  # slow to load, and without types

    contours = measure.find_contours(np.pad(region, 1).astype(np.float64), 0.5)
    if len(contours) != 1:
        raise ValueError(f"a region with {len(contours)} outlines has no single one")
    return tuple((float(column) - 1.0, float(row) - 1.0) for row, column in contours[0][:-1])


def check_regions(regions: Mapping[str, Flags], left_at: str) -> tuple[str, ...]:
    """Refuse regions that cannot be told apart or lie on the wrong sides.

    Parameters
    ----------
    regions : mapping of str to ndarray of bool, shape (rows, columns)
        By role.
    left_at : str
        Where on the picture the person's left lies: ``"left"``, ``"right"``, or empty where nobody
        says.

    Returns
    -------
    tuple of str
        What the results must carry.

    Raises
    ------
    InputError
        No kidney; a kidney that overlaps another region; a side named although nobody says where
        the person's left lies; the left kidney on the right of the right one.
    """
    kidneys = [side for side in KIDNEYS if side in regions]
    if not kidneys:
        raise InputError("no region is a kidney's", mend="draw the left or the right one")
    if not left_at:
        raise InputError(
            "the file does not say where on the picture the person's left lies, so that no region "
            "may be called left or right",
            mend="find out, and state it with --left-at left or --left-at right",
        )
    for side in kidneys:
        for role, other in regions.items():
            if role != side and (regions[side] & other).any():
                raise InputError(
                    f"regions {side} and {role} overlap in {int((regions[side] & other).sum())} "
                    "pixel(s)",
                    mend="draw them apart",
                )
    middles = {side: float(np.nonzero(regions[side])[1].mean()) for side in kidneys}
    if len(kidneys) == 2:
        _require_order(middles, left_at)
        return ()
    side = kidneys[0]
    centre = (regions[side].shape[1] - 1) / 2.0
    lies_at = "left" if middles[side] < centre else "right"
    expected = left_at if side == "left" else {"left": "right", "right": "left"}[left_at]
    if lies_at == expected:
        return ()
    said = f"The only kidney region, {side}, lies on the half of the picture where the other kidney"
    return (f"{said} is expected; make sure which kidney it is.",)


def _require_order(middles: Mapping[str, float], left_at: str) -> None:
    lies_at = "left" if middles["left"] < middles["right"] else "right"
    if lies_at != left_at:
        raise InputError(
            f"the region of the left kidney lies to the {lies_at} of the right kidney's, but the "
            f"person's left is on the {left_at} of this picture",
            mend="exchange the two names, or find out which side is which",
        )


def propose_background(
    regions: Mapping[str, Flags], *, gap_px: int = GAP_PX, width_px: int = WIDTH_PX
) -> dict[str, Flags]:
    """Propose a background ring for every kidney that has none.

    Parameters
    ----------
    regions : mapping of str to ndarray of bool, shape (rows, columns)
        By role.
    gap_px : int
        Pixels left free between a region and the ring, 0 or more.
    width_px : int
        Pixels across the ring, 1 or more.

    Returns
    -------
    dict of str to ndarray of bool, shape (rows, columns)
        ``"left-background"`` and ``"right-background"`` where they are not given: pixels more than
        `gap_px` and at most `gap_px` + `width_px` steps from the kidney, and more than `gap_px`
        from every other region that is no background. A step goes to any of the eight neighbours.

    Raises
    ------
    InputError
        So little of a ring is free that it cannot be used.
    ValueError
        A gap below 0 or a width below 1.
    """
    from scipy.ndimage import distance_transform_cdt  # noqa: PLC0415 - slow to load, only here

    if gap_px < 0 or width_px < 1:
        raise ValueError("a ring has a gap of 0 pixels or more and a width of 1 or more")
    steps = {
        role: distance_transform_cdt(~mask, metric="chessboard")
        for role, mask in regions.items()
        if "background" not in role
    }
    rings = {}
    for side in KIDNEYS:
        role = f"{side}-background"
        if side not in regions or role in regions:
            continue
        ring = (steps[side] > gap_px) & (steps[side] <= gap_px + width_px)
        for other, apart in steps.items():
            if other != side:
                ring &= apart > gap_px
        if ring.sum() < FEWEST_PX:
            raise InputError(
                f"too little tissue is free round the {side} kidney for a background region",
                mend=f"draw one and call it {role}",
            )
        rings[role] = ring
    return rings
