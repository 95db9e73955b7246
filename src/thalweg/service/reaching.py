"""Reach from a scene file: geometry alone, no images."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from thalweg.evidence.bibliography import cite
from thalweg.plan.reach import read_scene, solve_scene
from thalweg.plan.reached import MARGIN, Ground, margin_finding
from thalweg.progress import silent

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path

    from thalweg.plan.reach import RouteResult
    from thalweg.progress import Progress

__all__ = ["ReachedScene", "reach_scene", "route_line"]


def route_line(route: RouteResult) -> str:
    """Return one route in one line."""
    where = f"{route.diversion}: {route.side or 'ureter'} to {route.site or 'site'}"
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
