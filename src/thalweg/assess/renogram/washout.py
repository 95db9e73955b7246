"""How fast a kidney empties: the half-time of its curve, after furosemide or after the peak."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from thalweg.assess.renogram.estimates import from_draws
from thalweg.assess.renogram.result import Estimate, HalfTime
from thalweg.assess.rules import number
from thalweg.errors import InputError
from thalweg.record.method import Method

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from thalweg.assess.renogram.result import Window
    from thalweg.assess.renogram.smooth import Smoother
    from thalweg.evidence.protocol import Rules

__all__ = ["HALF_TIME", "Stretch", "fall_per_s", "half_time_between", "half_time_of", "stretch_of"]

HALF_TIME = Method(
    key="renogram-half-time",
    title="half-time of emptying",
    formula="ln 2 / k in min; k: rate of the exponential fitted to the curve, less background, "
    "from 95 % of its top down to 30 %, for 15 min at most",
    valid_for="a kidney with uptake enough to fill its pelvis; before bladder or reservoir is "
    "emptied",
    sources=("conway-1992", "thalweg-engineering"),
    cautions=(
        (
            "At least eight ways of measuring a half-time are in use and differ; it depends on "
            "function, hydration, filling of bladder or conduit, size of the pelvis and when "
            "furosemide was given. Never decide by it alone."
        ),
    ),
)
LN2 = float(np.log(2.0))
ROUNDS = 4
"""Of reweighting; the fit settles to six figures in three."""

LEAST_TOP = 5.0
"""Activity at the start of the stretch, in standard errors of the stretch's mean. Ours."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """The part of a curve that is fitted, and what it follows; without window: why not."""

    after: Literal["furosemide", "peak"]
    window_s: Window | None
    said: str


def half_time_between(
    earlier: ArrayLike, later: ArrayLike, apart_s: ArrayLike
) -> NDArray[np.float64]:
    """Return the half-time of an exponential through two values, in seconds.

    Parameters
    ----------
    earlier, later : array_like
        Activity above background, above 0, in one unit.
    apart_s : array_like
        Time between them, above 0, in seconds.

    Returns
    -------
    ndarray of float64
        Infinite where the later value is not below the earlier: no half-time is reached.

    Raises
    ------
    InputError
        If a value or a time is not above 0.
    """
    first, last = np.asarray(earlier, dtype=np.float64), np.asarray(later, dtype=np.float64)
    apart = np.asarray(apart_s, dtype=np.float64)
    if not ((first > 0).all() and (last > 0).all() and (apart > 0).all()):
        raise InputError(
            "a half-time needs two activities above background and a time between them",
            mend="check background and times",
        )
    ratio = np.log(first / last)
    return np.asarray(np.where(ratio > 0, LN2 * apart / np.where(ratio > 0, ratio, 1.0), np.inf))


def _value(smooth: Smoother, curve: NDArray[np.float64], time_s: float) -> float:
    return float(np.interp(time_s, smooth.time_s, curve))


def stretch_of(
    smooth: Smoother, rate: NDArray[np.float64], furosemide_s: float | None, rules: Rules
) -> Stretch:
    """Return which stretch of a curve shows its emptying.

    Furosemide given after the tracer parts the study: where the kidney had emptied itself to half
    of its peak before it worked, that emptying is taken; else what followed furosemide. Given
    before or with the tracer, it works from the start, and the stretch follows the peak.

    Parameters
    ----------
    smooth : Smoother
        Over the continuous study.
    rate : ndarray of float64, shape (frames,)
    furosemide_s : float, optional
        After the tracer.
    rules : Rules
    """
    curve, time = smooth(rate), smooth.time_s
    end = float(time[-1])
    start = float(time[np.argmax(curve)])
    after: Literal["furosemide", "peak"] = "peak"
    works = None
    if furosemide_s is not None:
        works = furosemide_s + number(rules, "washout", "response_s")
    if works is not None and float(time[0]) < works:
        if works >= end:
            return Stretch("furosemide", None, "The study ended before furosemide could work.")
        before = time <= works
        top = float(curve[before].max())
        emptied = _value(smooth, curve, works) <= number(rules, "washout", "emptied_itself") * top
        if emptied:
            start, end = float(time[before][np.argmax(curve[before])]), works
        else:
            later = time >= works
            start = float(time[later][np.argmax(curve[later])])
            after = "furosemide"
    elif works is not None:
        after = "furosemide"
    return _cut(smooth, curve, start, end, after, rules)


def _cut(
    smooth: Smoother,
    curve: NDArray[np.float64],
    start: float,
    end: float,
    after: Literal["furosemide", "peak"],
    rules: Rules,
) -> Stretch:
    """Return the stretch from just below the top to where little is left."""
    top = _value(smooth, curve, start)
    part = (smooth.time_s >= start) & (smooth.time_s <= end)
    time, fall = smooth.time_s[part], curve[part]
    row = rules.rows["washout"]
    begun = np.flatnonzero(fall <= row["begins_at"] * top)
    begin = float(time[begun[0]]) if begun.size else start
    left = np.flatnonzero((fall <= row["ends_at"] * top) & (time > begin))
    stop = min(float(time[left[0]]) if left.size else end, begin + row["longest_s"], end)
    if stop - begin < row["least_s"]:
        # A kidney that empties faster than the least stretch is followed further down.
        stop = min(begin + float(row["least_s"]), end)
    if stop - begin < row["least_s"] * (1 - 1e-9):
        return Stretch(
            after, None, f"Only {stop - begin:.0f} s of the study follow its top: too few."
        )
    return Stretch(after, (begin, stop), "")


