"""A course through points placed by hand: the likeliest curve, and how far its length may be off.

Clicks scatter about the ureter, and between them nobody looked. Both are said by one model: along
the course its direction wanders like a random walk of strength q (rad² per mm and axis), and each
click lies off by s mm on each axis. The likeliest curve under that model is a cubic smoothing
spline (Wahba 1978), its covariance is the inverse of the spline's banded system, and q and s are
weighed by how well they explain the clicks (marginal likelihood) against what is usual. Everything
is closed form: nothing is drawn at random, and turning the person round changes nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve_banded, cholesky_banded

from thalweg.measure.spline import even_steps, polyline_length

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["HandFit", "fitted_by_hand"]

Floats = NDArray[np.float64]

NODE_MM = 1.5
MOST_NODES = 400
"""Distance of the nodes on which the curve is held, and how many of them there are at most."""

USUAL_Q, Q_SPREAD = 0.018, 0.7
"""Wandering of a ureter's direction in rad²/mm, and the standard deviation of its logarithm
(judged on the courses of artificial abdomens, winding ones included)."""

USUAL_CLICK_MM, CLICK_SPREAD = 1.3, 0.4
"""Scatter of clicks on each axis, and the standard deviation of its logarithm (our judgement)."""

WANDERINGS = tuple(float(q) for q in USUAL_Q * np.exp(Q_SPREAD * np.linspace(-3, 3, 10)))
CLICKS_MM = tuple(float(s) for s in USUAL_CLICK_MM * np.exp(CLICK_SPREAD * np.linspace(-2, 2, 5)))
"""Strengths and scatters that are weighed against one another."""

STEEPEST = 0.3
"""Variance of the slope between course and curve above which a random walk says too much: no ureter
turns back and forth without end."""

UNSEEN_SHARE, UNSEEN_PARTS = 0.1, 4.0
"""A ureter winds in waves of about a quarter of its length, which lengthen it by some 10 %. Clicks
farther apart than that do not show them, whatever straight line they make (judged likewise)."""

WORTH_A_LOOK = 1e-3
"""Pairs of strength and scatter less likely than this are left out."""

ROUNDS = 3
"""The clicks' stations follow the curve, and the curve the stations; three rounds settle them."""


@dataclass(frozen=True, eq=False)
class HandFit:
    """A course through points placed by hand.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 3)
        The likeliest curve, evenly spaced.
    length_sd_mm : float
        Root mean square difference of the true length from that of the curve, by the model.
    hidden_mm : float
        By how much the truth is expected to be longer than the curve, which cuts unseen bends.
    click_sd_mm : float
        Scatter of the clicks about the curve, on each axis.
    """

    points_mm: Floats
    length_sd_mm: float
    hidden_mm: float
    click_sd_mm: float


@dataclass(frozen=True, eq=False)
class _Solved:
    """One pair of wandering and scatter: its curve, and its logarithmic likelihood."""

    curve: Floats
    factor: Floats
    score: float
    click_mm: float


def fitted_by_hand(placed_mm: Floats, step_mm: float) -> HandFit:
    """Return the likeliest course through points placed by hand, and its doubt.

    Parameters
    ----------
    placed_mm : ndarray, shape (k, 3)
        In order, k at least 2, no two successive ones at one place.
    step_mm : float
        Distance of the points that are returned.
    """
    station = polyline_length(placed_mm)
    for _ in range(ROUNDS - 1):
        solved, share, step = _weighed(placed_mm, station)
        curve = _mean(solved, share)
        run = polyline_length(curve)
        station = np.interp(station, np.arange(len(curve)) * step, run)
    solved, share, step = _weighed(placed_mm, station)
    curve = _mean(solved, share)
    length = float(polyline_length(curve)[-1])
    means, variances = np.array([_length_of(one) for one in solved]).T
    mean = float(share @ means)
    spread = float(share @ (variances + (means - length) ** 2)) + _unseen_mm(placed_mm) ** 2
    return HandFit(
        points_mm=even_steps(curve, step_mm),
        length_sd_mm=math.sqrt(spread),
        hidden_mm=mean - length,
        click_sd_mm=float(share @ np.array([one.click_mm for one in solved])),
    )


def _unseen_mm(placed: Floats) -> float:
    """Return how much length the waves may hide that fit between the clicks."""
    gap = np.diff(polyline_length(placed))
    part = np.minimum(1.0, (UNSEEN_PARTS * gap / gap.sum()) ** 4)
    return UNSEEN_SHARE * float(part @ gap)


