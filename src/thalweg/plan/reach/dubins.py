"""Shortest paths of bounded curvature where nothing is in the way.

In space such a path is nearly always arc, straight, arc, the arcs of the least radius; close to
home it may be three arcs or a helicoidal one (Sussmann 1995), which `route` finds numerically.

References
----------
Dubins LE. On curves of minimal length with a constraint on average curvature. Am J Math
1957;79:497-516.
Sussmann HJ. Shortest 3-dimensional paths with a prescribed curvature bound. Proc 34th IEEE CDC
1995:3306-12.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.plan.reach.arcs import ArcChain, frame_along
from thalweg.plan.reach.obstacles import shell_directions

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["arc_straight_arc", "three_arcs"]

THREE_ARCS = 6
"""Unknowns of a chain of three arcs."""
STARTS = 24
"""Headings of the straight part from which the solution is sought."""
FAR = 7.0
"""Distance, in radii, beyond which only headings near the direct one are tried."""
ROUNDS = 25
CLOSED = 1e-9
"""Largest residual, in radii and radians, of a solution."""


def _exponential(turn: Floats) -> Floats:
    """Return rotation matrices, (n, 3, 3), that turn heading by `turn` (n, 2)."""
    angle = np.linalg.norm(turn, axis=1)
    safe = np.where(angle > 0, angle, 1.0)
    unit = turn / safe[:, None]
    cosine, sine = np.cos(angle), np.sin(angle)
    result = np.empty((len(turn), 3, 3))
    result[:, 0, 0] = cosine
    result[:, 0, 1:] = -sine[:, None] * unit
    result[:, 1:, 0] = sine[:, None] * unit
    outer = unit[:, :, None] * unit[:, None, :]
    result[:, 1:, 1:] = np.eye(2) + (cosine - 1)[:, None, None] * outer
    return result


def _arc(turn: Floats) -> Floats:
    """Return where an arc of unit radius ends in its own frame, (n, 3)."""
    angle = np.linalg.norm(turn, axis=1)
    unit = turn / np.where(angle > 0, angle, 1.0)[:, None]
    return np.concatenate([np.sin(angle)[:, None], (1 - np.cos(angle))[:, None] * unit], axis=1)


def _residual(values: Floats, goal: Floats, heading: Floats | None) -> Floats:
    """Return how far chains (turn, straight, turn) end from `goal` and `heading`, (n, 6) or (n, 3).

    All in radii and in the frame at the start.
    """
    first = _exponential(values[:, :2])
    if values.shape[1] == THREE_ARCS:
        middle = _arc(values[:, 2:4])
        ahead = first @ _exponential(values[:, 2:4])
    else:
        middle = values[:, 2:3] * np.array([1.0, 0.0, 0.0])
        ahead = first
    end = _arc(values[:, :2]) + np.einsum("nij,nj->ni", first, middle)
    if heading is None:
        return np.asarray(end - goal)
    end = end + np.einsum("nij,nj->ni", ahead, _arc(values[:, -2:]))
    last = (ahead @ _exponential(values[:, -2:]))[:, :, 0]
    return np.concatenate([end - goal, last - heading], axis=1)


def _slopes(values: Floats, goal: Floats, heading: Floats | None) -> Floats:
    """Return the residual's derivatives by central differences, (n, residuals, unknowns)."""
    step = 1e-6
    columns = []
    for index in range(values.shape[1]):
        shift = np.zeros(values.shape[1])
        shift[index] = step
        ahead = _residual(values + shift, goal, heading)
        columns.append((ahead - _residual(values - shift, goal, heading)) / (2 * step))
    return np.stack(columns, -1)


def _starts(goal: Floats, heading: Floats | None) -> Floats:
    """Return first guesses: every heading of the straight part, each arc the short or long way."""
    far = float(np.linalg.norm(goal))
    aims = shell_directions(STARTS)
    if far > FAR:
        # All solutions then run nearly straight at the goal.
        aims = goal / far + np.vstack([np.zeros(3), 0.3 * shell_directions(4)])
        aims /= np.linalg.norm(aims, axis=1)[:, None]
    guesses = []
    for aim in aims:
        firsts = _both_ways(np.eye(3), aim)
        if heading is None:
            guesses += [np.append(turn, 1.0) for turn in firsts]
            continue
        for turn in firsts:
            frame = _exponential(turn[None])[0]
            guesses += [np.concatenate([turn, [1.0], end]) for end in _both_ways(frame, heading)]
    return np.array(guesses)


def _both_ways(frame: Floats, heading: Floats) -> list[Floats]:
    """Return the short and the long turn from the frame's first axis to `heading`."""
    local = frame.T @ heading
    side = float(np.hypot(local[1], local[2]))
    unit = local[1:] / side if side > 1e-12 else np.array([1.0, 0.0])
    angle = float(np.arctan2(side, local[0]))
    return [angle * unit, (angle - 2 * np.pi) * unit]


