"""Few capsules in place of many surface points, and how well they stand for them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thalweg.measure.coarse import Coarse

__all__ = ["FoundCapsule", "chained", "inscribed_cover", "judged", "signed_distance"]

Floats = NDArray[np.float64]
Kind = Literal["bone", "vessel"]
Point = tuple[float, float, float]

CLOSE_MM = 3.0
"""A surface point counts as covered within this of a capsule's surface."""

NODE_APART_MM = 11.0
NODES = 48
LONGEST_MM = 70.0
"""Ends of capsules inside bone stand so far apart; at most so many are tried; greatest length."""

POKING_SHARE = 0.04
"""Of the surface near a capsule so much may lie deeper in it than `CLOSE_MM`."""

LEAST_GAIN = 0.04
"""A further capsule must cover at least this share of the surface."""


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
        found.append(
            FoundCapsule(name, kind, _point(best[0]), _point(best[1]), round(best[2], 2))
        )
        first = last
    return found


def _rod(centres: Floats, radii: Floats) -> tuple[Floats, Floats, float, float]:
    """Return ends and radius of the rod nearest to circles, and by how much one is off."""
    steps = np.linalg.norm(np.diff(centres, axis=0), axis=1)
    along = np.append(0.0, np.cumsum(steps))
    slope, middle = np.polyfit(along, centres, 1) if len(centres) > 2 else _through(centres, along)
    start, end = middle, middle + along[-1] * slope
    aside = np.linalg.norm(centres - (middle + along[:, None] * slope), axis=1)
    # Between the mean and the worst: a route is better kept a little too far than too near.
    radius = float(((radii + aside).max() + radii.mean()) / 2)
    off = max(float((radii + aside).max() - radius), float((radius + aside - radii).max()))
    return start, end, radius, off


def _through(centres: Floats, along: Floats) -> tuple[Floats, Floats]:
    length = along[-1] if along[-1] > 0 else 1.0
    return np.asarray((centres[-1] - centres[0]) / length), centres[0]


def inscribed_cover(
    name: str, coarse: Coarse, solid: NDArray[np.bool_], surface: Floats, most: int
) -> list[FoundCapsule]:
    """Return capsules laid inside a solid that stand for a part of its surface.

    Parameters
    ----------
    name : str
    coarse : Coarse
    solid : ndarray of bool
        On the coarse lattice.
    surface : ndarray, shape (n, 3)
        The part of its surface that matters, LPS mm.
    most : int
        Capsules at most; each further one must cover `LEAST_GAIN` of the surface.

    Notes
    -----
    Candidates join places deep in the solid; greedily, the one that brings most surface within
    `CLOSE_MM` is taken, of those that do not poke out.
    """
    box_low = np.maximum(np.floor(coarse.index_of(surface).min(axis=0)) - 8, 0).astype(int)
    box_high = np.ceil(coarse.index_of(surface).max(axis=0)).astype(int) + 9
    region = solid[tuple(slice(a, b) for a, b in zip(box_low, box_high, strict=True))]
    depth = ndimage.distance_transform_edt(region) * coarse.step_mm
    nodes = _nodes(coarse, depth, box_low, surface)
    candidates: list[FoundCapsule] = []
    covers: list[NDArray[np.bool_]] = []
    for a, b in combinations(range(len(nodes)), 2):
        start, end = nodes[a], nodes[b]
        if np.linalg.norm(end - start) > LONGEST_MM:
            continue
        index = coarse.index_of(start + np.linspace(0, 1, 9)[:, None] * (end - start)) - box_low
        inside = ndimage.map_coordinates(depth, index.T, order=1, mode="constant")
        if inside.min() < 0.5 * inside.mean():
            continue
        radius = float(inside.mean()) + coarse.step_mm / 2
        away = _axis_distance(surface, start, end) - radius
        near = np.abs(away) < CLOSE_MM
        if (away < -CLOSE_MM).sum() > POKING_SHARE * max(int(near.sum()), 1):
            continue
        candidates.append(FoundCapsule(name, "bone", _point(start), _point(end), round(radius, 2)))
        covers.append(near)
    return _greedy(candidates, covers, len(surface), most)


def _greedy(
    candidates: list[FoundCapsule], covers: list[NDArray[np.bool_]], count: int, most: int
) -> list[FoundCapsule]:
    taken: list[FoundCapsule] = []
    if not candidates:
        return taken
    gain = np.array(covers)
    while len(taken) < most:
        best = int(np.argmax(gain.sum(axis=1)))
        if gain[best].sum() < max(LEAST_GAIN * count, 1):
            break
        taken.append(candidates[best])
        gain &= ~gain[best]
    return taken


def _nodes(coarse: Coarse, depth: Floats, corner: NDArray[np.int64], surface: Floats) -> Floats:
    """Return places deep in the solid, deepest first, some way apart."""
    ridge = (depth > 0) & (depth >= ndimage.maximum_filter(depth, 3))
    index = np.argwhere(ridge)
    index = index[np.argsort(-depth[tuple(index.T)], kind="stable")]
    points = coarse.point_of(index + corner)
    low, high = surface.min(axis=0) - 10.0, surface.max(axis=0) + 10.0
    points = points[((points > low) & (points < high)).all(axis=1)]
    chosen: list[Floats] = []
    while len(points) and len(chosen) < NODES:
        chosen.append(points[0])
        points = points[np.linalg.norm(points - points[0], axis=1) > NODE_APART_MM]
    return np.array(chosen).reshape(-1, 3)


def judged(capsules: list[FoundCapsule], surface: Floats) -> list[FoundCapsule]:
    """Return the capsules with how well each stands for the surface points nearest to it."""
    if not capsules or not len(surface):
        return capsules
    away = signed_distance(capsules, surface)
    own = np.abs(away).argmin(axis=0) if len(capsules) else np.zeros(0)
    nearest = away.min(axis=0)
    told = []
    for number, one in enumerate(capsules):
        mine = nearest[own == number]
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
