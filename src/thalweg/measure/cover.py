"""Few capsules in place of many surface points, and how well they stand for them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["FoundCapsule", "chained", "facing_cover", "judged", "signed_distance"]

Floats = NDArray[np.float64]
Kind = Literal["bone", "vessel"]
Point = tuple[float, float, float]

CLOSE_MM = 3.0
"""A surface point counts as covered within this of a capsule's surface."""

SLIVER_SHARE = 0.6
"""A piece of a chain shorter than this share of its radius is left out: where round ends meet
that far apart, the surface between them dips by 5 % of the radius."""

NODE_APART_MM = 10.0
NODES = 45
LONGEST_MM = 75.0
"""Ends of capsules behind a surface stand so far apart; at most so many are tried; greatest
length."""

BEHIND_MM = (7.0, 12.0)
"""Radii that are tried: how far behind the surface the axis lies."""

POKING_SHARE = 0.04
"""Of the surface near a capsule so much may lie deeper in it than `CLOSE_MM`."""

LEAST_GAIN = 0.04
"""A further capsule must cover at least this share of the surface."""

NEIGHBOUR_MM = 10.0
"""How well a capsule stands for a surface is judged this far from it; what lies farther off is
left uncovered, and counted as that."""


@dataclass(frozen=True)
class FoundCapsule:
    """A round-ended rod found on an image, which a route must keep clear of.

    Parameters
    ----------
    name : str
        Such as ``"spine"`` or ``"aorta"``.
    kind : str
        ``"bone"`` or ``"vessel"``.
    from_mm, to_mm : (x, y, z)
        Ends of its axis, LPS mm.
    radius_mm : float
    mean_error_mm : float
        Mean distance between its surface and the segmented surface that it stands for.
    deficit_mm, excess_mm : float
        The farthest that the segmented surface stands out of it, and lies inside it; not negative.
    """

    name: str
    kind: Kind
    from_mm: Point
    to_mm: Point
    radius_mm: float
    mean_error_mm: float = 0.0
    deficit_mm: float = 0.0
    excess_mm: float = 0.0


def _point(values: Floats) -> Point:
    x, y, z = (round(float(value), 2) for value in values)
    return x, y, z


def _axis_distance(points: Floats, start: Floats, end: Floats) -> Floats:
    axis = end - start
    square = float(axis @ axis)
    along = np.clip((points - start) @ axis / square, 0.0, 1.0) if square > 0 else 0.0
    nearest = start + np.multiply.outer(along, axis)
    return np.asarray(np.linalg.norm(points - nearest, axis=-1))


def signed_distance(capsules: Sequence[FoundCapsule], points: Floats) -> Floats:
    """Return mm from each capsule's surface to points (n, 3), negative inside: (capsules, n)."""
    rows = [
        _axis_distance(points, np.array(one.from_mm), np.array(one.to_mm)) - one.radius_mm
        for one in capsules
    ]
    return np.asarray(rows).reshape(len(rows), len(points))


def chained(
    name: str, kind: Kind, centres: Floats, radii: Floats, tolerance_mm: float
) -> list[FoundCapsule]:
    """Return few capsules in a row that stand for a chain of circles.

    Parameters
    ----------
    name, kind : str
    centres : ndarray, shape (n, 3)
        In order, LPS mm; n at least 2.
    radii : ndarray, shape (n,)
        Millimetres.
    tolerance_mm : float
        No circle stands out of its capsule, nor lies inside its surface, by more.

    Notes
    -----
    Greedy: each capsule's axis is the least-squares line of as many circles as the tolerance
    allows; the next begins at the circle where it ends.
    """
    found = []
    first, count = 0, len(centres)
    while first < count - 1:
        last = first + 1
        best = _rod(centres[first : last + 1], radii[first : last + 1])[:3]
        while last + 1 < count:
            start, end, radius, off = _rod(centres[first : last + 2], radii[first : last + 2])
            if off > tolerance_mm:
                break
            last += 1
            best = start, end, radius
        found.append(FoundCapsule(name, kind, _point(best[0]), _point(best[1]), round(best[2], 2)))
        first = last
    return _without_slivers(found)


def _without_slivers(chain: list[FoundCapsule]) -> list[FoundCapsule]:
    """Return a chain without pieces so short that their neighbours' round ends reach over them."""
    kept: list[FoundCapsule] = []
    for number, one in enumerate(chain):
        since = kept[-1].to_mm if kept else one.from_mm
        last = number + 1 == len(chain) and not kept
        if last or np.linalg.norm(np.subtract(one.to_mm, since)) > SLIVER_SHARE * one.radius_mm:
            kept.append(one)
    return kept


