"""The shape of a kidney's curve, in words and as the part of its top that is left."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.renogram.estimates import Z, from_draws
from thalweg.assess.rules import number
from thalweg.record.method import Method

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.assess.renogram.result import Estimate
    from thalweg.assess.renogram.smooth import Smoother
    from thalweg.evidence.protocol import Rules

__all__ = ["CURVE_SHAPE", "Shape", "shape_of"]

CURVE_SHAPE = Method(
    key="renogram-curve-shape",
    title="shape of the curve",
    formula="smoothed curve at the end (or when late furosemide begins to work) over its top (or "
    "over what it was when furosemide began to work): at most 0.5 falls, at least 0.9 stays",
    valid_for="the continuous study before bladder or reservoir is emptied",
    sources=("thalweg-engineering", "conway-1992"),
)
TURN = 0.10
"""Of its top: a fall and a rise again of so much is a second top. Ours."""


@dataclass(frozen=True, slots=True)
class Shape:
    """The shape in words; and what is left of the top, with its doubt, where there is a top."""

    words: str
    left: Estimate | None


def _words(left: Estimate, limits: tuple[float, float], ending: str) -> str:
    if left.value <= limits[0]:
        return f"falls {ending}"
    if left.value >= limits[1]:
        return f"stays or rises {ending}"
    return f"falls slowly {ending}"


def _turns(curves: NDArray[np.float64], top: NDArray[np.float64]) -> bool:
    """Return whether a curve falls, then rises again beyond noise; shape (1 + draws, grid)."""
    least = int(np.argmin(curves[0]))
    rise = curves[:, -1] - curves[:, least]
    fell = curves[0, 0] - curves[0, least]
    sure = bool(rise[0] > Z * rise[1:].std(ddof=1))
    return sure and min(rise[0], fell) > TURN * top[0]


def shape_of(
    smooth: Smoother,
    curves: NDArray[np.float64],
    variance: NDArray[np.float64],
    furosemide_s: float | None,
    rules: Rules,
) -> Shape:
    """Return the shape of a curve.

    Parameters
    ----------
    smooth : Smoother
        Over the continuous study.
    curves : ndarray of float64, shape (1 + draws, grid)
        What it makes of the rates of the study and its draws.
    variance : ndarray of float64, shape (frames,)
    furosemide_s : float, optional
        After the tracer.
    rules : Rules
    """
    time = smooth.time_s
    place = int(np.argmax(curves[0]))
    noise = float(np.sqrt(smooth.matrix[place] ** 2 @ variance))
    if curves[0, place] < 3.0 * noise:
        return Shape("no uptake that stands out of the noise", None)
    limits = (number(rules, "curve-falls", "at_most"), number(rules, "curve-stays", "at_least"))
    works = None
    if furosemide_s is not None:
        works = furosemide_s + number(rules, "washout", "response_s")
    if works is None or works <= time[place]:
        late = works is not None and works > time[0]
        ending = "by itself" if works is None else "under furosemide"
        if late:
            ending = "after furosemide"
        left = from_draws(_part(curves, -1, place), least=0.0)
        return Shape(_words(left, limits, ending), left)
    if works >= time[-1]:
        return Shape("furosemide came too late to be judged", None)
    at = int(np.searchsorted(time, works))
    by_itself = from_draws(_part(curves, at, place), least=0.0)
    if by_itself.value <= number(rules, "washout", "emptied_itself"):
        return Shape("falls by itself, before furosemide", by_itself)
    left = from_draws(_part(curves, -1, at), least=0.0)
    if _turns(curves[:, at:], curves[:, at]):
        return Shape("falls after furosemide, then rises again", left)
    return Shape(_words(left, limits, "after furosemide"), left)


def _part(curves: NDArray[np.float64], at: int, of: int) -> NDArray[np.float64]:
    whole = curves[:, of]
    return np.where(whole > 0, curves[:, at] / np.where(whole > 0, whole, 1.0), np.nan)
