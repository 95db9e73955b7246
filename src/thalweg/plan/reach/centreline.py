"""The line along which a ureter lies, by station: a broken line, an arc or a helix."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Protocol

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["BrokenLine", "Centreline", "Helix"]

SAME_STATION_MM = 1e-9


class Centreline(Protocol):
    """A curve from the renal pelvis to the bladder, known by arc length."""

    @property
    def length(self) -> float:
        """Arc length, mm."""

    def point(self, station: float) -> Floats:
        """Return the point at a station in mm from the pelvis, shape (3,)."""

    def heading(self, station: float) -> Floats:
        """Return the unit heading towards the bladder at a station, shape (3,)."""


@dataclass(frozen=True, eq=False)
class BrokenLine:
    """Straight stretches between `points`, shape (n, 3), mm, no two neighbours the same."""

    points: Floats

    @cached_property
    def stations(self) -> Floats:
        """Station of every point, shape (n,), mm."""
        steps = np.linalg.norm(np.diff(self.points, axis=0), axis=1)
        return np.append(0.0, np.cumsum(steps))

    @property
    def length(self) -> float:
        """Arc length, mm."""
        return float(self.stations[-1])

    def point(self, station: float) -> Floats:
        """Return the point at a station in mm from the pelvis, shape (3,)."""
        return np.array([np.interp(station, self.stations, axis) for axis in self.points.T])

    def heading(self, station: float) -> Floats:
        """Return the unit heading towards the bladder at a station, shape (3,).

        At a corner it is that of the stretch above, which stays in its bed: a route that leaves
        along it does not kink there.
        """
        upper = int(np.searchsorted(self.stations, station - SAME_STATION_MM))
        index = min(max(upper, 1), len(self.points) - 1)
        step = self.points[index] - self.points[index - 1]
        return np.asarray(step / np.linalg.norm(step))


@dataclass(frozen=True, eq=False)
class Helix:
    """A turn about an axis with a steady rise along it; an arc where the rise is 0.

    Parameters
    ----------
    centre : ndarray, shape (3,), mm
    start : ndarray, shape (3,), mm
        Where it begins; its distance from the axis is the radius.
    axis : ndarray, shape (3,)
        Unit axis; the turn is right-handed about it.
    angle : float
        The whole turn, radians; negative turns left-handed.
    rise : float
        The whole rise along the axis, mm.
    """

    centre: Floats
    start: Floats
    axis: Floats
    angle: float
    rise: float = 0.0

    @cached_property
    def _spoke(self) -> Floats:
        offset = self.start - self.centre
        return np.asarray(offset - (offset @ self.axis) * self.axis)

    @property
    def length(self) -> float:
        """Arc length, mm."""
        return float(np.hypot(np.linalg.norm(self._spoke) * self.angle, self.rise))

    def _turned(self, share: float) -> tuple[Floats, Floats]:
        angle, across = share * self.angle, np.cross(self.axis, self._spoke)
        out = np.cos(angle) * self._spoke + np.sin(angle) * across
        return out, np.asarray(np.cross(self.axis, out))

    def point(self, station: float) -> Floats:
        """Return the point at a station in mm from the pelvis, shape (3,)."""
        share = station / self.length
        out, _ = self._turned(share)
        return np.asarray(self.start - self._spoke + out + share * self.rise * self.axis)

    def heading(self, station: float) -> Floats:
        """Return the unit heading towards the bladder at a station, shape (3,)."""
        _, along = self._turned(station / self.length)
        speed = self.angle * along + self.rise * self.axis
        return np.asarray(speed / np.linalg.norm(speed))
