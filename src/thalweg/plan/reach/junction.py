"""Where one ureter best joins the other: the donor's shortest reach along its course."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from thalweg.plan.reach.diversions import TRANSURETERO, Leg, passing
from thalweg.plan.reach.route import Path, shortest
from thalweg.plan.reach.scene import defaults

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
AIM_WITHIN_DEG = 4.0
"""An oblique junction may be this much less square than it must be."""
STRAIGHT_COS = 0.995


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
    squarest : Junction or None
        The junction that asks least, where a more oblique one was taken in its place.
    """

    leg: Leg
    path: Path
    station_mm: float
    angle_deg: float
    squarest: Junction | None = None


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
    """Return where the donor best joins, or None where it reaches nowhere.

    The junction that asks least is sought first, from the place on the recipient nearest to the
    donor's pivot. A shortest path pulls at its end along its last heading, so that junction slides
    along the recipient until the donor meets it squarely, or to an end of the course; it is the
    best one near by. Urine should enter along the stream, so where it meets more squarely than
    `widest_angle_deg` one farther downstream is sought that does not, and taken if the donor still
    reaches it with a margin of nought or more; `Junction.squarest` then keeps the first.

    Parameters
    ----------
    scene : Scene
    ways : WayMap
    donor : Ureter
    recipient : Leg
    chain : ArcChain
        The recipient's own path to the wall.
    """
    search = _Sliding(scene, ways, donor, recipient, chain)
    least = search.least()
    widest = float(defaults()["junction"]["widest_angle_deg"])
    if least is None or least.angle_deg <= widest:
        return least
    oblique = search.oblique(least, widest)
    return least if oblique is None else replace(oblique, squarest=least)


class _Sliding:
    """A junction that slides along the recipient's course."""

    def __init__(
        self, scene: Scene, ways: WayMap, donor: Ureter, recipient: Leg, chain: ArcChain
    ) -> None:
        self.scene, self.ways, self.donor, self.recipient = scene, ways, donor, recipient
        self.via, self.cautions = passing(scene, donor)
        self.course = _Course(recipient.ureter, *chain.sample(0.5, 0.02))
        self.low = -min(ABOVE_MM, recipient.ureter.pivot_mm)
        self.high = chain.length

    def at(self, station: float, near: Junction | None) -> Junction | None:
        """Return the junction at a station, or None where the donor does not reach it."""
        place = self.course.place(station)
        leg = Leg(
            TRANSURETERO,
            self.donor,
            self.recipient.site,
            base=place,
            via=self.via,
            cautions=self.cautions,
        )
        path = shortest(
            leg.question(self.scene), self.ways, None if near is None else near.path.chain
        )
        if path is None:
            return None
        along = path.chain.joints()[0][-1][:, 0] @ self.course.heading(station)
        angle = float(np.degrees(np.arccos(np.clip(along, -1, 1))))
        return Junction(leg, path, station, angle)

    def least(self) -> Junction | None:
        """Return the junction that asks least of the donor."""
        start = self.donor.line.point(self.donor.pivot_mm) if self.via is None else self.via
        places = np.linspace(self.low, self.high, PLACES)
        gaps = [float(np.linalg.norm(self.course.place(float(s)) - start)) for s in places]
        station = float(places[int(np.argmin(gaps))])
        best: Junction | None = None
        for _ in range(ATTEMPTS):
            found = self.at(station, best)
            if found is None:
                break
            if best is None or found.path.length_mm < best.path.length_mm:
                best = found
            last = _last_straight(found.path.chain)
            onward = station - np.cos(np.radians(found.angle_deg)) * last
            onward = float(np.clip(onward, self.low, self.high))
            if abs(onward - station) < SETTLED_MM:
                break
            station = onward
        return best

    def oblique(self, least: Junction, widest: float) -> Junction | None:
        """Return the nearest junction downstream that meets no more squarely than `widest`."""
        here, aim = least, np.radians(widest - AIM_WITHIN_DEG / 2)
        best: Junction | None = None
        for _ in range(ATTEMPTS):
            # In the triangle of last straight, course and foot, how far on the angle is met.
            angle, last = np.radians(here.angle_deg), _last_straight(here.path.chain)
            onward = here.station_mm + last * float(np.sin(angle) / np.tan(aim) - np.cos(angle))
            onward = float(np.clip(onward, least.station_mm, self.high))
            if abs(onward - here.station_mm) < SETTLED_MM:
                break
            found = self.at(onward, here)
            if found is None:
                break
            fits = found.angle_deg <= widest and found.path.length_mm <= self.donor.free_mm
            if fits and (best is None or found.path.length_mm < best.path.length_mm):
                best = found
            if widest - AIM_WITHIN_DEG <= found.angle_deg <= widest:
                break
            here = found
        return best


def _last_straight(chain: ArcChain) -> float:
    """Return about how far the path has run straight where it ends, mm."""
    headings = chain.joints()[0][:, :, 0]
    ahead = np.flatnonzero(headings @ headings[-1] < STRAIGHT_COS)
    return float(chain.lengths[int(ahead[-1]) if ahead.size else 0 :].sum())
