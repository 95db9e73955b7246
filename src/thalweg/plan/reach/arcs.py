"""A path as a chain of circular arcs, and how it answers to a change of any of them.

Piece *j* has a length and a *turn*: the two components, in radians, by which it turns the heading
towards the first and second normal of a frame carried along without twist (Bishop 1975, *Am Math
Mon* 82:246). A turn of nought is a straight piece. Any path of bounded curvature is the limit of
such chains, and Dubins' curves and great circles are such chains exactly.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["ArcChain", "Trail", "frame_along", "turn_between"]

SMALL_TURN = 1e-3
"""Radians below which the series stand in for the quotients."""


def frame_along(heading: Floats) -> Floats:
    """Return a right-handed frame whose first column is `heading` (a unit vector); shape (3, 3)."""
    helper = np.zeros(3)
    helper[int(np.argmin(np.abs(heading)))] = 1.0
    first = np.cross(heading, helper)
    first /= np.linalg.norm(first)
    return np.column_stack([heading, first, np.cross(heading, first)])


def turn_between(frame: Floats, heading: Floats) -> Floats:
    """Return the shortest turn that takes the first axis of `frame` to `heading`; shape (2,)."""
    local = frame.T @ heading
    side = float(np.hypot(local[1], local[2]))
    angle = float(np.arctan2(side, local[0]))
    if side < 1e-15:
        return np.array([angle, 0.0])
    return local[1:] * (angle / side)


def _quotients(angle: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Return sin x/x, (1−cos x)/x², their derivatives over x, and (x−sin x)/x³."""
    x = np.where(angle < SMALL_TURN, 1.0, angle)
    sine, cosine, square = np.sin(x), np.cos(x), angle * angle
    small = angle < SMALL_TURN
    return (
        np.where(small, 1 - square / 6, sine / x),
        np.where(small, 0.5 - square / 24, (1 - cosine) / x**2),
        np.where(small, -1 / 3 + square / 30, (x * cosine - sine) / x**3),
        np.where(small, -1 / 12 + square / 180, (x * sine - 2 * (1 - cosine)) / x**4),
        np.where(small, 1 / 6 - square / 120, (x - sine) / x**3),
    )


def _cross_matrix(vectors: Floats) -> Floats:
    """Return the matrices of ``v ×``, shape (..., 3, 3)."""
    result = np.zeros((*vectors.shape, 3))
    for row, column, axis in ((2, 1, 0), (0, 2, 1), (1, 0, 2)):
        result[..., row, column] = vectors[..., axis]
        result[..., column, row] = -vectors[..., axis]
    return result


@dataclass(frozen=True, eq=False)
class Trail:
    """Where a chain runs and how that answers to its parameters.

    Parameters
    ----------
    points : ndarray, shape (pieces, samples, 3)
        Points at the asked-for fractions of every piece.
    ends : ndarray, shape (pieces, 3)
    end_frame : ndarray, shape (3, 3)
    point_slopes : ndarray, shape (pieces, samples, 3, 3 * pieces)
        Derivatives of `points`; the parameters run turn, turn, length by piece.
    end_slopes : ndarray, shape (pieces, 3, 3 * pieces)
    heading_slopes : ndarray, shape (3, 3 * pieces)
        Derivatives of the last heading.
    """

    points: Floats
    ends: Floats
    end_frame: Floats
    point_slopes: Floats
    end_slopes: Floats
    heading_slopes: Floats


