"""KDIGO stages of acute kidney injury by urine output, from collections of any length."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.rules import kidney_rules, number
from thalweg.errors import InputError
from thalweg.record.method import Method

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from thalweg.evidence.protocol import Rules

__all__ = ["INJURY_BY_URINE", "UrineStages", "urine_stages"]

INJURY_BY_URINE = Method(
    key="kdigo-aki-urine",
    title="stage of acute kidney injury by urine output (KDIGO)",
    formula=(
        "mean output over every window that collections cover without a gap, each collection "
        "spread evenly over its interval: stage 1 below 0.5 mL/kg/h over 6 h, stage 2 over 12 h; "
        "stage 3 below 0.3 mL/kg/h over 24 h, or none (at most 25 mL) in 12 h"
    ),
    valid_for="complete collections; actual body weight",
    sources=("kdigo-aki-2012", "thalweg-engineering"),
    cautions=(
        (
            "Too little urine at a stoma may be urine that does not come out: a blocked or kinked "
            "ureter or stent, or a leak. With two stomas both must be collected."
        ),
        "With obesity, mL/kg/h by actual weight stages too high; local practice may differ.",
    ),
)

# Shares of volume so small are the arithmetic's, not the person's: 35 mL/h at 70 kg is 0.5.
_ARITHMETIC = 1e-9


@dataclass(frozen=True, eq=False)
class UrineStages:
    """What collected urine says at each moment at which a window may end.

    Parameters
    ----------
    hours : ndarray of float64, shape (n,)
        Ends of windows, on the time axis given.
    least, most : ndarray of int8, shape (n,)
        Stage shown, and the greatest that uncovered windows leave possible.
    gaps : tuple of (float, float)
        Hours during which nothing was collected or known.
    """

    hours: NDArray[np.float64]
    least: NDArray[np.int8]
    most: NDArray[np.int8]
    gaps: tuple[tuple[float, float], ...]


def _intervals(
    from_h: ArrayLike, to_h: ArrayLike, volume_ml: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    start, end, volume = (np.asarray(each, dtype=np.float64) for each in (from_h, to_h, volume_ml))
    if not (start.ndim == 1 and start.shape == end.shape == volume.shape and start.size):
        raise InputError("collections need one start, end and volume each", mend="complete them")
    if not np.all(np.isfinite([start, end, volume])) or np.any(volume < 0):
        raise InputError("a collected volume is not a number of at least 0", mend="correct it")
    order = np.argsort(start, kind="stable")
    start, end, volume = start[order], end[order], volume[order]
    if np.any(end <= start) or np.any(start[1:] < end[:-1] - _ARITHMETIC):
        raise InputError("collections overlap or have no length", mend="correct their times")
    return start, end, volume


def urine_stages(
    from_h: ArrayLike,
    to_h: ArrayLike,
    volume_ml: ArrayLike,
    weight_kg: float,
    *,
    rules: Rules | None = None,
) -> UrineStages:
    """Return the stage by urine output at every moment where it can change.

    Parameters
    ----------
    from_h, to_h : array_like, shape (m,)
        Start and end of each collection in hours from any origin; they do not overlap.
    volume_ml : array_like, shape (m,)
        mL, at least 0.
    weight_kg : float
        kg, above 0.
    rules : Rules, optional
        Thresholds; default: ours.

    Returns
    -------
    UrineStages

    Raises
    ------
    InputError
        If collections overlap, have no length, or the weight is not above 0.

    Notes
    -----
    The mean over a sliding window changes linearly between moments at which the window's end or
    start meets the end of a collection; its least value stands at one of them, so only these are
    looked at and none is missed.
    """
    rules = rules or kidney_rules()
    if not weight_kg > 0:
        raise InputError("the weight is not above 0", mend="give it in kg")
    start, end, volume = _intervals(from_h, to_h, volume_ml)
    stages = _criteria(rules, weight_kg)
    knots = np.unique(np.concatenate([start, end]))
    ends = np.unique(np.concatenate([knots, *(knots + width for width, _, _ in stages)]))
    ends = ends[(ends > start[0]) & (ends <= end[-1] + _ARITHMETIC)]
    axis = np.stack([start, end], axis=1).ravel()
    made, covered = (_running(each) for each in (volume, end - start))
    least, most = (np.zeros(ends.size, dtype=np.int8) for _ in range(2))
    for width, limit, grade in stages:
        urine, seen = (
            np.interp(ends, axis, each) - np.interp(ends - width, axis, each)
            for each in (made, covered)
        )
        low = urine < limit * (1 - _ARITHMETIC) if grade > 0 else urine <= limit + _ARITHMETIC
        whole = seen >= width * (1 - _ARITHMETIC)
        # What was collected in part of a window may already be enough; else the rest decides.
        np.maximum(least, np.where(whole & low, abs(grade), 0), out=least, casting="unsafe")
        np.maximum(most, np.where(low, abs(grade), 0), out=most, casting="unsafe")
    gaps = tuple(
        (float(a), float(b))
        for a, b in zip(end[:-1], start[1:], strict=True)
        if b > a + _ARITHMETIC
    )
    return UrineStages(ends, least, most, gaps)


def _running(amount: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the total before and after each interval, in turn."""
    after = np.cumsum(amount)
    return np.stack([after - amount, after], axis=1).ravel()


def _criteria(rules: Rules, weight_kg: float) -> list[tuple[float, float, int]]:
    """Return window in hours, limit in mL, and stage; a stage below 0 includes its limit."""
    found = []
    for grade in (1, 2, 3):
        width = number(rules, "injury-urine", f"stage_{grade}_hours")
        rate = number(rules, "injury-urine", f"stage_{grade}_below_ml_kg_h")
        found.append((width, rate * weight_kg * width, grade))
    anuria = number(rules, "injury-anuria", "hours"), number(rules, "injury-anuria", "at_most_ml")
    return [*found, (*anuria, -3)]
