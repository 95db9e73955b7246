"""Reach from a scene file: geometry alone, no images."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from thalweg.evidence.bibliography import cite
from thalweg.plan.reach import read_scene, solve_scene
from thalweg.plan.reach.diversions import TRANSURETERO
from thalweg.plan.reached import MARGIN, Ground, margin_finding, redundancy_of
from thalweg.progress import silent

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path

    from thalweg.plan.reach import RouteResult
    from thalweg.progress import Progress

OTHER_SIDE = {"left": "right", "right": "left"}

__all__ = ["ReachedScene", "reach_scene", "route_line"]


def _way(route: RouteResult) -> str:
    """Return which way a route runs, so that a donor never reads as if it reached the skin."""
    if route.diversion != TRANSURETERO or not route.donor:
        return f"{route.side or 'ureter'} to {route.site or 'site'}"
    other = OTHER_SIDE[str(route.side)]
    joins = f"{route.side} ureter joins the {other}, whose stoma is {route.site}"
    if route.joined is None:
        return joins
    return f"{joins}, {route.joined.place}, at {route.joined.angle_deg:.0f}°"


def route_line(route: RouteResult) -> str:
    """Return one route in one line."""
    where = f"{route.diversion}: {_way(route)}"
    if route.margin_mm is None:
        return f"{where}: not known"
    text = (
        f"{where}: margin {route.margin_mm:.1f} mm "
        f"(free {route.free_mm:.1f}, required {route.required_mm:.1f})"
    )
    if route.margin_interval_mm is not None and route.probability_reaches is not None:
        low, high = route.margin_interval_mm
        text += (
            f", 95 % {low:.0f} to {high:.0f}, reaches in {100 * route.probability_reaches:.0f} %"
        )
    if redundancy_of(route):
        text += f"; too much: trim about {route.margin_mm:.0f} mm, or it buckles"
    return text


@dataclass(frozen=True)
class ReachedScene:
    """Every route of a scene."""

    routes: tuple[RouteResult, ...]
    at: date

    def lines(self) -> list[str]:
        """Return what a person at the keyboard reads."""
        lines = [route_line(route) for route in self.routes]
        said = dict.fromkeys(caution for route in self.routes for caution in route.cautions)
        return [*lines, *(f"! {caution}" for caution in (*said, *MARGIN.cautions))]

    def to_json(self) -> dict[str, Any]:
        """Return the routes, and their margins as findings."""
        found = [margin_finding(route, Ground(self.at)) for route in self.routes]
        return {
            "routes": [route.to_json() for route in self.routes],
            "findings": [finding.to_json(cite) for finding in found if finding is not None],
        }


def reach_scene(path: Path, *, at: date, progress: Progress = silent) -> ReachedScene:
    """Solve every route of a scene file.

    Raises
    ------
    InputError
        If the file or anything in it cannot be used.
    """
    return ReachedScene(tuple(solve_scene(read_scene(path), progress=progress)), at)
