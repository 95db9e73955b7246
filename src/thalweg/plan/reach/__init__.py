"""Whether a freed ureter reaches: routes, margins, bends and doubt, from geometry alone."""

from thalweg.plan.reach.diversions import DIVERSIONS
from thalweg.plan.reach.reading import read_scene, scene_from
from thalweg.plan.reach.result import Bend, Contribution, RouteResult
from thalweg.plan.reach.scene import Conduit, Doubt, Scene, Site, Ureter
from thalweg.plan.reach.solve import Solver, solve_scene

__all__ = [
    "DIVERSIONS",
    "Bend",
    "Conduit",
    "Contribution",
    "Doubt",
    "RouteResult",
    "Scene",
    "Site",
    "Solver",
    "Ureter",
    "read_scene",
    "scene_from",
    "solve_scene",
]
