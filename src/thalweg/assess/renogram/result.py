"""What the arithmetic of a renogram yields, in the shape that pages and pictures read.

Times are seconds after the tracer was given, rates counts per second, shares per cent. Whatever
could not be reached is None, and a sentence beside it says why.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np
    from numpy.typing import NDArray

    from thalweg.record.finding import Finding
    from thalweg.record.truth import Truth

__all__ = [
    "Background",
    "Criterion",
    "Curve",
    "Efficiency",
    "Estimate",
    "HalfTime",
    "KidneyResult",
    "Patlak",
    "Peak",
    "RenogramResult",
    "Residual",
    "Side",
    "Window",
]

Side = Literal["left", "right"]
Window = tuple[float, float]
"""From and to, in seconds after the tracer was given."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its standard deviation and 95 % interval, all in one unit.

    The interval need not be symmetrical about the value.
    """

    value: float
    sd: float
    interval: tuple[float, float]


@dataclass(frozen=True, eq=False)
class Curve:
    """A region's time-activity curve after correction.

    Parameters
    ----------
    middles_s, durations_s : ndarray of float64, shape (frames,)
        Middle of each frame after the tracer was given, and how long it lasted.
    rate : ndarray of float64, shape (frames,)
        Counts per second, background taken off, decay corrected where that was possible.
    sd : ndarray of float64, shape (frames,)
        Standard deviation of `rate`: counting and the doubt of the background.
    background : ndarray of float64, shape (frames,)
        What was taken off, in the same unit; nought throughout where nothing was.
    """

    middles_s: NDArray[np.float64]
    durations_s: NDArray[np.float64]
    rate: NDArray[np.float64]
    sd: NDArray[np.float64]
    background: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Background:
    """What was taken off a kidney.

    Parameters
    ----------
    role : str
        Region it came from (`thalweg.record.renogram.BACKGROUNDS`); empty where none was used.
    factor : float
        Area of the kidney over area of that region; 0 where none was used.
    kidney_to_background : float or None
        Counts per pixel over the kidney against counts per pixel of the background, in the uptake
        window; None where there is no background.
    said : str
        Why this one, or why none.
    """

    role: str
    factor: float
    kidney_to_background: float | None
    said: str


@dataclass(frozen=True, eq=False)
class Patlak:
    """A Rutland–Patlak plot and the line through it.

    Parameters
    ----------
    x_s : ndarray of float64, shape (frames,)
        Integral of the blood curve up to the middle of the frame over the blood curve there, s.
    y, y_sd : ndarray of float64, shape (frames,)
        Kidney's over blood's rate, and its standard deviation by counting.
    used : ndarray of bool, shape (frames,)
        Which points the line rests on.
    window_s : Window
        The frames used, from the start of the first to the end of the last.
    slope, slope_se : float
        Uptake per second, in units of the blood region's counts.
    intercept, intercept_se : float
        Blood within the kidney's region, in the same units.
    lack_of_fit : float
        Probability of a misfit as great as this by counting alone (chi-squared).
    curvature : float
        Probability of a bend as great as this were the points on a line.
    shrunk : bool
        True where the window was shortened because the plot bent.
    """

    x_s: NDArray[np.float64]
    y: NDArray[np.float64]
    y_sd: NDArray[np.float64]
    used: NDArray[np.bool_]
    window_s: Window
    slope: float
    slope_se: float
    intercept: float
    intercept_se: float
    lack_of_fit: float
    curvature: float
    shrunk: bool


@dataclass(frozen=True, slots=True)
class Peak:
    """When the kidney's curve was highest.

    Parameters
    ----------
    time_s : Estimate or None
        None where the curve still rose at the end or no top stands out of the noise.
    rate : float or None
        Fitted counts per second at the top.
    said : str
        Why there is no time; empty where there is one.
    """

    time_s: Estimate | None
    rate: float | None
    said: str


@dataclass(frozen=True, slots=True)
class HalfTime:
    """How fast the kidney emptied.

    Parameters
    ----------
    state : str
        ``"reached"``; ``"not reached"``: no fall could be told from none; ``"not looked for"``:
        the study does not allow it, and `said` tells why.
    after : str
        ``"furosemide"`` or ``"peak"``: what the stretch follows.
    time_s : Estimate or None
        ln 2 over the rate of fall; None unless reached.
    window_s : Window or None
        The stretch fitted.
    start_rate : float or None
        Fitted counts per second where the stretch begins.
    fall_per_s : Estimate or None
        Rate of fall ``k``; the fitted curve is ``start_rate * exp(-k * (t - window_s[0]))``.
    said : str
    """

    state: Literal["reached", "not reached", "not looked for"]
    after: Literal["furosemide", "peak"]
    time_s: Estimate | None
    window_s: Window | None
    start_rate: float | None
    fall_per_s: Estimate | None
    said: str


@dataclass(frozen=True, slots=True)
class Residual:
    """Activity left against that of the second minute (normalised residual activity).

    Parameters
    ----------
    moment : str
        ``"20 min"``, ``"end of furosemide"``, ``"after emptying"``.
    at_s : float
        Middle of the minute it was taken in.
    ratio : Estimate
    normal, dilated : float or None
        Published 90th percentiles of normal and of dilated, unobstructed kidneys.
    """

    moment: str
    at_s: float
    ratio: Estimate
    normal: float | None
    dilated: float | None


@dataclass(frozen=True, slots=True)
class Efficiency:
    """Share of what the kidney took up that has left it by a moment, in per cent."""

    at_s: float
    percent: Estimate


@dataclass(frozen=True, slots=True)
class Criterion:
    """One sign for or against drainage.

    Parameters
    ----------
    key, title : str
    speaks_for : str
        ``"drainage"`` or ``"impairment"``.
    truth : Truth
        Not known where the value is missing or its interval holds the limit.
    said : str
        Value against limit, with unit.
    source : str
        Key of the bibliography.
    """

    key: str
    title: str
    speaks_for: Literal["drainage", "impairment"]
    truth: Truth
    said: str
    source: str


@dataclass(frozen=True, eq=False)
class KidneyResult:
    """One kidney.

    Parameters
    ----------
    side : "left" or "right"
    curve : Curve
    background : Background
    uptake : Estimate or None
        Counts in the uptake window, background taken off.
    share_integral, share_patlak : Estimate or None
        Per cent of both kidneys' function, by either method.
    patlak : Patlak or None
    peak : Peak
    half_time : HalfTime
    residuals : tuple of Residual
    efficiencies : tuple of Efficiency
    no_output : ndarray of float64, shape (frames,), or None
        The curve in counts per second, were nothing to leave the kidney.
    pattern : str
        Shape of the curve in words.
    criteria : tuple of Criterion
    verdict : str
        ``"drains"``, ``"impaired drainage"``, ``"equivocal"`` or ``"cannot be judged"``.
    firm : Truth
        Not known where a circumstance that could mislead was not stated; not met where one holds.
    reasons : tuple of str
        What the verdict rests on, and what would settle it.
    missing : tuple of str
        Keys of the concepts that would make the verdict firm.
    """

    side: Side
    curve: Curve
    background: Background
    uptake: Estimate | None
    share_integral: Estimate | None
    share_patlak: Estimate | None
    patlak: Patlak | None
    peak: Peak
    half_time: HalfTime
    residuals: tuple[Residual, ...]
    efficiencies: tuple[Efficiency, ...]
    no_output: NDArray[np.float64] | None
    pattern: str
    criteria: tuple[Criterion, ...]
    verdict: str
    firm: Truth
    reasons: tuple[str, ...]
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class RenogramResult:
    """A whole study.

    Parameters
    ----------
    kidneys : mapping of side to KidneyResult
        One or two.
    uptake_window_s : Window or None
        Of the integral; None where no frames fit it.
    share_left : Estimate or None
        Left kidney's share in per cent, by the method relied on.
    share_method : str
        ``"Rutland–Patlak"``, ``"integral"``, or empty where there is none.
    methods_agree : Truth
        Whether both methods' shares lie as near as the rule asks.
    furosemide_s : float or None
        After the tracer; None where not given or not stated.
    timing : str
        Such as ``"F+20"``, ``"F0"``, ``"F−15"``, ``"no furosemide stated"``.
    decay : str
        What was done about decay, in one sentence.
    said : tuple of str
        Sentences about the whole study: what was refused and why, doubts, cautions.
    findings : tuple of Finding
        The same as findings, for records and pages.
    """

    kidneys: Mapping[Side, KidneyResult]
    uptake_window_s: Window | None
    share_left: Estimate | None
    share_method: str
    methods_agree: Truth
    furosemide_s: float | None
    timing: str
    decay: str
    said: tuple[str, ...]
    findings: tuple[Finding, ...]
