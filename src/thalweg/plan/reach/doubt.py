"""How sure a margin is: doubts carried by seeded sampling, and ranked.

The required length under a shifted pivot and wall is taken as linear. Its slopes are exact: a
shortest path's first straight stretch pulls at its start, and its last at its end, with unit
tension along itself (the costate of the length problem, constant off the obstacles). Where nothing
is in the way, solving again with both shifted says how wrong the straight line is.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from thalweg.plan.reach.result import Contribution
from thalweg.plan.reach.scene import defaults

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.plan.reach.arcs import ArcChain
    from thalweg.plan.reach.diversions import Leg
    from thalweg.plan.reach.route import Path
    from thalweg.plan.reach.scene import Scene, Ureter

    Floats = NDArray[np.float64]

__all__ = [
    "DOUBTS",
    "Spread",
    "deviations",
    "draws_of",
    "freed",
    "passage_slope",
    "pivot_slope",
    "slopes_of",
    "spread_of",
    "wall_slope",
]

Required = Callable[[float, float], "float | None"]
"""Required length, mm, for a shift of the pivot and of the wall, mm; None without a route."""

DOUBTS = ("tracing", "wall", "pivot", "trim", "stretch", "passage")
POOR_RESPONSE_MM = 1.0
LEAST_STRAIGHT_MM = 0.5
STRAIGHT_RAD = 1e-3
TURN_STEP_MM = 1.0
CENTRAL = (2.5, 97.5)


@dataclass(frozen=True)
class Spread:
    """The margin's central 95 %, the probability that it is not negative, and what matters."""

    interval_mm: tuple[float, float]
    probability: float
    contributions: tuple[Contribution, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class _Response:
    """Slopes of the required length with pivot and wall, and how far the check was off, mm."""

    pivot: float
    wall: float
    off_mm: float | None
    passage: float = 0.0


def spread_of(scene: Scene, leg: Leg, path: Path, required_mm: float, solve: Required) -> Spread:
    """Return how sure the margin of a route is.

    Parameters
    ----------
    scene : Scene
    leg : Leg
    path : Path
    required_mm : float
        Required length as the scene stands, mm.
    solve : callable
        Gives the required length for shifts of pivot and wall.
    """
    deviation = deviations(scene, leg.ureter, crosses_wall=leg.base is None)
    response = replace(
        _response(scene, leg, path, deviation, required_mm, solve),
        passage=passage_slope(leg.via, path.chain),
    )
    draws = draws_of(scene)
    whole = _margins(leg, draws * deviation, required_mm, response)
    low, high = np.percentile(whole, CENTRAL)
    alone = []
    for index in range(len(DOUBTS)):
        only = np.zeros_like(draws)
        only[:, index] = draws[:, index] * deviation[index]
        alone.append(float(_margins(leg, only, required_mm, response).std()))
    return Spread(
        (float(low), float(high)),
        float((whole >= 0).mean()),
        _ranked(scene, leg, alone),
        _cautions(response),
    )


def draws_of(scene: Scene) -> Floats:
    """Return the scene's standard normal draws, (samples, 6), in the order of `DOUBTS`."""
    draws = np.random.default_rng(scene.seed).standard_normal((scene.samples, len(DOUBTS) - 1))
    # The passage has a stream of its own, so that marking one leaves the other draws as they were.
    passage = np.random.default_rng([scene.seed, 2]).standard_normal((scene.samples, 1))
    return np.hstack([draws, passage])


def deviations(scene: Scene, ureter: Ureter, *, crosses_wall: bool = True) -> Floats:
    """Return the standard deviations in the order of `DOUBTS`, mm, but a share for stretch."""
    doubt = scene.doubt
    tracing = ureter.length_sd_mm
    if tracing is None:
        tracing = doubt.tracing_share * (ureter.division_mm - ureter.pivot_mm)
    wall = doubt.wall_mm if crosses_wall else 0.0
    parts = (tracing, wall, doubt.pivot_mm, doubt.trim_mm, doubt.stretch_share, doubt.passage_mm)
    return np.array(parts)


def _response(
    scene: Scene, leg: Leg, path: Path, deviation: Floats, required: float, solve: Required
) -> _Response:
    wall_step, pivot_step = float(deviation[1]), float(deviation[2])
    normal = leg.site.normal if leg.base is None else None
    slopes = slopes_of(scene, leg.ureter, normal, path.chain)
    if slopes is None:
        # No straight stretch to read the pull from: solve again with each shifted.
        pivot = _slope(required, pivot_step, solve(pivot_step, 0.0))
        wall = _slope(required, wall_step, solve(0.0, wall_step))
        lost = pivot is None or wall is None
        return _Response(pivot or 0.0, wall or 0.0, None if lost else 0.0)
    if not path.free:
        return _Response(*slopes, 0.0)
    checked = solve(-pivot_step, wall_step)
    room = min(pivot_step, leg.ureter.pivot_mm)
    off = None
    if checked is not None:
        off = abs(checked - required + slopes[0] * room - slopes[1] * wall_step)
    return _Response(*slopes, off)


def slopes_of(
    scene: Scene, ureter: Ureter, normal: Floats | None, chain: ArcChain
) -> tuple[float, float] | None:
    """Return the required length's slopes with pivot and wall, or None without a straight piece.

    Parameters
    ----------
    scene : Scene
    ureter : Ureter
    normal : ndarray, shape (3,), or None
        Outward normal of the site; None for a route that does not cross the wall.
    chain : ArcChain
    """
    frames, joints = chain.joints()
    bend = np.linalg.norm(chain.turns, axis=1)
    straight = np.flatnonzero((chain.lengths > LEAST_STRAIGHT_MM) & (bend < STRAIGHT_RAD))
    if not straight.size:
        return None
    first, last = int(straight[0]), int(straight[-1])
    bent = scene.least_bend_radius_mm > 0
    slope = float(pivot_slope(ureter, chain.start, joints[first], frames[first][:, 0], bent=bent))
    return slope, 0.0 if normal is None else float(wall_slope(normal, frames[last][:, 0]))


def pivot_slope(
    ureter: Ureter, start: Floats, joint: Floats, pull: Floats, *, bent: bool
) -> Floats:
    """Return by how many mm the required length grows for each that the pivot lies lower.

    Parameters
    ----------
    ureter : Ureter
    start : ndarray, shape (..., 3), mm
        The pivot.
    joint, pull : ndarray, shape (..., 3)
        Where the route's first straight stretch begins, mm, and its unit heading.
    bent : bool
        Whether bends are limited: then the ureter's heading binds the route.
    """
    heading = ureter.line.heading(ureter.pivot_mm)
    slope = -(pull @ heading)
    if bent:
        # Where the ureter curves, a lower pivot also turns the heading and swings the path.
        below = ureter.line.heading(min(ureter.pivot_mm + TURN_STEP_MM, ureter.division_mm))
        swing = np.cross(heading, below) / TURN_STEP_MM
        slope = slope - np.cross(joint - start, pull) @ swing
    return np.asarray(slope)


def passage_slope(via: Floats | None, chain: ArcChain) -> float:
    """Return by how many mm the required length changes for each that the passage is shifted.

    The pull jumps where a route is held: by the difference of the straight stretches' headings
    before and after. Nought where the route passes straight through, at most 2.

    Parameters
    ----------
    via : ndarray, shape (3,), mm, or None
    chain : ArcChain
    """
    if via is None:
        return 0.0
    frames, joints = chain.joints()
    bend = np.linalg.norm(chain.turns, axis=1)
    straight = (chain.lengths > LEAST_STRAIGHT_MM) & (bend < STRAIGHT_RAD)
    held = int(np.argmin(np.linalg.norm(joints - via, axis=1)))
    before, after = np.flatnonzero(straight[:held]), held + np.flatnonzero(straight[held:])
    # Without a straight stretch on one side, the heading at the passage stands for its pull.
    into = frames[before[-1] if before.size else held][:, 0]
    out = frames[after[0] if after.size else held][:, 0]
    return float(np.linalg.norm(into - out))


def wall_slope(normal: Floats, pull: Floats) -> Floats:
    """Return by how many mm the required length grows for each that the wall is thicker.

    Parameters
    ----------
    normal, pull : ndarray, shape (..., 3)
        The site's outward normal and the unit heading of the route's last straight stretch.
    """
    return np.asarray(1.0 - np.einsum("...i,...i", normal, pull))


def _slope(required: float, step: float, shifted: float | None) -> float | None:
    if step == 0.0:
        return 0.0
    return None if shifted is None else (shifted - required) / step


def _margins(leg: Leg, shifts: Floats, required: float, response: _Response) -> Floats:
    """Return the margins of samples of the doubts, mm."""
    wall = np.maximum(shifts[:, 1], -leg.wall_mm())
    free, pivot = freed(leg.ureter, shifts)
    passage = np.abs(response.passage) * shifts[:, 5]
    return np.asarray(free - required - response.pivot * pivot - response.wall * wall - passage)


def freed(ureter: Ureter, shifts: Floats) -> tuple[Floats, Floats]:
    """Return what samples of the doubts leave to bring out, and the pivot's shifts, (n,) mm.

    Parameters
    ----------
    ureter : Ureter
    shifts : ndarray, shape (n, 6)
        In the order of `DOUBTS`.
    """
    tracing, _, pivot, trim, stretch, _ = shifts.T
    pivot = np.clip(ureter.pivot_mm + pivot, 0.0, ureter.division_mm) - ureter.pivot_mm
    trimmed = np.maximum(ureter.trim_mm + trim, 0.0)
    bare = ureter.division_mm - ureter.pivot_mm - pivot + tracing
    return np.maximum(bare * (1.0 + stretch) - trimmed, 0.0), pivot


def _ranked(scene: Scene, leg: Leg, alone: list[float]) -> tuple[Contribution, ...]:
    total = sum(value * value for value in alone)
    keys = ("tracing_share", "wall_mm", "pivot_mm", "trim_mm", "stretch_share", "passage_mm")
    found = []
    for name, key, value in zip(DOUBTS, keys, alone, strict=True):
        if name == "passage" and leg.via is None:
            continue
        said = key in scene.doubt.given
        said = said or (name == "tracing" and leg.ureter.length_sd_mm is not None)
        source = "scene" if said else str(defaults()["source"])
        share = value * value / total if total > 0 else 0.0
        found.append(Contribution(name, value, share, source))
    return tuple(sorted(found, key=lambda item: -item.sd_mm))


def _cautions(response: _Response) -> tuple[str, ...]:
    if response.off_mm is None:
        said = "Shifting pivot or wall by its doubt left no route: the interval is too hopeful."
        return (said,)
    if response.off_mm > POOR_RESPONSE_MM:
        said = f"Interval ends may be off by {response.off_mm:.1f} mm: the route answers unevenly."
        return (said,)
    return ()