def _mean(solved: list[_Solved], share: Floats) -> Floats:
    return np.asarray(np.tensordot(share, np.stack([one.curve for one in solved]), 1))


def _weighed(placed: Floats, station: Floats) -> tuple[list[_Solved], Floats, float]:
    """Return the likely pairs, the share of belief in each, and the distance of the nodes."""
    length = float(station[-1])
    count = int(np.clip(math.ceil(length / NODE_MM), 4, MOST_NODES)) + 1
    step = length / (count - 1)
    solved = list(_tried(placed, station / step, count, step))
    score = np.array([one.score for one in solved])
    share = np.exp(score - score.max())
    share /= share.sum()
    kept = np.flatnonzero(share > WORTH_A_LOOK)
    return [solved[at] for at in kept], share[kept] / share[kept].sum(), step


def _tried(placed: Floats, at: Floats, count: int, step: float) -> Iterator[_Solved]:
    """Yield the curve and the likelihood of every pair of wandering and scatter."""
    low = np.minimum(at.astype(np.int64), count - 2)
    part = at - low
    seen, pulled = np.zeros((3, count)), np.zeros((count, 3))
    np.add.at(seen[2], low, (1 - part) ** 2)
    np.add.at(seen[2], low + 1, part**2)
    np.add.at(seen[1], low + 1, part * (1 - part))
    # About the middle, so that a patient far from the origin loses no digits.
    middle = placed.mean(axis=0)
    own = placed - middle
    np.add.at(pulled, low, (1 - part)[:, None] * own)
    np.add.at(pulled, low + 1, part[:, None] * own)
    bending = _bending(count)
    axes = own.shape[1]
    for wandering in WANDERINGS:
        # The direction changes by the second difference over the step: variance q times step.
        stiff = 1 / (wandering * step**3)
        for click in CLICKS_MM:
            exact = 1 / click**2
            factor = cholesky_banded(stiff * bending + exact * seen)
            curve = cho_solve_banded((factor, False), exact * pulled)
            misfit = exact * (float((own**2).sum()) - float((pulled * curve).sum()))
            freedom = (count - 2) * math.log(stiff) + len(own) * math.log(exact)
            likelihood = axes * (freedom / 2 - float(np.log(factor[-1]).sum())) - misfit / 2
            usual = math.log(wandering / USUAL_Q) / Q_SPREAD
            steady = math.log(click / USUAL_CLICK_MM) / CLICK_SPREAD
            prior = -(usual**2 + steady**2) / 2
            yield _Solved(curve + middle, factor, likelihood + prior, click)


def _bending(count: int) -> Floats:
    """Return the upper bands of the sum of squared second differences of `count` nodes."""
    bands = np.zeros((3, count))
    starts = np.arange(count - 2)
    stencil = (1.0, -2.0, 1.0)
    for left in range(3):
        for right in range(left, 3):
            bands[2 - (right - left), starts + right] += stencil[left] * stencil[right]
    return bands


def _length_of(one: _Solved) -> tuple[float, float]:
    """Return the mean and variance of the true length under one wandering and scatter.

    To first order the length changes by the gradient of the chords' sum. To second order each
    chord's length grows with the square of its tilt: twice the variance of the slope, as there
    are two directions square to it. The root keeps a wide slope from counting as a square.
    """
    chord = np.diff(one.curve, axis=0)
    size = np.linalg.norm(chord, axis=1, keepdims=True)
    along = chord / size
    pull = np.zeros_like(one.curve)
    pull[1:] += along
    pull[:-1] -= along
    first = float((pull * cho_solve_banded((one.factor, False), pull)).sum())
    covariance = cho_solve_banded((one.factor, False), np.eye(len(one.curve)))
    tilts = np.diff(np.diff(covariance, axis=0), axis=1) / (size * size.T)
    free = 2 * np.diag(tilts)
    slope = np.minimum(free, STEEPEST)
    longer = np.sqrt(1 + slope)
    mean = float((size[:, 0] * longer).sum())
    worth = size[:, 0] / longer * (slope / free)
    second = float((np.outer(worth, worth) * tilts**2).sum())
    # Clicks between the ends say nothing about where along the course an end is.
    ends = 2 * one.click_mm**2 - float(covariance[0, 0] + covariance[-1, -1])
    return mean, first + second + max(ends, 0.0)
