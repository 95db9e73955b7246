"""How sure a margin is: doubts carried by seeded sampling, and ranked.

The required length under a shifted pivot and wall is taken as linear, its slopes from two further
solutions of the route; a third, with both shifted the other way, says how wrong that is.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from thalweg.plan.reach.result import Contribution
from thalweg.plan.reach.scene import defaults

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.plan.reach.diversions import Leg
    from thalweg.plan.reach.scene import Scene

    Floats = NDArray[np.float64]

__all__ = ["Spread", "spread_of"]

Required = Callable[[float, float], "float | None"]
"""Required length, mm, for a shift of the pivot and of the wall, mm; None without a route."""

DOUBTS = ("tracing", "wall", "pivot", "trim", "stretch")
POOR_RESPONSE_MM = 1.0
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


def spread_of(scene: Scene, leg: Leg, required_mm: float, solve: Required) -> Spread:
    """Return how sure the margin of a route is.

    Parameters
    ----------
    scene : Scene
    leg : Leg
    required_mm : float
        Required length as the scene stands, mm.
    solve : callable
        Gives the required length for shifts of pivot and wall.
    """
    deviation = _deviations(scene, leg)
    response = _response(leg, deviation, required_mm, solve)
    draws = np.random.default_rng(scene.seed).standard_normal((scene.samples, len(DOUBTS)))
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


def _deviations(scene: Scene, leg: Leg) -> Floats:
    """Return the standard deviations in the order of `DOUBTS`, mm but for the last, a share."""
    doubt, ureter = scene.doubt, leg.ureter
    tracing = ureter.length_sd_mm
    if tracing is None:
        tracing = doubt.tracing_share * (ureter.division_mm - ureter.pivot_mm)
    wall = doubt.wall_mm if leg.base is None else 0.0
    return np.array([tracing, wall, doubt.pivot_mm, doubt.trim_mm, doubt.stretch_share])


def _response(leg: Leg, deviation: Floats, required: float, solve: Required) -> _Response:
    wall_step, pivot_step = float(deviation[1]), float(deviation[2])
    # Where there is no room below the pivot or above it, step the other way.
    if leg.ureter.pivot_mm + pivot_step >= leg.ureter.division_mm:
        pivot_step = -pivot_step
    pivot = _slope(required, pivot_step, solve(pivot_step, 0.0) if pivot_step else None)
    wall = _slope(required, wall_step, solve(0.0, wall_step) if wall_step else None)
    back = -pivot_step if leg.ureter.pivot_mm - pivot_step >= 0 else 0.0
    out = -min(wall_step, leg.wall_mm())
    if pivot is None or wall is None:
        return _Response(pivot or 0.0, wall or 0.0, None)
    checked = solve(back, out) if back or out else required
    if checked is None:
        return _Response(pivot, wall, None)
    return _Response(pivot, wall, abs(checked - required - pivot * back - wall * out))


def _slope(required: float, step: float, shifted: float | None) -> float | None:
    if step == 0.0:
        return 0.0
    return None if shifted is None else (shifted - required) / step


def _margins(leg: Leg, shifts: Floats, required: float, response: _Response) -> Floats:
    """Return the margins of samples of the doubts, mm."""
    tracing, wall, pivot, trim, stretch = shifts.T
    ureter = leg.ureter
    wall = np.maximum(wall, -leg.wall_mm())
    pivot = np.clip(ureter.pivot_mm + pivot, 0.0, ureter.division_mm) - ureter.pivot_mm
    trimmed = np.maximum(ureter.trim_mm + trim, 0.0)
    bare = ureter.division_mm - ureter.pivot_mm - pivot + tracing
    free = np.maximum(bare * (1.0 + stretch) - trimmed, 0.0)
    return np.asarray(free - required - response.pivot * pivot - response.wall * wall)


def _ranked(scene: Scene, leg: Leg, alone: list[float]) -> tuple[Contribution, ...]:
    total = sum(value * value for value in alone)
    keys = ("tracing_share", "wall_mm", "pivot_mm", "trim_mm", "stretch_share")
    found = []
    for name, key, value in zip(DOUBTS, keys, alone, strict=True):
        said = key in scene.doubt.given
        said = said or (name == "tracing" and leg.ureter.length_sd_mm is not None)
        source = "scene" if said else str(defaults()["source"])
        share = value * value / total if total > 0 else 0.0
        found.append(Contribution(name, value, share, source))
    return tuple(sorted(found, key=lambda item: -item.sd_mm))


def _cautions(response: _Response) -> tuple[str, ...]:
    if response.off_mm is None:
        said = "With pivot or wall shifted by its doubt no route was found: the interval is too hopeful."
        return (said,)
    if response.off_mm > POOR_RESPONSE_MM:
        said = f"Interval ends may be off by {response.off_mm:.1f} mm: the route answers unevenly."
        return (said,)
    return ()
