"""Slope of a noisy irregular series with its interval, a break in it, and when it meets a limit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from thalweg.errors import InputError
from thalweg.record.method import Method

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "GFR_BREAK",
    "GFR_CROSSING",
    "GFR_SLOPE",
    "LEAST_FOR_INTERVAL",
    "Break",
    "Crossing",
    "Trend",
    "broken",
    "crossing",
    "trend",
]

LEAST_RESULTS = 3
LEAST_FOR_INTERVAL = 5
"""With 4 results even all 24 orders leave no 95 % interval: 2 of 24 lie outside the widest."""
LEAST_LEVEL = 6
"""Likewise of the median of residuals: 2 of 2**5 exceed 5 %."""
LEAST_FOR_BREAK, LEAST_EACH_SIDE = 8, 3
DRAWS, SEED = 1999, 20_120_113

GFR_SLOPE = Method(
    key="gfr-slope-theil-sen",
    title="yearly change of the filtration rate",
    formula=(
        "median of the slopes between all pairs of results (Theil and Sen); 95 % interval from the "
        "distribution of Kendall's S; one bad day in four does not move it far"
    ),
    valid_for=(
        "at least 3 results by one and the same estimate, steady at each; interval from 5 results; "
        "results taken as independent"
    ),
    sources=("sen-1968", "thalweg-engineering"),
    cautions=(
        (
            "A change of weight, muscle, diet or laboratory, and bowel newly in the urinary tract, "
            "change creatinine without a change of the kidneys."
        ),
    ),
)
GFR_BREAK = Method(
    key="gfr-break",
    title="one break in the course of the filtration rate",
    formula=(
        "greatest F statistic of two straight lines against one over every split with 3 results "
        "on each side; p from 1999 seeded permutations of the residuals from one line; shown where "
        "p is below 0.05"
    ),
    valid_for="at least 8 results",
    sources=("thalweg-engineering",),
    cautions=("The day lies between two results, and other breaks may exist.",),
)
GFR_CROSSING = Method(
    key="gfr-crossing",
    title="when the filtration rate would meet a limit if it went on as it has",
    formula=(
        "where the line through today's level meets the limit; earliest and latest with the lower "
        "ends and the upper ends of the intervals of level (median of residuals) and slope"
    ),
    valid_for="as long as nothing changes the course; level and slope from at least 5 results",
    sources=("sen-1968", "thalweg-engineering"),
    cautions=(
        (
            "A straight line carried forward, not a forecast: obstruction, infection and treatment "
            "change it. To plan checks by, not to promise."
        ),
    ),
)


@dataclass(frozen=True, slots=True)
class Trend:
    """A straight course: slope per year, and the level at the last result.

    Parameters
    ----------
    slope : float
        Per year.
    slope_interval, level_interval : tuple of float or None
        95 %; None with fewer than 5 results.
    level : float
        On the line at `until`.
    since, until : float
        First and last time, years.
    results : int
    """

    slope: float
    slope_interval: tuple[float, float] | None
    level: float
    level_interval: tuple[float, float] | None
    since: float
    until: float
    results: int


@dataclass(frozen=True, slots=True)
class Break:
    """A break between two results: their times in years, the slopes on both sides, and p."""

    after: float
    before: float
    slope_earlier: float
    slope_later: float
    p: float


@dataclass(frozen=True, slots=True)
class Crossing:
    """Years from the last result until a limit is met; infinite where it never is."""

    earliest: float
    likely: float
    latest: float


def _checked(years: ArrayLike, rates: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    time, rate = (np.asarray(each, dtype=np.float64) for each in (years, rates))
    if time.ndim != 1 or time.shape != rate.shape or not np.all(np.isfinite([time, rate])):
        raise InputError("a series needs one number a time", mend="leave missing results out")
    if time.size < LEAST_RESULTS or np.ptp(time) == 0:
        raise InputError("a slope needs 3 results at different times", mend="wait for more")
    order = np.lexsort((rate, time))
    return time[order], rate[order]


def trend(years: ArrayLike, rates: ArrayLike) -> Trend:
    """Return the robust straight course of a series.

    Parameters
    ----------
    years : array_like, shape (n,)
        Times in years, in any order; at least 3.
    rates : array_like, shape (n,)
        Filtration rates, mL/min per 1.73 m².

    Raises
    ------
    InputError
        If there are fewer than 3 results, or all at one time.

    References
    ----------
    Sen PK. J Am Stat Assoc 1968;63:1379-89.
    """
    from scipy import stats  # noqa: PLC0415 - half a second that `--help` need not pay

    time, rate = _checked(years, rates)
    found = stats.theilslopes(rate, time, alpha=0.95)
    slope = float(found.slope)
    residual = rate - slope * (time - time[-1])
    level = float(np.median(residual))
    bounds = level_bounds = None
    if time.size >= LEAST_FOR_INTERVAL:
        bounds = float(found.low_slope), float(found.high_slope)
        level_bounds = float(residual.min()), float(residual.max())
    if time.size >= LEAST_LEVEL:
        held = stats.quantile_test(residual, q=level, p=0.5).confidence_interval(0.95)
        level_bounds = float(held.low), float(held.high)
    return Trend(
        slope, bounds, level, level_bounds, float(time[0]), float(time[-1]), int(time.size)
    )


def _reaches(level: float, slope: float, limit: float) -> float:
    if level <= limit:
        return 0.0
    return (limit - level) / slope if slope < 0 else math.inf


def crossing(course: Trend, limit: float) -> Crossing | None:
    """Return when the course would fall to a limit; None where the doubt cannot be stated.

    Parameters
    ----------
    course : Trend
    limit : float
        mL/min per 1.73 m².
    """
    if course.slope_interval is None or course.level_interval is None:
        return None
    return Crossing(
        _reaches(course.level_interval[0], course.slope_interval[0], limit),
        _reaches(course.level, course.slope, limit),
        _reaches(course.level_interval[1], course.slope_interval[1], limit),
    )


def _left_over(time: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the matrix that leaves of a series what a straight line does not explain."""
    line = np.stack([np.ones_like(time), time - time.mean()], axis=1)
    return np.asarray(np.eye(time.size) - line @ np.linalg.pinv(line))


