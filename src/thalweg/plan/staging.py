"""From a person's traced ureters, marks and skin to the scene that reach is computed on."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from thalweg.measure.phases import Verdict
from thalweg.plan.reach import scene_from
from thalweg.plan.reach.scene import defaults

if TYPE_CHECKING:
    from thalweg.measure.course import Course
    from thalweg.measure.phases import Phases
    from thalweg.plan.reach import Scene
    from thalweg.record.fact import Fact, Mark

__all__ = ["FreedUreter", "MeasuredSite", "division_of", "pivot_of", "staged"]

Point = tuple[float, float, float]


@dataclass(frozen=True)
class MeasuredSite:
    """A candidate stoma site with what was measured or recorded of skin and wall there.

    Parameters
    ----------
    name : str
    point_mm : tuple of float
        On the skin, LPS mm.
    normal : tuple of float
        Unit outward normal of the skin.
    wall_mm : float
        Thickness of the abdominal wall along the normal.
    wall_sd_mm : float or None
        Its standard deviation; None where a person gave the thickness.
    height_mm : float
        Of the stoma above the skin.
    facts : tuple of Fact
        What it rests on.
    cautions : tuple of str
    """

    name: str
    point_mm: Point
    normal: Point
    wall_mm: float
    wall_sd_mm: float | None
    height_mm: float
    facts: tuple[Fact, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class FreedUreter:
    """One traced ureter, and between which stations it would be freed.

    Parameters
    ----------
    side : str
        ``"left"`` or ``"right"``.
    course : Course
    pivot_mm, division_mm : float
        Stations at which it stays held and is cut.
    facts : tuple of Fact
        The marks it rests on.
    cautions : tuple of str
        How pivot and division were chosen.
    """

    side: str
    course: Course
    pivot_mm: float
    division_mm: float
    facts: tuple[Fact, ...] = ()
    cautions: tuple[str, ...] = ()


def pivot_of(course: Course, lower_pole_mm: Point) -> float:
    """Return the station at which the ureter passes the height of its kidney's lower pole, mm.

    The ureter is taken as held above it. Where it winds past that height more than once, the
    last passage counts: it leaves the least to bring out.
    """
    heights = course.points_mm[:, 2] - lower_pole_mm[2]
    above = np.flatnonzero(heights > 0)
    if above.size == 0:
        return 0.0
    last = int(above[-1])
    if last + 1 == heights.size:
        return float(course.station_mm[-1])
    share = heights[last] / (heights[last] - heights[last + 1])
    step = course.station_mm[last + 1] - course.station_mm[last]
    return float(course.station_mm[last] + share * step)


def division_of(
    course: Course, pivot_mm: float, phases: Phases | None = None
) -> tuple[float, tuple[str, ...]]:
    """Return the station at which the ureter is cut, mm, and why it is there.

    At the bladder; above the first narrowing below the pivot where there is one, because a
    narrowed stretch is not brought to the skin. A narrowing that opened on a second phase was
    peristalsis and moves nothing.
    """
    below = [one for one in course.narrowings if one.from_mm > pivot_mm]
    passing = [one for one in below if phases is not None and phases.opened(one)]
    told = tuple(
        f"The narrowing at {one.from_mm:.0f} to {one.to_mm:.0f} mm opened on the second phase and"
        " does not move the cut."
        for one in passing
    )
    below = [one for one in below if one not in passing]
    if not below:
        return course.length_mm, ("Cut at the bladder.", *told)
    first = below[0]
    held = phases is not None and any(
        one.kind == "narrowing" and one.from_mm == first.from_mm and one.verdict is Verdict.HELD
        for one in phases.stretches
    )
    station = max(first.from_mm - float(defaults()["usual"]["above_narrowing_mm"]), 0.0)
    if station <= pivot_mm:
        station = first.from_mm
    return station, (
        (
            f"Cut at station {station:.0f} mm, above the narrowing at {first.from_mm:.0f} to "
            f"{first.to_mm:.0f} mm: what lies below is not counted. "
            + (
                "It is narrow on both phases."
                if held
                else "If that narrowing is only peristalsis, up to "
                f"{course.length_mm - station:.0f} mm more could be used."
            )
        ),
        *told,
    )


def _ureter(freed: FreedUreter) -> dict[str, Any]:
    trim = float(defaults()["usual"]["trim_mm"])
    return {
        "points_mm": freed.course.points_mm.tolist(),
        "pivot_mm": freed.pivot_mm,
        # The course's own length and that of its polyline differ in the last digits.
        "division_mm": min(freed.division_mm, _polyline_length(freed.course)),
        "trim_mm": trim,
        "length_sd_mm": freed.course.length_sd_mm,
    }


def _polyline_length(course: Course) -> float:
    return float(np.linalg.norm(np.diff(course.points_mm, axis=0), axis=1).sum())


def _obstacle(mark: Mark) -> dict[str, Any]:
    if len(mark.points_mm) == 1:
        return {"kind": "sphere", "at_mm": list(mark.points_mm[0]), "radius_mm": mark.radius_mm}
    return {
        "kind": "capsule",
        "from_mm": list(mark.points_mm[0]),
        "to_mm": list(mark.points_mm[1]),
        "radius_mm": mark.radius_mm,
    }


def staged(
    ureters: tuple[FreedUreter, ...],
    sites: tuple[MeasuredSite, ...],
    obstacles: tuple[Mark, ...] = (),
    conduit_base_mm: Point | None = None,
    *,
    midline_x_mm: float = 0.0,
    left_passage_mm: Point | None = None,
) -> Scene:
    """Return the scene of a person.

    Parameters
    ----------
    ureters : tuple of FreedUreter
        One or two.
    sites : tuple of MeasuredSite
        May be empty for a map of margins, which brings its own.
    obstacles : tuple of Mark
        Capsules (two points) and spheres (one), with radius.
    conduit_base_mm : tuple of float, optional
        Where the base of a conduit would lie; the bowel leads on to the nearest site.
    midline_x_mm : float
        x of the person's midline.
    left_passage_mm : tuple of float, optional
        Where the left ureter passes behind the sigmoid mesentery on its way to the right.

    Raises
    ------
    InputError
        If pivot, site, passage or base lies inside an obstacle, or nothing is left to bring out.
    """
    usual = defaults()["usual"]
    spreads = [site.wall_sd_mm for site in sites if site.wall_sd_mm is not None]
    doubt = {}
    if spreads:
        # What measuring adds to the change between lying and standing.
        lying = float(defaults()["doubt"]["wall_mm"])
        doubt["wall_mm"] = float(np.hypot(lying, max(spreads)))
    table: dict[str, Any] = {
        "least_bend_radius_mm": usual["least_bend_radius_mm"],
        "clearance_mm": usual["clearance_mm"],
        "midline_x_mm": midline_x_mm,
        "ureter": {freed.side: _ureter(freed) for freed in ureters},
        "site": [
            {
                "name": site.name,
                "point_mm": list(site.point_mm),
                "normal": list(site.normal),
                "wall_mm": site.wall_mm,
                "height_mm": site.height_mm,
            }
            for site in sites
        ],
        "obstacle": [_obstacle(mark) for mark in obstacles],
        "doubt": doubt,
    }
    if left_passage_mm is not None:
        table["left_passage_mm"] = list(left_passage_mm)
    if conduit_base_mm is not None and sites:
        # Ureters end at the base, whichever site the bowel then opens at: one is enough.
        nearest = min(sites, key=lambda site: math.dist(site.point_mm, conduit_base_mm))
        table["conduit"] = [{"site": nearest.name, "base_mm": list(conduit_base_mm)}]
    return scene_from(table, Path(), without_sites=True)
