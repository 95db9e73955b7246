"""Pull a path as short as its conditions allow: a constrained minimum over the chain's pieces."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from thalweg.plan.reach.arcs import ArcChain, frame_along

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from numpy.typing import NDArray
    from threadpoolctl import ThreadpoolController  # type: ignore[import-untyped]

    from thalweg.plan.reach.arcs import Trail
    from thalweg.plan.reach.problem import Question

    Floats = NDArray[np.float64]

__all__ = ["tighten"]

SPARSE, DENSE = 5, 12
"""Places on each piece where the clearance is held, at first and where that let a path through."""
LOST_MM = 1.0
"""A pull that ends this far from its goal, or longer than its room, is given up."""
FIRMER = 1 + 2e-6
"""Bends are held to this much more than the least radius, so that rounding never undercuts it."""
SOFT_TURN = 1e-5
"""Radians that round off the corner of |turn| at nought."""
WATCH_MM = 25.0
"""Places within this of the clearance are watched in the next pull."""
RIVAL_MM = 8.0
"""At each place, obstacles farther off than the nearest by this are not watched."""
SLIGHT_MM = 0.5
"""Intrusions below this lie between watched places, and are met by holding off a little more."""
PULLS = 6
STEPS = 90
SETTLED_MM = 1e-3
"""A pull that changes the length by less than this ends the work."""
PRECISION = 3e-7


@cache
def _controller() -> ThreadpoolController:
    from threadpoolctl import ThreadpoolController  # noqa: PLC0415 - looks through all libraries

    return ThreadpoolController()


def one_thread() -> AbstractContextManager[object]:
    """Return a context in which linear algebra stays on one thread.

    The matrices here are far too small to share: waking threads costs ten times the work.
    """
    limited: AbstractContextManager[object] = _controller().limit(limits=1)
    return limited


class _Pull:
    """One minimisation with a fixed list of watched places."""

    def __init__(
        self, question: Question, chain: ArcChain, extra: float, via_piece: int | None, places: int
    ) -> None:
        self.question, self.chain, self.via_piece = question, chain, via_piece
        self.radius = question.radius * FIRMER or question.least_wrap
        self.count = len(chain.lengths)
        self.scale = np.tile([1.0, 1.0, max(chain.length, 1.0) / self.count], self.count)
        self.cost = np.tile([0.0, 0.0, 1.0], self.count)
        self._seen: bytes = b""
        self._held: tuple[Floats, Floats, Floats, Floats] | None = None
        self.fractions = np.arange(1, places + 1) / places
        trail = chain.trail(self.fractions)
        flat = trail.points.reshape(-1, 3)
        gaps = [obstacle.distance(flat)[0] for obstacle in question.obstacles]
        nearest = np.min(gaps, axis=0) if gaps else np.empty(0)
        limit = np.minimum(question.clearance + WATCH_MM, nearest + RIVAL_MM)
        # The end itself is fixed: a clearance asked of it could only contradict or repeat that.
        self.watched = [np.flatnonzero(gap[:-1] < limit[:-1]) for gap in gaps]
        # Nor may the path be held off by more than its fixed ends are.
        inward = np.minimum(np.arange(len(flat)), np.arange(len(flat))[::-1])
        self.held_off = extra * np.minimum(4.0 * inward / len(flat), 1.0)

    def start(self) -> Floats:
        """Return the chain's parameters in the scaled units of the minimiser."""
        raw = np.column_stack([self.chain.turns, self.chain.lengths]).ravel()
        return np.asarray(raw / self.scale)

    def made(self, values: Floats) -> ArcChain:
        """Return the chain of scaled parameters."""
        raw = (values * self.scale).reshape(self.count, 3)
        return ArcChain(self.chain.start, self.chain.frame, raw[:, :2], raw[:, 2])

    def conditions(self, values: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Return what must be nought and its slopes, and what must not be negative and its."""
        key = values.tobytes()
        if self._held is None or key != self._seen:
            trail = self.made(values).trail(self.fractions)
            self._seen = key
            self._held = (*self._closing(trail), *self._staying(values, trail))
        return self._held

    def _closing(self, trail: Trail) -> tuple[Floats, Floats]:
        """Return how far off place, heading and waypoint are, and the slopes."""
        asked, unit = self.question, self.scale[2]
        parts, slopes = [(trail.ends[-1] - asked.end) / unit], [trail.end_slopes[-1] / unit]
        if asked.goal_heading is not None:
            across = frame_along(asked.goal_heading)[:, 1:].T
            parts.append(across @ trail.end_frame[:, 0])
            slopes.append(across @ trail.heading_slopes)
        if asked.via is not None and self.via_piece is not None:
            parts.append((trail.ends[self.via_piece] - asked.via) / unit)
            slopes.append(trail.end_slopes[self.via_piece] / unit)
        return np.concatenate(parts), np.vstack(slopes) * self.scale

    def _bending(self, values: Floats) -> tuple[Floats, Floats]:
        """Return what each piece's length has to spare for its turn, and the slopes."""
        raw = (values * self.scale).reshape(self.count, 3)
        soft = np.sqrt((raw[:, :2] ** 2).sum(axis=1) + SOFT_TURN**2)
        radius = np.full(self.count, self.radius)
        if self.question.bends_freely:
            radius[0] = 0.0  # the path may set out in any direction
        slopes = np.zeros((self.count, 3 * self.count))
        piece = np.arange(self.count)
        slopes[piece, 3 * piece + 2] = 1.0
        for axis in (0, 1):
            slopes[piece, 3 * piece + axis] = -radius * raw[:, axis] / soft
        return raw[:, 2] - radius * soft, slopes

    def _staying(self, values: Floats, trail: Trail) -> tuple[Floats, Floats]:
        """Return what bend radius, heading and clearance have to spare, and the slopes."""
        unit, asked = self.scale[2], self.question
        spare, slopes = self._bending(values)
        parts, rows = [spare / unit], [slopes / unit]
        if asked.goal_heading is not None:
            # The two components that must be nought also are so for a path that arrives backwards.
            parts.append(np.array([asked.goal_heading @ trail.end_frame[:, 0] - 0.1]))
            rows.append((asked.goal_heading @ trail.heading_slopes)[None])
        flat = trail.points.reshape(-1, 3)
        flat_slopes = trail.point_slopes.reshape(len(flat), 3, -1)
        for obstacle, watched in zip(asked.obstacles, self.watched, strict=True):
            if watched.size:
                gap, outward = obstacle.distance(flat[watched])
                parts.append((gap - asked.clearance - self.held_off[watched]) / unit)
                rows.append((outward[:, None, :] @ flat_slopes[watched])[:, 0] / unit)
        return np.concatenate(parts), np.vstack(rows) * self.scale

    def run(self) -> tuple[ArcChain, int]:
        """Minimise, and return the chain and the number of steps."""
        from scipy.optimize import minimize  # noqa: PLC0415 - heavy; `--help` must not pay

        cost = self.cost * self.scale / (self.scale[2] * self.count)
        room = 1.5 * self.chain.length / self.scale[2]
        with one_thread():
            result = minimize(
                lambda values: float(cost @ values),
                self.start(),
                jac=lambda _: cost,
                method="SLSQP",
                bounds=[(-3.1, 3.1), (-3.1, 3.1), (0.0, room)] * self.count,
                constraints=[
                    {
                        "type": "eq",
                        "fun": lambda values: self.conditions(values)[0],
                        "jac": lambda values: self.conditions(values)[1],
                    },
                    {
                        "type": "ineq",
                        "fun": lambda values: self.conditions(values)[2],
                        "jac": lambda values: self.conditions(values)[3],
                    },
                ],
                options={"maxiter": STEPS, "ftol": PRECISION},
            )
        return self.made(result.x), int(result.nit)


def tighten(
    question: Question, chain: ArcChain, via_piece: int | None = None, limit: float = np.inf
) -> ArcChain | None:
    """Return the locally shortest path reached from `chain`, or None where none is found.

    Parameters
    ----------
    question : Question
    chain : ArcChain
        A guess from the question's start; it need not keep any condition.
    via_piece : int, optional
        The piece whose end must lie on the question's waypoint.
    limit : float, optional
        Length, mm, above which a path is of no interest; work on it may stop.

    Returns
    -------
    ArcChain or None
        A chain that `Question.judge` finds good, or None.
    """
    extra, places, best = 0.0, SPARSE, None
    for _ in range(PULLS):
        before = chain.length
        chain, steps = _Pull(question, chain, extra, via_piece, places).run()
        if not np.isfinite(chain.turns).all() or not np.isfinite(chain.lengths).all():
            return best
        verdict = question.judge(chain)
        if verdict.good and (best is None or chain.length < best.length):
            best = chain
        if verdict.place_mm > LOST_MM or (verdict.good and abs(chain.length - before) < SETTLED_MM):
            return best
        if steps < STEPS and chain.length > limit:
            return best
        if verdict.intrusion_mm > SLIGHT_MM:
            places = DENSE
        elif steps < STEPS:
            extra += verdict.intrusion_mm
    return best
