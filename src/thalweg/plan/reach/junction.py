"""Where one ureter best joins the other: the donor's shortest reach along its course."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from thalweg.plan.reach.diversions import TRANSURETERO, Leg
from thalweg.plan.reach.route import Path, shortest

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.plan.reach.arcs import ArcChain
    from thalweg.plan.reach.scene import Scene, Ureter
    from thalweg.plan.reach.ways import WayMap

    Floats = NDArray[np.float64]

__all__ = ["Junction", "best_junction"]

ABOVE_MM = 60.0
"""How far above the recipient's pivot, in its bed, a junction is looked for."""
PLACES = 25
ATTEMPTS = 6
SETTLED_MM = 1.0


@dataclass(frozen=True, eq=False)
class Junction:
    """Where a donor joins.

    Parameters
    ----------
    leg : Leg
        The donor's, ending at the junction.
    path : Path
        The donor's shortest path.
    station_mm : float
        Along the recipient's new course, from its pivot; negative in its bed above.
    angle_deg : float
        Between the donor's arrival and the recipient's downstream heading.
    """

    leg: Leg
    path: Path
    station_mm: float
    angle_deg: float


@dataclass(frozen=True, eq=False)
class _Course:
    """The recipient's bed above the pivot and its new route below."""

    ureter: Ureter
    points: Floats
    stations: Floats

    def place(self, station: float) -> Floats:
        """Return the point at a station, shape (3,)."""
        if station < 0:
            return self.ureter.line.point(self.ureter.pivot_mm + station)
        return np.array([np.interp(station, self.stations, axis) for axis in self.points.T])

    def heading(self, station: float) -> Floats:
        """Return the unit heading downstream, shape (3,)."""
        low = max(station - 0.05, -self.ureter.pivot_mm)
        step = self.place(min(low + 0.1, float(self.stations[-1]))) - self.place(low)
        return np.asarray(step / max(float(np.linalg.norm(step)), 1e-12))


def best_junction(
    scene: Scene, ways: WayMap, donor: Ureter, recipient: Leg, chain: ArcChain
) -> Junction | None:
    """Return the junction that asks least of the donor, or None where it reaches nowhere.

    Sought from the place on the recipient nearest to the donor's pivot. A shortest path pulls at
    its end along its last heading, so the junction slides along the recipient until the donor
    meets it squarely, or to an end of the course; it is the best one near by.

    Parameters
    ----------
    scene : Scene
    ways : WayMap
    donor : Ureter
    recipient : Leg
    chain : ArcChain
        The recipient's own path to the wall.
    """
    course = _Course(recipient.ureter, *chain.sample(0.5, 0.02))
    low = -min(ABOVE_MM, recipient.ureter.pivot_mm)
    start = donor.line.point(donor.pivot_mm)
    places = np.linspace(low, chain.length, PLACES)
    gaps = [float(np.linalg.norm(course.place(float(s)) - start)) for s in places]
    station = float(places[int(np.argmin(gaps))])
    best: Junction | None = None
    for _ in range(ATTEMPTS):
        leg = Leg(TRANSURETERO, donor, recipient.site, base=course.place(station))
        path = shortest(leg.question(scene), ways, None if best is None else best.path.chain)
        if path is None:
            break
        cosine = float(np.clip(path.chain.joints()[0][-1][:, 0] @ course.heading(station), -1, 1))
        if best is None or path.length_mm < best.path.length_mm:
            best = Junction(leg, path, station, float(np.degrees(np.arccos(cosine))))
        last = float(np.max(path.chain.lengths[-3:]))
        onward = float(np.clip(station - cosine * last, low, chain.length))
        if abs(onward - station) < SETTLED_MM:
            break
        station = onward
    return best
