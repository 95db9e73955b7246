"""What a reach computation is asked about: ureters, sites, obstacles, conduits and doubts."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from thalweg.errors import InputError
from thalweg.plan.reach.obstacles import Obstacle, least_distance

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.plan.reach.centreline import Centreline

    Floats = NDArray[np.float64]

__all__ = ["Conduit", "Doubt", "Scene", "Side", "Site", "Ureter", "defaults"]

Side = Literal["left", "right"]

ON_MIDLINE_MM = 1e-6
STATION_SLACK_MM = 1e-6


@cache
def defaults() -> dict[str, Any]:
    """Return the packaged doubts and thresholds, with their `source` and `note`."""
    text = resources.files("thalweg.plan").joinpath("data/reach.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@dataclass(frozen=True, eq=False)
class Ureter:
    """One ureter and what of it is freed.

    Parameters
    ----------
    side : {'left', 'right'}
    line : Centreline
        From pelvis to bladder.
    pivot_mm, division_mm : float
        Stations where it stays held and where it is cut.
    trim_mm : float
        Taken off the freed end.
    length_sd_mm : float or None
        Standard deviation of the traced length; None where it is not known.
    cautions : tuple of str

    Raises
    ------
    InputError
        Where pivot, division and trim leave nothing or lie off the line.
    """

    side: Side
    line: Centreline
    pivot_mm: float
    division_mm: float
    trim_mm: float
    length_sd_mm: float | None = None
    cautions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        where, whole = f"ureter.{self.side}", self.line.length
        if self.division_mm > whole + STATION_SLACK_MM:
            raise InputError(
                f"the division at {self.division_mm:g} mm lies beyond the ureter's length of "
                f"{whole:g} mm",
                where=f"{where}.division_mm",
                mend="give a station on the ureter",
            )
        if self.pivot_mm >= self.division_mm:
            raise InputError(
                f"the pivot at {self.pivot_mm:g} mm is not above the division at "
                f"{self.division_mm:g} mm",
                where=f"{where}.pivot_mm",
                mend="stations count from the renal pelvis, so give the pivot the smaller one",
            )
        if self.trim_mm >= self.division_mm - self.pivot_mm:
            raise InputError(
                f"a trim of {self.trim_mm:g} mm leaves nothing of the "
                f"{self.division_mm - self.pivot_mm:g} mm between pivot and division",
                where=f"{where}.trim_mm",
                mend="give a shorter trim",
            )

    @property
    def free_mm(self) -> float:
        """What can be brought out, mm."""
        return self.division_mm - self.pivot_mm - self.trim_mm


@dataclass(frozen=True, eq=False)
class Site:
    """A candidate stoma place: point on the skin, unit outward normal, wall and stoma height."""

    name: str
    point: Floats
    normal: Floats
    wall_mm: float
    height_mm: float
    side: Side | None = None
    cautions: tuple[str, ...] = ()

    @property
    def inner(self) -> Floats:
        """Where the normal meets the wall's inner face, shape (3,), mm."""
        return np.asarray(self.point - self.wall_mm * self.normal)


@dataclass(frozen=True, eq=False)
class Conduit:
    """A conduit's base, mm, and where the left ureter passes behind the sigmoid mesentery."""

    site: str
    base: Floats
    left_passage: Floats | None = None


@dataclass(frozen=True)
class Doubt:
    """Standard deviations of what is not known exactly; see ``data/reach.toml``."""

    tracing_share: float
    wall_mm: float
    pivot_mm: float
    trim_mm: float
    stretch_share: float
    passage_mm: float = 0.0
    given: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Scene:
    """Everything a reach computation is asked about; valid once made.

    It may have no site: a map of margins brings its own. `left_passage`, shape (3,) mm, is where
    the left ureter passes behind the sigmoid mesentery on its way to the right.

    Raises
    ------
    InputError
        Without ureter, or where a pivot, site, passage or base lies inside an obstacle.
    """

    ureters: tuple[Ureter, ...]
    sites: tuple[Site, ...]
    obstacles: tuple[Obstacle, ...]
    conduits: tuple[Conduit, ...]
    least_bend_radius_mm: float
    clearance_mm: float
    diversions: tuple[str, ...] | None
    doubt: Doubt
    seed: int
    samples: int
    midline_x_mm: float = 0.0
    left_passage: Floats | None = None
    cautions: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        if not self.ureters:
            raise InputError("the scene has no ureter", mend="add [ureter.left] or [ureter.right]")
        for item in self.ureters:
            self._outside(item.line.point(item.pivot_mm), f"ureter.{item.side}.pivot_mm", "pivot")
        for index, site in enumerate(self.sites):
            self._outside(site.point, f"site[{index}].point_mm", "site")
            self._outside(site.inner, f"site[{index}].wall_mm", "inner face of the wall")
        if self.left_passage is not None:
            self._outside(self.left_passage, "left_passage_mm", "passage")
        for index, conduit in enumerate(self.conduits):
            self._outside(conduit.base, f"conduit[{index}].base_mm", "base")
            if conduit.left_passage is not None:
                where = f"conduit[{index}].left_passage_mm"
                self._outside(conduit.left_passage, where, "passage")

    def _outside(self, point: Floats, where: str, what: str) -> None:
        for index, obstacle in enumerate(self.obstacles):
            gap = float(least_distance((obstacle,), point[None])[0])
            if gap < 0:
                raise InputError(
                    f"the {what} lies {-gap:.3g} mm inside obstacle[{index}]",
                    where=where,
                    mend="move it or correct the obstacle",
                )

    def side_of(self, site: Site) -> Side | None:
        """Return the side a site lies on: as said, else by the midline; None on the midline."""
        if site.side is not None:
            return site.side
        across = float(site.point[0]) - self.midline_x_mm
        if abs(across) <= ON_MIDLINE_MM:
            return None
        return "left" if across > 0 else "right"

    def ureter(self, side: Side) -> Ureter | None:
        """Return the ureter of a side, or None."""
        return next((item for item in self.ureters if item.side == side), None)
