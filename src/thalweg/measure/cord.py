"""Following the empty ureter through a gap: a cord of soft tissue in fat, where one shows.

A shut ureter is its wall alone, a cord some 3 to 5 mm thick. Between the lit stretches on either
side the chain of places that looks most like such a cord is sought by dynamic programming near
the smooth bridge. Where no cord stands out, nothing is changed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from thalweg.measure.levels import Tone, untouched
from thalweg.measure.spline import transported_frames
from thalweg.measure.stretches import runs

if TYPE_CHECKING:
    from thalweg.measure.corridor import Obstacles
    from thalweg.record.image import ImageVolume

__all__ = ["followed_cords"]

Floats = NDArray[np.float64]

PIXEL_MM = 0.75
HALF = 10
"""The cord is sought on a grid of ``2 HALF + 1`` pixels either way: 7.5 mm off the bridge."""

FAINTEST_HU, BRIGHTEST_HU = -120.0, 70.0
"""Values are held within these, so that a vessel stands out no more than a cord does."""

CORD_MM, AROUND_MM, ALONG_MM = 1.1, 3.0, 1.5
"""Gaussian scales: of a cord, of what lies around it, and along it."""

MOVE_HU, AWAY_HU = 6.0, 0.25
"""Price of a step of one pixel sideways per station; and per square pixel off the bridge."""

SHOWN_HU, CLEAR_HU = 12.0, 30.0
"""A cord standing out less than the first counts nothing, more than the second in full."""

LEAST_MEAN_HU = 20.0
"""A chain that stands out less on average is taken for chance."""

LEAST_STATIONS = 6
"""Shorter stretches are bridged well enough."""

FULL_WEIGHT = 0.3
"""A place on a clear cord counts this much against a lit centre."""


def followed_cords(
    volume: ImageVolume,
    points_mm: Floats,
    unseen: NDArray[np.bool_],
    obstacles: Obstacles,
    tone: Tone = untouched,
) -> tuple[Floats, Floats]:
    """Return where a cord runs through the unseen stretches, and how far to trust it.

    Parameters
    ----------
    volume : ImageVolume
    points_mm : ndarray, shape (n, 3)
        A smooth course, about 1 mm apart, that bridges what was not seen.
    unseen : ndarray of bool, shape (n,)
        Stretches that reach an end of the course are left to the placed end.
    obstacles : Obstacles
    tone : callable
        Sets fat off from soft tissue (`thalweg.measure.levels`).

    Returns
    -------
    move : ndarray, shape (n, 3)
        From each point to the cord; zero where there is none.
    weight : ndarray, shape (n,)
        From 0 (no cord) to `FULL_WEIGHT`.
    """
    move, weight = np.zeros_like(points_mm), np.zeros(len(points_mm))
    one, two = transported_frames(points_mm)
    for first, stop in runs(unseen):
        part = slice(first, stop)
        if first == 0 or stop == len(unseen) or stop - first < LEAST_STATIONS:
            continue
        contrast = _contrast(volume, points_mm[part], one[part], two[part], obstacles, tone)
        chain = _best_chain(contrast)
        height = contrast[np.arange(len(chain)), chain[:, 0], chain[:, 1]]
        if height.mean() < LEAST_MEAN_HU:
            continue
        offset = (chain - HALF) * PIXEL_MM
        move[part] = offset[:, :1] * one[part] + offset[:, 1:] * two[part]
        clear = np.clip((height - SHOWN_HU) / (CLEAR_HU - SHOWN_HU), 0.0, 1.0)
        weight[part] = FULL_WEIGHT * clear
    return move, weight


def _contrast(
    volume: ImageVolume,
    points: Floats,
    one: Floats,
    two: Floats,
    obstacles: Obstacles,
    tone: Tone,
) -> Floats:
    """Return how far each pixel stands out as a cord in HU, shape (n, side, side)."""
    offset = (np.arange(2 * HALF + 1) - HALF) * PIXEL_MM
    places = (
        points[:, None, None, :]
        + offset[:, None, None] * one[:, None, None, :]
        + offset[:, None] * two[:, None, None, :]
    )
    index = np.moveaxis(volume.index_of(places), -1, 0)
    values = ndimage.map_coordinates(
        volume.values, index, output=np.float64, order=1, mode="nearest"
    )
    values = tone(values)
    values[obstacles.at(index)] = BRIGHTEST_HU
    values = np.clip(values, FAINTEST_HU, BRIGHTEST_HU)
    cord, around = (
        ndimage.gaussian_filter(
            values, (ALONG_MM, scale / PIXEL_MM, scale / PIXEL_MM), mode="nearest"
        )
        for scale in (CORD_MM, AROUND_MM)
    )
    return np.asarray(cord - around)


def _best_chain(contrast: Floats) -> NDArray[np.int64]:
    """Return the pixel of the best chain in each plane, shape (n, 2), from centre to centre."""
    count, side, _ = contrast.shape
    away = np.add.outer((np.arange(side) - HALF) ** 2, (np.arange(side) - HALF) ** 2)
    worth = contrast - AWAY_HU * away
    closed = np.where(away <= 2, 0.0, -np.inf)  # the chain starts and ends near the centre
    steps = [(a, b) for a in (-1, 0, 1) for b in (-1, 0, 1)]
    best = worth[0] + closed
    came: list[NDArray[np.int64]] = []
    for plane in worth[1:]:
        padded = np.pad(best, 1, constant_values=-np.inf)
        options = np.stack(
            [
                padded[1 + a : 1 + a + side, 1 + b : 1 + b + side] - MOVE_HU * (a * a + b * b)
                for a, b in steps
            ]
        )
        choice = options.argmax(axis=0)
        best = np.take_along_axis(options, choice[None], axis=0)[0] + plane
        came.append(choice)
    best = best + closed
    at = np.array(np.unravel_index(int(best.argmax()), best.shape))
    chain = [at]
    for choice in reversed(came):
        at = at + np.array(steps[int(choice[tuple(at)])])
        chain.append(at)
    return np.asarray(chain[::-1], dtype=np.int64).reshape(count, 2)