def _rod(centres: Floats, radii: Floats) -> tuple[Floats, Floats, float, float]:
    """Return ends and radius of the rod nearest to circles, and by how much one is off."""
    steps = np.linalg.norm(np.diff(centres, axis=0), axis=1)
    along = np.append(0.0, np.cumsum(steps))
    if len(centres) > 2:
        slope, middle = np.polyfit(along, centres, 1)
    else:
        slope, middle = (centres[1] - centres[0]) / max(float(along[1]), 1e-9), centres[0]
    start, end = middle, middle + along[-1] * slope
    aside = np.linalg.norm(centres - (middle + along[:, None] * slope), axis=1)
    # Between the mean and the worst: a route is better kept a little too far than too near.
    radius = float(((radii + aside).max() + radii.mean()) / 2)
    off = max(float((radii + aside).max() - radius), float((radius + aside - radii).max()))
    return start, end, radius, off


def facing_cover(name: str, surface: Floats, inward: Floats, most: int) -> list[FoundCapsule]:
    """Return capsules that lie behind a surface and stand for it.

    Parameters
    ----------
    name : str
    surface : ndarray, shape (n, 3)
        Points of the surface on the side routes come from, LPS mm.
    inward : ndarray, shape (n, 3)
        Unit directions into the bone there.
    most : int
        Capsules at most; each further one must cover `LEAST_GAIN` of the surface.

    Notes
    -----
    Candidates join places behind the surface; greedily, the one that brings most of it within
    `CLOSE_MM` is taken, of those that do not poke out.
    """
    nodes = _nodes(surface)
    pairs = np.array(list(combinations(range(len(nodes)), 2)), dtype=np.int64).reshape(-1, 2)
    candidates, covers = [], []
    for radius in BEHIND_MM:
        places = surface[nodes] + radius * inward[nodes]
        apart = np.linalg.norm(places[pairs[:, 0]] - places[pairs[:, 1]], axis=1)
        for a, b in pairs[apart < LONGEST_MM]:
            away = _axis_distance(surface, places[a], places[b]) - radius
            near = np.abs(away) < CLOSE_MM
            if (away < -CLOSE_MM).sum() <= POKING_SHARE * int(near.sum()):
                ends = _point(places[a]), _point(places[b])
                candidates.append(FoundCapsule(name, "bone", *ends, radius))
                covers.append(near)
    return _greedy(candidates, covers, len(surface), most)


def _greedy(
    candidates: list[FoundCapsule], covers: list[NDArray[np.bool_]], count: int, most: int
) -> list[FoundCapsule]:
    taken: list[FoundCapsule] = []
    gain = np.array(covers).reshape(len(covers), count)
    while len(taken) < most and candidates:
        best = int(np.argmax(gain.sum(axis=1)))
        if gain[best].sum() < max(LEAST_GAIN * count, 1):
            break
        taken.append(candidates[best])
        gain &= ~gain[best]
    return taken


def _nodes(surface: Floats) -> list[int]:
    """Return numbers of points spread over a surface, each farthest from those before it."""
    chosen = [0]
    away = np.linalg.norm(surface - surface[0], axis=1)
    while len(chosen) < NODES and away.max() > NODE_APART_MM:
        chosen.append(int(np.argmax(away)))
        np.minimum(away, np.linalg.norm(surface - surface[chosen[-1]], axis=1), out=away)
    return chosen


def judged(capsules: list[FoundCapsule], surface: Floats) -> list[FoundCapsule]:
    """Return the capsules with how well each stands for the surface points nearest to it."""
    if not capsules or not len(surface):
        return capsules
    away = signed_distance(capsules, surface)
    own = away.argmin(axis=0)
    nearest = away.min(axis=0)
    told = []
    for number, one in enumerate(capsules):
        mine = nearest[(own == number) & (nearest < NEIGHBOUR_MM)]
        if not mine.size:
            told.append(one)
            continue
        told.append(
            replace(
                one,
                mean_error_mm=round(float(np.abs(mine).mean()), 2),
                deficit_mm=round(max(float(mine.max()), 0.0), 2),
                excess_mm=round(max(float(-mine.min()), 0.0), 2),
            )
        )
    return told
