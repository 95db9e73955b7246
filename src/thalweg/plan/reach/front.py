"""A map of margins laid out over the front of a person's abdomen."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from thalweg.plan.reach.odds import STATES

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.plan.reach.map_types import SiteGrid
    from thalweg.plan.reach.odds import SiteOdds

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Line = NDArray[np.float64]

__all__ = ["FrontMap", "SiteMask"]


@dataclass(frozen=True, eq=False)
class SiteMask:
    """Places of the map that something other than the margin speaks against.

    Parameters
    ----------
    name : str
        What speaks against them, as printed: a fold, the belt line, a scar.
    where : ndarray of bool, shape (nx, nz)
        On the map's own raster.
    """

    name: str
    where: Flags


@dataclass(frozen=True, eq=False)
class FrontMap:
    """Margins over a raster on the front skin, seen from the front.

    Parameters
    ----------
    x_mm, z_mm : ndarray, shape (nx,) and (nz,)
        The raster, LPS millimetres, evenly spaced.
    row : ndarray of int, shape (nx, nz)
        Row of `sites` at each place; -1 where there is none.
    unknown : ndarray of bool, shape (nx, nz)
        Skin is there, but the wall's thickness could not be told: the margin is not known.
    sites : SiteGrid
    views : tuple of SiteOdds
        Each ureter's, and both to one stoma where there are two.
    masks : tuple of SiteMask
    cautions : tuple of str
    """

    x_mm: Floats
    z_mm: Floats
    row: NDArray[np.int64]
    unknown: Flags
    sites: SiteGrid
    views: tuple[SiteOdds, ...]
    masks: tuple[SiteMask, ...] = ()
    cautions: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        shape = (len(self.x_mm), len(self.z_mm))
        wrong = [mask.name for mask in self.masks if mask.where.shape != shape]
        if wrong or self.row.shape != shape or self.unknown.shape != shape:
            msg = f"a map of {shape} places has another shape in {wrong or 'row or unknown'}"
            raise ValueError(msg)

    @property
    def masked(self) -> Flags:
        """Which sites any mask covers, shape (n,)."""
        covered = np.zeros(len(self.sites.point), dtype=bool)
        for mask in self.masks:
            covered[self.row[mask.where & (self.row >= 0)]] = True
        return covered

    def over(self, values: Floats) -> Floats:
        """Return values of the sites, (n,), on the raster (nx, nz); nan where there is no site."""
        laid = np.full(self.row.shape, np.nan)
        there = self.row >= 0
        laid[there] = values[self.row[there]]
        return laid

    def zero_line(self, view: SiteOdds) -> tuple[Line, ...]:
        """Return where the margin is nought: lines of points (x, z), each (n, 2) mm."""
        from skimage import measure  # noqa: PLC0415 - heavy

        contours: Any = measure.find_contours
        laid = self.over(view.margin_mm)
        columns, rows = np.arange(len(self.x_mm)), np.arange(len(self.z_mm))
        found = contours(np.nan_to_num(laid), 0.0, mask=np.isfinite(laid))
        return tuple(
            np.column_stack(
                [np.interp(line[:, 0], columns, self.x_mm), np.interp(line[:, 1], rows, self.z_mm)]
            )
            for line in found
        )

    def best(self, view: SiteOdds) -> int | None:
        """Return the unmasked site with the greatest solved margin, or None without any."""
        open_to = np.isfinite(view.margin_mm) & ~view.at_most & ~self.masked
        if not open_to.any():
            return None
        return int(np.argmax(np.where(open_to, view.margin_mm, -np.inf)))

    def counts(self, view: SiteOdds) -> dict[str, int]:
        """Return how many sites are in each state, and where it is not known."""
        told = {state: int((view.state == number).sum()) for number, state in enumerate(STATES)}
        return {**told, "not known": int(self.unknown.sum())}