def _solve(values: Floats, goal: Floats, heading: Floats | None) -> Floats:
    """Return the solutions that Levenberg–Marquardt steps reach from the guesses."""
    done = [np.empty((0, values.shape[1]))]
    damping = np.full(len(values), 1e-3)
    error = _residual(values, goal, heading)
    for _ in range(ROUNDS):
        slopes = _slopes(values, goal, heading)
        normal = np.einsum("nri,nrj->nij", slopes, slopes)
        right = np.einsum("nri,nr->ni", slopes, error)
        eye = np.eye(values.shape[1])
        step = np.linalg.solve(normal + (damping + 1e-14)[:, None, None] * eye, right[..., None])
        trial = values - step[..., 0]
        fresh = _residual(trial, goal, heading)
        better = np.einsum("ni,ni->n", fresh, fresh) < np.einsum("ni,ni->n", error, error)
        values = np.where(better[:, None], trial, values)
        error = np.where(better[:, None], fresh, error)
        damping = np.clip(np.where(better, damping * 0.1, damping * 10), 1e-12, 1e6)
        closed = np.einsum("ni,ni->n", error, error) < CLOSED**2
        if closed.any():
            done.append(values[closed])
            values, error, damping = values[~closed], error[~closed], damping[~closed]
        if not len(values):
            break
    return np.vstack(done)


def _turned(values: Floats) -> Floats:
    """Return the size of each turn (n, 2), (n, turns, 2) in all, radians."""
    return np.asarray(np.linalg.norm(values, axis=-1))


def arc_straight_arc(
    start: Floats, heading: Floats, end: Floats, arrival: Floats | None, radius: float
) -> list[ArcChain]:
    """Return the distinct arc–straight–arc paths between two places, shortest first.

    Parameters
    ----------
    start, end : ndarray, shape (3,), mm
    heading : ndarray, shape (3,)
        Unit heading at the start.
    arrival : ndarray, shape (3,), or None
        Unit heading at the end; None leaves it free, and the path is arc–straight.
    radius : float
        Radius of the arcs, mm, above 0.

    Returns
    -------
    list of ArcChain
        Three pieces each (two where the arrival is free); empty where none was found, as between
        places closer than the arcs allow.
    """
    frame = frame_along(heading)
    goal = frame.T @ (end - start) / radius
    wanted = None if arrival is None else frame.T @ arrival
    guesses = _starts(goal, wanted)
    guesses[:, 2] = max(float(np.linalg.norm(goal)) - 1.0, 0.1)
    found = _solve(guesses, goal, wanted)
    first, last = _turned(found[:, :2]), _turned(found[:, 3:])
    sound = (found[:, 2] >= -1e-9) & (first < 2 * np.pi) & (last < 2 * np.pi)
    found, length = found[sound], (first + found[:, 2] + last)[sound]
    chains: list[ArcChain] = []
    for index in np.argsort(length, kind="stable"):
        if chains and length[index] * radius < chains[-1].length + 1e-6 * radius:
            continue
        first, straight, last = found[index, :2], max(found[index, 2], 0.0), found[index, 3:]
        turns = [first, np.zeros(2)] + ([] if arrival is None else [last])
        lengths = [np.linalg.norm(first), straight]
        lengths += [] if arrival is None else [np.linalg.norm(last)]
        chains.append(ArcChain(start, frame, np.array(turns), radius * np.array(lengths)))
    return chains


def three_arcs(
    start: Floats, heading: Floats, end: Floats, arrival: Floats | None, radius: float, count: int
) -> list[ArcChain]:
    """Return up to `count` paths of three arcs between two places, shortest first.

    They are first guesses for the shortest path between close places, not yet the shortest of
    their kind. Parameters as in `arc_straight_arc`.
    """
    frame = frame_along(heading)
    goal = frame.T @ (end - start) / radius
    wanted = None if arrival is None else frame.T @ arrival
    sizes = np.array([(0.8, 4.0, 0.8), (2.0, 4.5, 2.0), (0.3, 4.0, 2.0), (2.0, 4.0, 0.3)])
    around = 2 * np.pi * np.arange(8) / 8
    guesses = []
    for size in sizes:
        for angle in around:
            aim = np.array([np.cos(angle), np.sin(angle)])
            guesses.append(np.concatenate([size[0] * aim, -size[1] * aim, size[2] * aim]))
    found = _solve(np.array(guesses), goal, wanted)
    turns = found.reshape(-1, 3, 2)
    sizes = _turned(turns)
    turns, sizes = turns[(sizes < 2 * np.pi).all(axis=1)], sizes[(sizes < 2 * np.pi).all(axis=1)]
    length = sizes.sum(axis=1)
    chains: list[ArcChain] = []
    for index in np.argsort(length, kind="stable"):
        if len(chains) == count:
            break
        if not chains or length[index] * radius > chains[-1].length + 0.1 * radius:
            chains.append(ArcChain(start, frame, turns[index], radius * sizes[index]))
    return chains
