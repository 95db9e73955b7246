"""From plane positions to one volume: order, evenness, and the index-to-LPS matrix.

The plane equation is that of PS3.3 C.7.6.2.1.1. Planes are ordered along the slice normal, the
cross product of the row and the column direction, and the step from plane to plane is kept as a
vector, so that a stack sheared by a tilted gantry keeps exact coordinates.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from thalweg.errors import ImageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = ["Stack", "stack_planes"]

FEWEST_PLANES: Final = 3
"""With fewer, nothing tells an even stack from one with a hole."""

DIRECTION_DRIFT: Final = 1e-4
"""Most that a direction cosine may differ between planes: 0.03 mm at 250 mm from the centre."""

SPACING_DRIFT_MM: Final = 1e-4
"""Most that the pixel spacing may differ between planes: 0.05 mm across 512 columns."""

SAME_PLACE_MM: Final = 0.01
"""Planes closer than this lie in one place; no scanner reconstructs so finely."""

OFF_GRID_MM: Final = 0.1
"""Most that a plane may lie from its place in the even stack: room for positions that scanners
write with one decimal (0.05 mm off), and less than a tenth of the finest usual plane spacing."""

HOLE_FRACTION: Final = 0.1
"""A step within this fraction of a plane spacing of a whole multiple means missing planes."""

SHEAR_DEGREES: Final = 0.1
"""Tilt of the stack from which it is said; below, it is rounding (0.2 mm per 100 mm)."""

OBLIQUE_DEGREES: Final = 0.5
"""Angle between normal and body axis from which planes are called oblique."""

THICKNESS_DIFFERENCE_MM: Final = 0.01
"""Difference between thickness and spacing from which overlap or gap is said."""

THICK_MM: Final = 3.0
"""Thicker or sparser planes blur a ureter of 3 to 5 mm; common practice for urography is 1–3 mm."""

AXES: Final = ("sagittal", "coronal", "axial")


@dataclass(frozen=True, eq=False)
class Stack:
    """An even stack of planes.

    Parameters
    ----------
    order : ndarray of intp, shape (planes,)
        Indices of the given planes from the lowest to the highest along the normal.
    to_lps : ndarray of float64, shape (4, 4)
        Index (plane, row, column, 1) to LPS millimetres.
    spacing_mm : ndarray of float64, shape (3,)
        Between voxel centres along plane, row and column index.
    orientation : str
        ``"axial"``, ``"coronal"``, ``"sagittal"`` or ``"oblique"``, by the slice normal.
    cautions : tuple of str
        What a measurement on the stack must carry.
    """

    order: NDArray[np.intp]
    to_lps: NDArray[np.float64]
    spacing_mm: NDArray[np.float64]
    orientation: str
    cautions: tuple[str, ...]


def stack_planes(
    positions_mm: NDArray[np.float64],
    directions: NDArray[np.float64],
    spacings_mm: NDArray[np.float64],
    thicknesses_mm: NDArray[np.float64],
    labels: Sequence[str],
) -> Stack:
    """Order planes and find the matrix of the volume they make.

    Parameters
    ----------
    positions_mm : ndarray, shape (planes, 3)
        Centre of each plane's first voxel, LPS.
    directions : ndarray, shape (planes, 6)
        Unit vectors along rows, then along columns.
    spacings_mm : ndarray, shape (planes, 2)
        Between rows, then between columns.
    thicknesses_mm : ndarray, shape (planes,)
        Nominal thickness, NaN where not stated.
    labels : sequence of str
        What to call each plane in an error.

    Returns
    -------
    Stack
        The ordered planes.

    Raises
    ------
    ImageError
        Too few planes; planes that differ in direction or pixel spacing; two in one place; a
        hole; uneven spacing; planes out of line.

    References
    ----------
    DICOM PS3.3 C.7.6.2.1.1, equation C.7.6.2.1-1.
    """
    if len(positions_mm) < FEWEST_PLANES:
        raise ImageError(
            f"holds only {len(positions_mm)} image plane(s), too few for a volume",
            mend=f"give the whole series, at least {FEWEST_PLANES} planes",
        )
    _require_alike(directions, DIRECTION_DRIFT, "direction", labels)
    _require_alike(spacings_mm, SPACING_DRIFT_MM, "pixel spacing", labels)
    order = np.argsort(positions_mm @ np.cross(directions[0, :3], directions[0, 3:]), kind="stable")
    lowest = order[0]  # speaks for all, so that the order in which files are found does not matter
    row, column = directions[lowest, :3], directions[lowest, 3:]
    normal = np.cross(row, column)
    along = positions_mm @ normal
    _require_even(along[order], [labels[index] for index in order])
    places = positions_mm[order]
    step = (places[-1] - places[0]) / (len(places) - 1)
    _require_in_line(places, step, [labels[index] for index in order])
    to_lps = np.eye(4)
    to_lps[:3, 0] = step
    to_lps[:3, 1] = column * spacings_mm[lowest, 0]
    to_lps[:3, 2] = row * spacings_mm[lowest, 1]
    to_lps[:3, 3] = places[0]
    orientation, off_axis = _orientation(normal)
    between_mm = float(step @ normal)
    cautions = (
        *_shear_cautions(step, normal),
        *_oblique_cautions(orientation, off_axis),
        *_thickness_cautions(thicknesses_mm, between_mm),
    )
    spacing = np.array([np.linalg.norm(step), *spacings_mm[lowest]])
    return Stack(order, to_lps, spacing, orientation, cautions)


def _require_alike(
    rows: NDArray[np.float64], tolerance: float, name: str, labels: Sequence[str]
) -> None:
    """Refuse planes whose attribute differs from that of the first."""
    differs = np.flatnonzero(np.abs(rows - rows[0]).max(axis=1) > tolerance)
    if differs.size:
        raise ImageError(
            f"holds planes of different {name} ({labels[0]} and {labels[differs[0]]})",
            mend="give only the planes of one reconstruction",
        )


def _require_even(along_mm: NDArray[np.float64], labels: Sequence[str]) -> None:
    """Refuse doubled, missing and unevenly spaced planes."""
    steps = np.diff(along_mm)
    doubled = np.flatnonzero(steps < SAME_PLACE_MM)
    if doubled.size:
        at = doubled[0]
        raise ImageError(
            f"holds {doubled.size} plane(s) in the place of another, first {labels[at]} and "
            f"{labels[at + 1]} at {along_mm[at]:.2f} mm along the normal",
            mend="give the slices of one phase and one reconstruction, each once",
        )
    usual = np.sort(steps)[(len(steps) - 1) // 2]
    missing = np.rint(steps / usual).astype(int) - 1
    room = max(HOLE_FRACTION * usual, OFF_GRID_MM)
    whole = np.abs(steps - (missing + 1) * usual) <= room
    holes = np.flatnonzero((missing > 0) & whole)
    if holes.size and whole.all():
        where = ", ".join(
            f"{missing[at]} after {along_mm[at]:.2f} mm ({labels[at]})" for at in holes[:3]
        )
        more = f" and {holes.size - 3} more places" if holes.size > 3 else ""
        raise ImageError(
            f"lacks {missing[holes].sum()} plane(s) of a stack {usual:.2f} mm apart: "
            f"{where}{more} along the normal",
            mend="export the complete series",
        )
    grid = along_mm[0] + np.arange(len(along_mm)) * (along_mm[-1] - along_mm[0]) / len(steps)
    if np.abs(along_mm - grid).max() > OFF_GRID_MM:
        worst = int(np.argmax(np.abs(steps - usual)))
        raise ImageError(
            f"has uneven plane spacing ({steps.min():.2f} to {steps.max():.2f} mm, usually "
            f"{usual:.2f} mm; worst after {along_mm[worst]:.2f} mm, {labels[worst]})",
            mend="give a reconstruction with even spacing, or one scan range alone",
        )


def _require_in_line(
    places_mm: NDArray[np.float64], step_mm: NDArray[np.float64], labels: Sequence[str]
) -> None:
    """Refuse planes shifted sideways out of the straight line of the stack."""
    grid = places_mm[0] + np.arange(len(places_mm))[:, None] * step_mm
    off = np.linalg.norm(places_mm - grid, axis=1)
    worst = int(np.argmax(off))
    if off[worst] > OFF_GRID_MM:
        raise ImageError(
            f"holds planes out of line, {labels[worst]} by {off[worst]:.2f} mm sideways",
            mend="give the planes of one scan, without a shift of the field of view",
        )


def _degrees_between(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    """Angle between two vectors, exact near 0 where the arc cosine is not."""
    across = np.linalg.norm(np.cross(one, other))
    return float(np.degrees(np.arctan2(across, abs(one @ other))))


def _orientation(normal: NDArray[np.float64]) -> tuple[str, float]:
    """Name the planes by their normal; also return its angle to the nearest body axis."""
    nearest = int(np.argmax(np.abs(normal)))
    off = _degrees_between(normal, np.eye(3)[nearest])
    return ("oblique" if off > OBLIQUE_DEGREES else AXES[nearest]), off


def _shear_cautions(step: NDArray[np.float64], normal: NDArray[np.float64]) -> list[str]:
    angle = _degrees_between(step, normal)
    if angle <= SHEAR_DEGREES:
        return []
    caution = (
        f"The stack leans {angle:.1f}° from the slice normal (tilted gantry); coordinates and "
        "lengths allow for it, but planes shown one above the other are displaced."
    )
    return [caution]


def _oblique_cautions(orientation: str, off_axis: float) -> list[str]:
    if orientation != "oblique":
        return []
    return [f"The planes are oblique, {off_axis:.1f}° off the nearest body plane."]


def _thickness_cautions(thicknesses_mm: NDArray[np.float64], between_mm: float) -> list[str]:
    said: list[str] = []
    stated = thicknesses_mm[np.isfinite(thicknesses_mm) & (thicknesses_mm > 0)]
    if stated.size < thicknesses_mm.size:
        said.append("The files do not state the slice thickness of every plane.")
    thickest = float(stated.max()) if stated.size else 0.0
    if stated.size and thickest - stated.min() > THICKNESS_DIFFERENCE_MM:
        said.append(f"Slice thickness varies from {stated.min():.2f} to {thickest:.2f} mm.")
    elif stated.size and thickest - between_mm > THICKNESS_DIFFERENCE_MM:
        said.append(f"Slices overlap: {thickest:.2f} mm thick, {between_mm:.2f} mm apart.")
    elif stated.size and between_mm - thickest > THICKNESS_DIFFERENCE_MM:
        said.append(
            f"Slices leave gaps: {thickest:.2f} mm thick, {between_mm:.2f} mm apart; what lies "
            "between them was not imaged."
        )
    coarse = max(thickest, between_mm)
    if coarse > THICK_MM:
        said.append(
            f"Slices are coarse ({coarse:.2f} mm, more than {THICK_MM:g} mm): small calibres and "
            "short narrowings may be missed."
        )
    return said
