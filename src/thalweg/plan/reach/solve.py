"""Every route of a scene: solved once, told for each diversion that uses it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from thalweg.plan.reach.diversions import (
    OTHER,
    TRANSURETERO,
    Leg,
    Missing,
    allowed,
    legs,
)
from thalweg.plan.reach.doubt import spread_of
from thalweg.plan.reach.junction import Junction, best_junction
from thalweg.plan.reach.result import Joined, RouteResult, bends_of, line_of
from thalweg.plan.reach.route import Path, shortest
from thalweg.plan.reach.scene import Scene, defaults
from thalweg.plan.reach.ways import WayMap
from thalweg.progress import Progress, silent

if TYPE_CHECKING:
    from thalweg.plan.reach.problem import Question

__all__ = ["Solver", "solve_scene"]

NOTABLE_GAP_MM = 1.0
"""A path this much above its lower bound says so."""


def solve_scene(scene: Scene, *, progress: Progress = silent) -> list[RouteResult]:
    """Return every route of every diversion asked for, in the scene's order.

    Parameters
    ----------
    scene : Scene
    progress : Progress

    Returns
    -------
    list of RouteResult
        One per diversion, ureter and site. A route that was asked for and cannot be had keeps its
        place, its figures None and a caution that says why. What a diversion needs and the scene
        does not hold (the other ureter, a site on the other side) is a caution on its other
        routes, or a result of its own where it has none.
    """
    solver = Solver(scene)
    work = [(key, legs(scene, key)) for key in scene.diversions or allowed(scene)]
    total = sum(len(items) for _, items in work)
    results: list[RouteResult] = []
    for key, items in work:
        lacking = [item for item in items if isinstance(item, Missing)]
        told: list[RouteResult] = []
        for leg in items:
            if isinstance(leg, Leg):
                progress("routes", len(results) + len(told), total)
                told.append(solver.result(leg))
                if key == TRANSURETERO:
                    told.append(solver.donor(leg))
        said = tuple(item.caution for item in lacking)
        results += [replace(item, cautions=(*item.cautions, *said)) for item in told]
        if not told:
            results += [
                RouteResult(key, item.side, item.site, cautions=(item.caution, *scene.cautions))
                for item in lacking
            ]
    progress("routes", total, total)
    return results


class Solver:
    """Routes of one scene, each piece of geometry solved once.

    Parameters
    ----------
    scene : Scene
    ways : WayMap, optional
        The map of the scene's obstacles where the caller already has it, as for many sites.
    """

    def __init__(self, scene: Scene, ways: WayMap | None = None) -> None:
        self.scene = scene
        self.ways = ways or WayMap.of(scene.obstacles, scene.clearance_mm)
        self._paths: dict[tuple[str, str, bytes, bytes], Path | None] = {}
        self._told: dict[tuple[str, str, bytes, bytes], RouteResult] = {}

    def path(self, leg: Leg) -> Path | None:
        """Return the leg's shortest path, or None where none keeps every condition."""
        if leg.key not in self._paths:
            self._paths[leg.key] = shortest(leg.question(self.scene), self.ways)
        return self._paths[leg.key]

    def result(self, leg: Leg) -> RouteResult:
        """Return all that is known of a leg."""
        if leg.key not in self._told:
            path = self.path(leg)
            self._told[leg.key] = self._none(leg) if path is None else self._some(leg, path)
        told = self._told[leg.key]
        said = (*told.cautions, *leg.cautions, *leg.ureter.cautions)
        said += (*leg.site.cautions, *self.scene.cautions)
        return replace(told, diversion=leg.diversion, cautions=tuple(dict.fromkeys(said)))

    def donor(self, recipient: Leg) -> RouteResult:
        """Return what is known of the other ureter's route into the recipient's."""
        side, site = OTHER[recipient.ureter.side], recipient.site.name
        ureter, path = self.scene.ureter(side), self.path(recipient)
        why = f"The scene has no {side} ureter, so no donor's route is known."
        joined: Junction | None = None
        if ureter is not None and path is not None:
            joined = best_junction(self.scene, self.ways, ureter, recipient, path.chain)
            why = "No place on the recipient was found that the donor reaches."
        elif ureter is not None:
            why = "The recipient has no route to the skin, so the donor has nowhere to join."
        if joined is None:
            free = None if ureter is None else ureter.free_mm
            cautions = (why, *self.scene.cautions)
            return RouteResult(
                TRANSURETERO, side, site, free_mm=free, cautions=cautions, donor=True
            )
        self._paths[joined.leg.key] = joined.path
        told = self.result(joined.leg)
        x, y, z = (float(value) for value in joined.path.chain.joints()[1][-1])
        where = Joined(recipient.ureter.side, (x, y, z), joined.station_mm, joined.angle_deg)
        return replace(
            told, donor=True, joined=where, cautions=(*_joining(joined, where), *told.cautions)
        )

    def _none(self, leg: Leg) -> RouteResult:
        question = leg.question(self.scene)
        places = [(question.start, "pivot"), (question.end, "route's end at the wall or base")]
        if question.via is not None:
            places.append((question.via, "passage behind the sigmoid mesentery"))
        tight = [name for place, name in places if question.intrusion(place[None]) > 0]
        why = (
            f"No route: the {' and the '.join(tight)} already lies closer to an obstacle than the "
            f"clearance of {self.scene.clearance_mm:g} mm."
            if tight
            else "No route was found that keeps clearance and least bend radius; that none exists "
            "is not proved."
        )
        return RouteResult(
            leg.diversion,
            leg.ureter.side,
            leg.site.name,
            free_mm=leg.ureter.free_mm,
            cautions=(why,),
        )

    def _some(self, leg: Leg, path: Path) -> RouteResult:
        question = leg.question(self.scene)
        required = path.length_mm + leg.beyond_mm()
        margin = leg.ureter.free_mm - required
        beyond = np.empty((0, 3))
        if leg.base is None:
            tip = leg.site.point + leg.site.height_mm * leg.site.normal
            beyond = np.array([leg.site.point, tip])
        bends = bends_of(path.chain, question.heading, question.arrival)

        def shifted(pivot: float, wall: float) -> float | None:
            moved = leg.question(self.scene, pivot, wall)
            again = shortest(moved, self.ways, near=path.chain)
            return None if again is None else again.length_mm + leg.beyond_mm(wall)

        spread = spread_of(self.scene, leg, path, required, shifted)
        return RouteResult(
            leg.diversion,
            leg.ureter.side,
            leg.site.name,
            free_mm=leg.ureter.free_mm,
            required_mm=required,
            margin_mm=margin,
            margin_interval_mm=spread.interval_mm,
            probability_reaches=spread.probability,
            least_bend_radius_mm=min((bend.radius_mm for bend in bends), default=None),
            points_mm=line_of(path.chain, beyond),
            bends=bends,
            contributions=spread.contributions,
            cautions=(*_margin_said(margin), *_bound_said(path, question), *spread.cautions),
        )


