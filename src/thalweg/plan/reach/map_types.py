"""The sites of a map of margins, and what the map says of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from thalweg.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.plan.reach.scene import Side

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = ["TOLERANCE_MM", "MarginMap", "SideMargins", "SiteGrid"]

TOLERANCE_MM = 0.5
"""Required lengths are within this of the one-route solver's."""
UNIT_SLACK = 1e-6


@dataclass(frozen=True, eq=False)
class SiteGrid:
    """Candidate sites.

    Parameters
    ----------
    point : ndarray, shape (n, 3), mm
        On the skin, LPS.
    normal : ndarray, shape (n, 3)
        Unit normals out of the body.
    wall_mm, height_mm : ndarray, shape (n,), mm
        Thickness of the wall along the normal, and height of the stoma above the skin.
    wall_sd_mm : ndarray, shape (n,), mm, or None
        Standard deviation of the thickness at each site; None takes the scene's for all.

    Raises
    ------
    InputError
        Where shapes differ, a value is not finite or negative, or a normal is not of unit length.
    """

    point: Floats
    normal: Floats
    wall_mm: Floats
    height_mm: Floats
    wall_sd_mm: Floats | None = None

    def __post_init__(self) -> None:
        count = len(self.point)
        single = ("wall_mm", "height_mm", *(() if self.wall_sd_mm is None else ("wall_sd_mm",)))
        shapes = {"point": (count, 3), "normal": (count, 3), **dict.fromkeys(single, (count,))}
        for name, shape in shapes.items():
            values = getattr(self, name)
            if np.shape(values) != shape:
                raise InputError(
                    f"has the shape {np.shape(values)}, not {shape}",
                    where=f"sites.{name}",
                    mend="give one row for each site",
                )
            bad = np.flatnonzero(~np.isfinite(values).reshape(count, -1).all(axis=1))
            if bad.size:
                raise InputError(
                    f"is not a finite number at site {int(bad[0])}",
                    where=f"sites.{name}",
                    mend="leave out sites whose values are not known",
                )
        for name in single:
            low = np.flatnonzero(getattr(self, name) < 0)
            if low.size:
                raise InputError(
                    f"is negative at site {int(low[0])}",
                    where=f"sites.{name}",
                    mend="give thickness and height in mm, 0 or more",
                )
        off = np.flatnonzero(np.abs(np.linalg.norm(self.normal, axis=1) - 1) > UNIT_SLACK)
        if off.size:
            raise InputError(
                f"is not of unit length at site {int(off[0])}",
                where="sites.normal",
                mend="divide each normal by its length",
            )

    @property
    def beyond_mm(self) -> Floats:
        """What every route needs past the wall's inner face, (n,) mm."""
        return self.wall_mm + self.height_mm

    @property
    def inner(self) -> Floats:
        """Where each normal meets the wall's inner face, (n, 3) mm."""
        return np.asarray(self.point - self.wall_mm[:, None] * self.normal)


@dataclass(frozen=True, eq=False)
class SideMargins:
    """One ureter's margins over the sites; all arrays (n,), lengths in mm.

    Parameters
    ----------
    side : {'left', 'right'}
    free_mm : float
    required_mm, margin_mm : ndarray
        Of a path checked to keep every condition; not a number where none was sought or found.
    floor_mm : ndarray
        No route needs less, so the margin is at most `free_mm` less this, found or not.
    exact : ndarray of bool
        Whether `required_mm` is within `TOLERANCE_MM` of the one-route solver's.
    hopeless : ndarray of bool
        Not solved, for the ureter is short by at least `floor_mm` less `free_mm`, which is more
        than its doubts could make up.
    unreached : ndarray of bool
        Sought, and no route was found; that none exists is not proved.
    pivot_slope, wall_slope : ndarray
        Millimetres more that are required for each that the pivot lies lower, and for each that
        the wall is thicker; of the unhindered path where `hopeless`.
    """

    side: Side
    free_mm: float
    required_mm: Floats
    margin_mm: Floats
    floor_mm: Floats
    exact: Flags
    hopeless: Flags
    unreached: Flags
    pivot_slope: Floats
    wall_slope: Floats

    @property
    def reached(self) -> Flags:
        """Where the ureter reaches: a margin of nought or more."""
        return np.asarray(self.margin_mm >= 0)

    @property
    def most_mm(self) -> Floats:
        """The margin where it is known, else the most it can be, (n,) mm; nan where unreached."""
        most = np.where(self.hopeless, self.free_mm - self.floor_mm, self.margin_mm)
        return np.asarray(np.where(self.unreached, np.nan, most))

    @property
    def short_by_at_least_mm(self) -> Floats:
        """What is missing at the least, mm; nought where that is not proved."""
        return np.maximum(self.floor_mm - self.free_mm, 0.0)


@dataclass(frozen=True, eq=False)
class MarginMap:
    """Margins of every ureter of the scene over the same sites."""

    sites: SiteGrid
    ureters: tuple[SideMargins, ...]
    solved: int
    """Routes that went to the one-route solver."""

    def side(self, side: Side) -> SideMargins | None:
        """Return one ureter's margins, or None where the scene has no such ureter."""
        return next((item for item in self.ureters if item.side == side), None)