def broken(years: ArrayLike, rates: ArrayLike, *, seed: int = SEED) -> Break | None:
    """Return the most likely break of a series, whatever its p; None with fewer than 8 results.

    Parameters
    ----------
    years, rates
        As in `trend`.
    seed : int
        Of the permutations; one seed, one answer.

    Notes
    -----
    Residuals from one line are exchangeable only nearly (they share its two parameters); with 8
    results and more the error of p is below what a threshold of 0.05 can notice.
    """
    time, rate = _checked(years, rates)
    size = time.size
    splits = [
        split
        for split in range(LEAST_EACH_SIDE, size - LEAST_EACH_SIDE + 1)
        if np.ptp(time[:split]) > 0 and np.ptp(time[split:]) > 0 and time[split] > time[split - 1]
    ]
    if size < LEAST_FOR_BREAK or not splits:
        return None
    whole = _left_over(time)
    residual = whole @ rate
    chance = np.random.default_rng(seed)
    shuffled = chance.permuted(np.tile(residual, (DRAWS, 1)), axis=1)
    rows = np.vstack([residual, shuffled])
    one_line = np.einsum("ij,ij->i", rows @ whole, rows)
    sums = np.empty((len(splits), rows.shape[0]))
    for place, split in enumerate(splits):
        two_lines = np.zeros((size, size))
        two_lines[:split, :split] = _left_over(time[:split])
        two_lines[split:, split:] = _left_over(time[split:])
        sums[place] = np.einsum("ij,ij->i", rows @ two_lines, rows)
    # A perfect fit by two lines has nothing left: the tiniest share keeps the ratio finite.
    floor = 1e-12 * max(float(one_line[0]), np.finfo(float).tiny)
    gain = (one_line - sums) / np.maximum(sums, floor)
    best = gain.max(axis=0)
    split = splits[int(np.argmax(gain[:, 0]))]
    p = float(np.count_nonzero(best >= best[0] * (1 - 1e-9)) / best.size)
    slopes = [float(np.polyfit(time[part] - time[0], rate[part], 1)[0]) for part in _parts(split)]
    return Break(float(time[split - 1]), float(time[split]), slopes[0], slopes[1], p)


def _parts(split: int) -> tuple[slice, slice]:
    return slice(None, split), slice(split, None)