@dataclass(frozen=True, eq=False)
class ArcChain:
    """A chain of arcs from a point with a frame.

    Parameters
    ----------
    start : ndarray, shape (3,), mm
    frame : ndarray, shape (3, 3)
        Columns: heading, first normal, second normal.
    turns : ndarray, shape (pieces, 2), radians
    lengths : ndarray, shape (pieces,), mm
    """

    start: Floats
    frame: Floats
    turns: Floats
    lengths: Floats

    @property
    def length(self) -> float:
        """Length of the whole chain, mm."""
        return float(self.lengths.sum())

    def _rotations(self) -> tuple[Floats, Floats]:
        """Return each piece's own rotation and left Jacobian, both (pieces, 3, 3)."""
        angle = np.hypot(self.turns[:, 0], self.turns[:, 1])
        sinc, versine, _, _, third = _quotients(angle)
        spin = np.stack([np.zeros_like(angle), -self.turns[:, 1], self.turns[:, 0]], -1)
        cross = _cross_matrix(spin)
        square = cross @ cross
        eye = np.eye(3)
        rotation = eye + sinc[:, None, None] * cross + versine[:, None, None] * square
        jacobian = eye + versine[:, None, None] * cross + third[:, None, None] * square
        return rotation, jacobian

    def _local(self, fractions: Floats) -> tuple[Floats, Floats]:
        """Return points in each piece's own frame and their slopes.

        Shapes (pieces, samples, 3) and (pieces, samples, 3, 3); `fractions` is (pieces, samples).
        """
        part = self.turns[:, None, :] * fractions[..., None]
        sinc, versine, d_sinc, d_versine, _ = _quotients(np.hypot(part[..., 0], part[..., 1]))
        unit = np.concatenate([sinc[..., None], versine[..., None] * part], -1)
        unit = unit * fractions[..., None]
        slopes = np.empty((*fractions.shape, 3, 3))
        scale = (self.lengths[:, None] * fractions**2)[..., None]
        slopes[..., 0, :2] = scale * d_sinc[..., None] * part
        outer = d_versine[..., None, None] * part[..., :, None] * part[..., None, :]
        slopes[..., 1:, :2] = scale[..., None] * (outer + versine[..., None, None] * np.eye(2))
        slopes[..., 2] = unit
        return unit * self.lengths[:, None, None], slopes

    def _frames(self, rotation: Floats, steps: Floats) -> tuple[Floats, Floats]:
        """Return frames (pieces + 1, 3, 3) and points (pieces + 1, 3) at the joints."""
        count = len(self.lengths)
        frames = np.empty((count + 1, 3, 3))
        joints = np.empty((count + 1, 3))
        frames[0], joints[0] = self.frame, self.start
        for piece in range(count):
            joints[piece + 1] = joints[piece] + frames[piece] @ steps[piece]
            frames[piece + 1] = frames[piece] @ rotation[piece]
        return frames, joints

    def joints(self) -> tuple[Floats, Floats]:
        """Return the frames and points at the joints, (pieces + 1, 3, 3) and (pieces + 1, 3)."""
        rotation, _ = self._rotations()
        steps, _ = self._local(np.ones((len(self.lengths), 1)))
        return self._frames(rotation, steps[:, 0])

    def sample(self, step_mm: float, step_rad: float) -> tuple[Floats, Floats]:
        """Return points (n, 3) and stations (n,) within both steps of each other, ends too."""
        angle = np.hypot(self.turns[:, 0], self.turns[:, 1])
        counts = np.maximum(np.ceil(self.lengths / step_mm), np.ceil(angle / step_rad)).astype(int)
        counts = np.maximum(counts, 1)
        widest = int(counts.max())
        index = np.arange(1, widest + 1)[None, :]
        fractions = np.minimum(index / counts[:, None], 1.0)
        frames, joints = self.joints()
        local, _ = self._local(fractions)
        points = joints[:-1, None, :] + np.einsum("pij,psj->psi", frames[:-1], local)
        before = np.concatenate([[0.0], np.cumsum(self.lengths)[:-1]])
        stations = before[:, None] + fractions * self.lengths[:, None]
        keep = index <= counts[:, None]
        return (
            np.vstack([self.start[None, :], points[keep]]),
            np.concatenate([[0.0], stations[keep]]),
        )

    def trail(self, fractions: Floats) -> Trail:
        """Follow the chain with derivatives.

        Parameters
        ----------
        fractions : ndarray, shape (samples,), within (0, 1]
        """
        count = len(self.lengths)
        rotation, jacobian = self._rotations()
        asked = np.append(fractions, 1.0)
        local, local_slopes = self._local(np.broadcast_to(asked, (count, len(asked))))
        frames, joints = self._frames(rotation, local[:, -1])
        points = joints[:-1, None, :] + np.einsum("pij,psj->psi", frames[:-1], local)
        own = np.einsum("pij,psjk->psik", frames[:-1], local_slopes)
        # A change in one piece moves everything after it as a rigid body about that piece's end.
        spin = np.zeros((count, 3, 3))
        spin[:, 1, 1] = -1.0
        spin[:, 2, 0] = 1.0
        swing = frames[:-1] @ jacobian @ spin
        flat = points.reshape(-1, 3)
        cross = _cross_matrix(np.swapaxes(swing, 1, 2))
        fixed = own[:, -1] - np.einsum("jpab,jb->jap", cross, joints[1:])
        carried = (flat @ cross.reshape(-1, 3).T).reshape(len(flat), count, 3, 3)
        slopes = (carried.swapaxes(-1, -2) + fixed).reshape(count, len(asked), count, 3, 3)
        slopes *= np.tri(count, k=-1)[:, None, :, None, None]
        diagonal = np.arange(count)
        slopes[diagonal, :, diagonal] = own
        slopes = slopes.transpose(0, 1, 3, 2, 4).reshape(count, len(asked), 3, 3 * count)
        heading = (cross @ frames[-1][:, 0]).reshape(3 * count, 3).T
        return Trail(
            points[:, :-1], points[:, -1], frames[-1], slopes[:, :-1], slopes[:, -1], heading
        )
