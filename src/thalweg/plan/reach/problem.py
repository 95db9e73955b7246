"""One routing question, and whether a path answers it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from thalweg.plan.reach.obstacles import Obstacle, least_distance

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.plan.reach.arcs import ArcChain

    Floats = NDArray[np.float64]

__all__ = ["CLEARANCE_TOLERANCE_MM", "PLACE_TOLERANCE_MM", "Question", "Verdict"]

CLEARANCE_TOLERANCE_MM = 0.005
"""How far a path may come inside the asked-for clearance and still count as keeping it."""
PLACE_TOLERANCE_MM = 1e-4
"""How far a path may end from where it should."""
HEADING_TOLERANCE = 1e-5
"""How far, in radians, a path may arrive off its heading."""
CHECK_STEP_MM = 0.25
CHECK_STEP_RAD = 0.02
RADIUS_SLACK = 1e-6
"""Relative shortfall of the bend radius put down to rounding."""


@dataclass(frozen=True)
class Verdict:
    """How well a path answers its question; all in mm, radians and shares, nought when perfect."""

    place_mm: float
    heading_rad: float
    intrusion_mm: float
    tightness: float

    @property
    def good(self) -> bool:
        """Whether every condition holds to its tolerance."""
        return (
            self.place_mm <= PLACE_TOLERANCE_MM
            and self.heading_rad <= HEADING_TOLERANCE
            and self.intrusion_mm <= CLEARANCE_TOLERANCE_MM
            and self.tightness <= RADIUS_SLACK
        )


@dataclass(frozen=True, eq=False)
class Question:
    """What the shortest path is asked for.

    Parameters
    ----------
    start, end : ndarray, shape (3,), mm
    heading : ndarray, shape (3,)
        Unit heading at the start; without effect where `radius` is 0.
    arrival : ndarray, shape (3,), or None
        Unit heading at the end; None, or a `radius` of 0, leaves it free.
    radius : float
        Least bend radius, mm; 0 lets the path bend as it likes, at its ends too.
    clearance : float
        Least distance from every obstacle's surface, mm.
    obstacles : tuple of Obstacle
    via : ndarray, shape (3,), or None
        A place the path must pass through, mm.
    """

    start: Floats
    heading: Floats
    end: Floats
    arrival: Floats | None
    radius: float
    clearance: float
    obstacles: tuple[Obstacle, ...] = ()
    via: Floats | None = field(default=None)

    @property
    def bends_freely(self) -> bool:
        """Whether no least bend radius was asked for."""
        return self.radius == 0.0

    @property
    def goal_heading(self) -> Floats | None:
        """The heading that binds at the end, if any."""
        return None if self.bends_freely else self.arrival

    @property
    def least_wrap(self) -> float:
        """A radius, mm, well below that of any curve on which a taut path lies, without bounds."""
        wraps = [obstacle.roundness + self.clearance for obstacle in self.obstacles]
        return 0.3 * min(wraps, default=1.0)

    def intrusion(self, points: Floats) -> float:
        """Return how far inside the clearance the worst of `points` (n, 3) comes, mm."""
        if not self.obstacles:
            return 0.0
        nearest = float(least_distance(self.obstacles, points).min())
        return max(self.clearance - nearest, 0.0)

    def judge(self, chain: ArcChain) -> Verdict:
        """Check a path on its own, point by point, whatever made it."""
        frames, joints = chain.joints()
        points, _ = chain.sample(CHECK_STEP_MM, CHECK_STEP_RAD)
        place = float(np.linalg.norm(joints[-1] - self.end))
        if self.via is not None:
            place = max(place, float(np.linalg.norm(joints - self.via, axis=1).min()))
        off, tight = 0.0, 0.0
        if self.goal_heading is not None:
            off = float(np.linalg.norm(frames[-1][:, 0] - self.goal_heading))
        if not self.bends_freely:
            off = max(off, float(np.linalg.norm(frames[0][:, 0] - self.heading)))
            turns = np.linalg.norm(chain.turns, axis=1)
            short = self.radius * turns - chain.lengths
            tight = float(np.max(short / np.maximum(self.radius * turns, 1e-3 * self.radius)))
        return Verdict(place, off, self.intrusion(points), max(tight, 0.0))