def _margin_said(margin: float) -> tuple[str, ...]:
    most = float(defaults()["redundancy"]["threshold_mm"])
    if margin < 0:
        return (f"Too short by {-margin:.1f} mm: it would be under tension.",)
    if margin > most:
        return (f"Redundant: {margin:.1f} mm would have to be trimmed or it will buckle.",)
    return ()


def _bound_said(path: Path, question: Question) -> tuple[str, ...]:
    if path.free or path.length_mm - path.floor_mm < NOTABLE_GAP_MM:
        return ()
    what = "round obstacles" if question.obstacles else "between close ends"
    gap = path.length_mm - path.floor_mm
    said = (
        f"The shortest route {what} of those tried; none can be shorter by more than {gap:.1f} mm."
    )
    return (said,)


def _joining(joined: Junction, where: Joined) -> tuple[str, ...]:
    said = [f"The donor joins {where.place}, at {joined.angle_deg:.0f}° to its downstream course."]
    widest = float(defaults()["junction"]["widest_angle_deg"])
    least = joined.squarest
    if least is not None:
        more = joined.path.length_mm - least.path.length_mm
        said.append(
            f"It lies along the stream so as to meet at no more than {widest:g}°; joining more "
            f"squarely, at {least.angle_deg:.0f}°, would need {more:.1f} mm less of the donor."
        )
    elif joined.angle_deg > widest:
        said.append(
            f"That junction meets more squarely than {widest:g}°, and no more oblique one was "
            "found that the donor reaches."
        )
    return tuple(said)
