"""Whether a freed ureter reaches: routes, margins, bends and doubt, from geometry alone."""

from thalweg.plan.reach.diversions import DIVERSIONS
from thalweg.plan.reach.map_types import MarginMap, SideMargins, SiteGrid
from thalweg.plan.reach.margin_map import margin_map
from thalweg.plan.reach.reading import read_scene, scene_from
from thalweg.plan.reach.result import Bend, Contribution, Joined, RouteResult
from thalweg.plan.reach.scene import Conduit, Doubt, Scene, Site, Ureter
from thalweg.plan.reach.solve import Solver, solve_scene

__all__ = [
    "DIVERSIONS",
    "Bend",
    "Conduit",
    "Contribution",
    "Doubt",
    "Joined",
    "MarginMap",
    "RouteResult",
    "Scene",
    "SideMargins",
    "Site",
    "SiteGrid",
    "Solver",
    "Ureter",
    "margin_map",
    "read_scene",
    "scene_from",
    "solve_scene",
]
