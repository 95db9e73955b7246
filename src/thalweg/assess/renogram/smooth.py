"""A smooth curve through frames of unequal length, for tops and turns.

Local cubic regression with a window that widens with time, since a renogram changes fast at first
and slowly later. It is linear in the counts, so that one matrix smooths every draw.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Smoother", "smoother"]

WIDTH_OF_TIME = 0.35
LEAST_WIDTH_S, GREATEST_WIDTH_S = 45.0, 240.0
"""Half width of the window: 0.35 of the time after the tracer, within these bounds. Ours."""

LEAST_POINTS = 6
GRID = 400


@dataclass(frozen=True, eq=False)
class Smoother:
    """A grid of times, and the matrix that takes rates of frames to rates there.

    Parameters
    ----------
    time_s : ndarray of float64, shape (grid,)
    matrix : ndarray of float64, shape (grid, frames)
    """

    time_s: NDArray[np.float64]
    matrix: NDArray[np.float64]

    def __call__(self, rate: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return smooth rates, shape (..., frames) to (..., grid)."""
        return np.asarray(rate @ self.matrix.T)


def smoother(
    middles_s: NDArray[np.float64],
    durations_s: NDArray[np.float64],
    from_s: float,
    until_s: float,
    *,
    narrower: float = 1.0,
) -> Smoother:
    """Return the smoother over the frames between two times.

    Parameters
    ----------
    middles_s, durations_s : ndarray of float64, shape (frames,)
        Longer frames weigh more.
    from_s, until_s : float
        Seconds after the tracer; frames outside are not used.
    narrower : float
        Factor on the window's width, to see what depends on it.
    """
    frames = tuple(middles_s.tolist()), tuple(durations_s.tolist())
    return _smoother(*frames, from_s, until_s, narrower)


@lru_cache(maxsize=16)
def _smoother(
    middles_of: tuple[float, ...],
    durations_of: tuple[float, ...],
    from_s: float,
    until_s: float,
    narrower: float,
) -> Smoother:
    """Build the matrix; studies of one protocol share it."""
    middles_s, durations_s = np.array(middles_of), np.array(durations_of)
    inside = np.flatnonzero((middles_s >= from_s) & (middles_s <= until_s))
    middles, durations = middles_s[inside], durations_s[inside]
    grid = np.linspace(middles[0], middles[-1], GRID)
    points = min(LEAST_POINTS, middles.size)
    away = np.abs(middles - grid[:, None])
    enough = np.partition(away, points - 1, axis=1)[:, points - 1] * 1.01
    usual = narrower * np.clip(WIDTH_OF_TIME * grid, LEAST_WIDTH_S, GREATEST_WIDTH_S)
    width = np.maximum(usual, enough)[:, None]
    weight = durations * np.clip(1.0 - (away / width) ** 3, 0.0, None) ** 3
    powers = ((middles - grid[:, None]) / width)[..., None] ** np.arange(min(4, points - 1))
    normal = np.einsum("gfi,gf,gfj->gij", powers, weight, powers, optimize=True)
    # The fitted value at each time is the constant term: the first row of the inverse.
    first = np.linalg.inv(normal)[:, 0]
    matrix = np.zeros((GRID, middles_s.size))
    matrix[:, inside] = np.einsum("gi,gfi->gf", first, powers) * weight
    grid.flags.writeable = matrix.flags.writeable = False
    return Smoother(grid, matrix)