def fall_per_s(
    time_s: NDArray[np.float64], rates: NDArray[np.float64], variance: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Fit ``A exp(-k t)`` to rates, weighted by counting, by iterated linear least squares.

    Parameters
    ----------
    time_s : ndarray of float64, shape (frames,)
        From the start of the stretch.
    rates : ndarray of float64, shape (rows, frames)
        Counts per second; single values may be negative by noise.
    variance : ndarray of float64, shape (frames,)

    Returns
    -------
    amplitude, rate of fall : ndarray of float64, shape (rows,)
        The latter per second; negative where the curve rises.
    misfit : float
        Chi-squared over degrees of freedom, of the first row.
    """
    weight = 1.0 / variance
    span = float(np.ptp(time_s))
    # From the line through the logarithm of the means of both halves.
    half = time_s <= np.median(time_s)
    early = np.maximum(np.average(rates[:, half], axis=1, weights=weight[half]), 1e-9)
    late = np.maximum(np.average(rates[:, ~half], axis=1, weights=weight[~half]), 1e-9)
    apart = time_s[~half].mean() - time_s[half].mean()
    fall = np.clip(np.log(early / late) / apart, -5.0 / span, 20.0 / span)
    amplitude = early * np.exp(fall * time_s[half].mean())
    for _ in range(ROUNDS):
        shape = np.exp(-fall[:, None] * time_s)
        model = amplitude[:, None] * shape
        left = rates - model
        by_a, by_k = shape, -time_s * model
        aa = (weight * by_a * by_a).sum(axis=1)
        ak = (weight * by_a * by_k).sum(axis=1)
        kk = (weight * by_k * by_k).sum(axis=1)
        ra, rk = (weight * by_a * left).sum(axis=1), (weight * by_k * left).sum(axis=1)
        whole = aa * kk - ak**2
        # A draw without anything left in it has no rate of fall to improve.
        sound = whole > 1e-12 * aa * np.maximum(kk, 1e-300)
        by = np.where(sound, 1.0 / np.where(sound, whole, 1.0), 0.0)
        amplitude = amplitude + by * (kk * ra - ak * rk)
        fall = np.clip(fall + by * (aa * rk - ak * ra), -5.0 / span, 20.0 / span)
    first = rates[0] - amplitude[0] * np.exp(-fall[0] * time_s)
    return amplitude, fall, float((weight * first**2).sum() / (time_s.size - 2))


def half_time_of(
    stretch: Stretch,
    smooth: Smoother,
    middles_s: NDArray[np.float64],
    rates: NDArray[np.float64],
    variance: NDArray[np.float64],
    rules: Rules,
) -> HalfTime:
    """Return the half-time over a stretch.

    Parameters
    ----------
    stretch : Stretch
    smooth : Smoother
    middles_s : ndarray of float64, shape (frames,)
    rates : ndarray of float64, shape (1 + draws, frames)
    variance : ndarray of float64, shape (frames,)
    rules : Rules

    Returns
    -------
    HalfTime
        Not reached where the interval of the rate of fall holds nought, or the fall is so slow that
        the half-time would be several times what was observed. Beyond counting and
        background the interval carries how far the curve is from one exponential: its misfit, and
        what another weighting (all moments alike) would give.
    """
    window = stretch.window_s
    if window is None:
        return HalfTime("not looked for", stretch.after, None, None, None, None, stretch.said)
    inside = np.flatnonzero((middles_s >= window[0]) & (middles_s <= window[1]))
    if inside.size < number(rules, "washout", "least_frames"):
        said = f"Only {inside.size} frames lie on the stretch of emptying."
        return HalfTime("not looked for", stretch.after, None, None, None, None, said)
    top = _value(smooth, smooth(rates[0]), window[0])
    if top < LEAST_TOP * float(np.sqrt(variance[inside].mean() / inside.size)):
        said = "No activity stands out of the noise: no emptying could be followed."
        return HalfTime("not looked for", stretch.after, None, None, None, None, said)
    time = middles_s[inside] - window[0]
    amplitude, fall, misfit = fall_per_s(time, rates[:, inside], variance[inside])
    grid = np.linspace(*window, 200)
    curve = np.interp(grid, smooth.time_s, smooth(rates[0]))
    alike = -float(np.polyfit(grid, np.log(np.maximum(curve, 1e-9)), 1)[0])
    spread = float(fall[1:].std(ddof=1))
    extra = float(np.hypot(spread * np.sqrt(max(misfit - 1.0, 0.0)), alike - fall[0]))
    found = from_draws(fall, extra_sd=extra)
    low, high = found.interval
    start_rate = float(amplitude[0])
    length = window[1] - window[0]
    if low <= 0:
        said = "No fall can be told from none: a half-time is not reached."
        return HalfTime("not reached", stretch.after, None, window, start_rate, found, said)
    if LN2 / found.value > number(rules, "washout", "at_most_stretches") * length:
        lost = 100.0 * -np.expm1(-found.value * length)
        said = f"It fell by {lost:.0f} % in {length / 60:.0f} min: a half-time is not reached."
        return HalfTime("not reached", stretch.after, None, window, start_rate, found, said)
    time_to_half = Estimate(
        LN2 / found.value, LN2 * found.sd / found.value**2, (LN2 / high, LN2 / low)
    )
    longer = time_to_half.value > length
    said = "Longer than the stretch observed: carried beyond it." if longer else ""
    return HalfTime("reached", stretch.after, time_to_half, window, start_rate, found, said)
