"""What is known of one route, and how it is told."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from thalweg.plan.reach.scene import defaults

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.plan.reach.arcs import ArcChain

    Floats = NDArray[np.float64]

__all__ = ["Bend", "Contribution", "Joined", "RouteResult", "bends_of", "line_of"]

LINE_STEP_MM = 2.0
LINE_STEP_RAD = 0.02
LEAST_BEND_RAD = np.radians(0.5)
"""Smaller bends are not told."""
STRAIGHT_RAD_PER_MM = 1e-6
"""Curvature below which a piece is straight."""


@dataclass(frozen=True)
class Bend:
    """One bend of a route: stations along the route, its angle and its radius (0 for a kink)."""

    from_mm: float
    to_mm: float
    angle_deg: float
    radius_mm: float


@dataclass(frozen=True)
class Contribution:
    """What one doubt does to the margin: standard deviation in mm, and share of the variance."""

    name: str
    sd_mm: float
    share: float
    source: str


@dataclass(frozen=True)
class Joined:
    """Where a donor ureter joins the other.

    Parameters
    ----------
    recipient : {'left', 'right'}
    point_mm : tuple of float
        LPS.
    station_mm : float
        Along the recipient's new course from its pivot; negative above it, in its bed.
    angle_deg : float
        Between the donor's arrival and the recipient's downstream heading.
    """

    recipient: str
    point_mm: tuple[float, float, float]
    station_mm: float
    angle_deg: float

    @property
    def place(self) -> str:
        """Where along the recipient it lies, in words."""
        if self.station_mm >= 0:
            return f"{self.station_mm:.0f} mm below the recipient's pivot"
        return f"{-self.station_mm:.0f} mm above the recipient's pivot, in its bed"


@dataclass(frozen=True, eq=False)
class RouteResult:
    """One ureter's route in one diversion to one site; lengths in mm, None where not known.

    Parameters
    ----------
    diversion : str
    side : {'left', 'right'} or None
    site : str or None
    free_mm, required_mm, margin_mm : float or None
        What can be brought out, the shortest route from pivot to stoma, and their difference.
    margin_interval_mm : tuple of two floats, or None
        Central 95 % of the margin under the scene's doubts.
    probability_reaches : float or None
        Share of samples whose margin is not negative.
    least_bend_radius_mm : float or None
        Of the route as it runs; 0 where it kinks, None where it does not bend.
    points_mm : ndarray, shape (n, 3), or None
        LPS, from pivot to the stoma's end.
    bends : tuple of Bend
    contributions : tuple of Contribution
        Greatest first.
    cautions : tuple of str
    donor : bool
        Whether it is to join the other ureter, and not to reach the skin or a base.
    joined : Joined or None
        Where it joins the other; None where no such place was found, and for no donor.
    """

    diversion: str
    side: str | None
    site: str | None
    free_mm: float | None = None
    required_mm: float | None = None
    margin_mm: float | None = None
    margin_interval_mm: tuple[float, float] | None = None
    probability_reaches: float | None = None
    least_bend_radius_mm: float | None = None
    points_mm: Floats | None = None
    bends: tuple[Bend, ...] = ()
    contributions: tuple[Contribution, ...] = ()
    cautions: tuple[str, ...] = field(default=())
    donor: bool = False
    joined: Joined | None = None

    @property
    def redundant_mm(self) -> float | None:
        """What must be trimmed lest the ureter buckle, mm; None where it is not too long."""
        most = float(defaults()["redundancy"]["threshold_mm"])
        too_long = self.margin_mm is not None and self.margin_mm > most
        return self.margin_mm if too_long else None

    def to_json(self) -> dict[str, Any]:
        """Return plain numbers, lists and text under the fields' own names."""
        interval = self.margin_interval_mm
        return {
            "diversion": self.diversion,
            "side": self.side,
            "site": self.site,
            "free_mm": self.free_mm,
            "required_mm": self.required_mm,
            "margin_mm": self.margin_mm,
            "margin_interval_mm": None if interval is None else list(interval),
            "probability_reaches": self.probability_reaches,
            "least_bend_radius_mm": self.least_bend_radius_mm,
            "points_mm": None if self.points_mm is None else self.points_mm.tolist(),
            "bends": [vars(bend) for bend in self.bends],
            "contributions": [vars(item) for item in self.contributions],
            "redundant_mm": self.redundant_mm,
            "donor": self.donor,
            "joins": None if self.joined is None else vars(self.joined),
            "cautions": list(self.cautions),
        }


def line_of(chain: ArcChain, beyond: Floats) -> Floats:
    """Return a chain and the straight stretch past it as a dense line, (n, 3) mm.

    Its own length falls short of the path's by less than 2 in 100 000.
    """
    points, _ = chain.sample(LINE_STEP_MM, LINE_STEP_RAD)
    points = np.vstack([points, beyond.reshape(-1, 3)])
    apart = np.linalg.norm(np.diff(points, axis=0), axis=1)
    return np.asarray(points[np.append(True, apart > 1e-9)])


def bends_of(chain: ArcChain, heading: Floats, arrival: Floats | None) -> tuple[Bend, ...]:
    """Return the bends of a route in its order, kinks at its ends included.

    Parameters
    ----------
    chain : ArcChain
    heading : ndarray, shape (3,)
        Unit heading of the ureter at the pivot.
    arrival : ndarray, shape (3,), or None
        Unit heading through the wall; None where the route ends with the chain.
    """
    frames, _ = chain.joints()
    curved = np.linalg.norm(chain.turns, axis=1)
    pieces = [
        (station, station + length, angle, frame @ np.array([0.0, *turn]))
        for station, length, angle, frame, turn in zip(
            np.append(0.0, np.cumsum(chain.lengths)),
            chain.lengths,
            curved,
            frames,
            chain.turns,
            strict=False,
        )
    ]
    bends: list[Bend] = []
    first = _first_heading(chain, frames)
    _add_kink(bends, 0.0, heading, first)
    run: list[tuple[float, float, float, Floats]] = []
    for piece in pieces:
        start, stop, angle, side = piece
        if stop - start < 1e-9:
            continue
        straight = angle < STRAIGHT_RAD_PER_MM * (stop - start)
        if run and (straight or run[-1][3] @ side <= 0):
            _add_run(bends, run)
            run = []
        if not straight:
            run.append(piece)
    _add_run(bends, run)
    if arrival is not None:
        _add_kink(bends, chain.length, frames[-1][:, 0], arrival)
    return tuple(bends)


def _first_heading(chain: ArcChain, frames: Floats) -> Floats:
    index = 0
    while index < len(chain.lengths) - 1 and chain.lengths[index] < 1e-9:
        index += 1
    return np.asarray(frames[index][:, 0])


def _add_kink(bends: list[Bend], station: float, before: Floats, after: Floats) -> None:
    angle = float(np.arctan2(np.linalg.norm(np.cross(before, after)), before @ after))
    if angle > LEAST_BEND_RAD:
        bends.append(Bend(station, station, round(float(np.degrees(angle)), 6), 0.0))


def _add_run(bends: list[Bend], run: list[tuple[float, float, float, Floats]]) -> None:
    angle = sum(piece[2] for piece in run)
    if angle <= LEAST_BEND_RAD:
        return
    told = [piece for piece in run if piece[2] > 0.05 * LEAST_BEND_RAD]
    radius = min((piece[1] - piece[0]) / piece[2] for piece in told or run)
    bends.append(
        Bend(
            float(run[0][0]),
            float(run[-1][1]),
            round(float(np.degrees(angle)), 6),
            round(float(radius), 6),
        )
    )
