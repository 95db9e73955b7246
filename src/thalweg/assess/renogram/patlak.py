"""The Rutland–Patlak line: uptake from blood to kidney, with the blood in the kidney set apart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import chdtrc, ndtr, ndtri

from thalweg.assess.renogram.frames import running_integral
from thalweg.assess.renogram.result import Patlak
from thalweg.assess.rules import number

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.evidence.protocol import Rules
    from thalweg.record.renogram import Renogram

__all__ = ["Line", "Uptake", "line", "patlak"]


@dataclass(frozen=True, eq=False)
class Line:
    """Weighted least squares through points; all of shape (...)."""

    slope: NDArray[np.float64]
    intercept: NDArray[np.float64]
    slope_se: NDArray[np.float64]
    intercept_se: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Uptake:
    """A kidney's line, and slope and intercept of every draw; shape (1 + draws,)."""

    line: Patlak
    slopes: NDArray[np.float64]
    intercepts: NDArray[np.float64]
    spread: float


def line(x: NDArray[np.float64], y: NDArray[np.float64], weight: NDArray[np.float64]) -> Line:
    """Return the lines through points along the last axis.

    Parameters
    ----------
    x, y : ndarray of float64, shape (..., points)
        Two points at least, not all at one x.
    weight : ndarray of float64, shape (points,) or (..., points)
        One over the variance of each y; the standard errors rest on it.
    """
    total = weight.sum(axis=-1)
    middle = (weight * x).sum(axis=-1) / total
    height = (weight * y).sum(axis=-1) / total
    off = x - middle[..., None]
    spread = (weight * off**2).sum(axis=-1)
    slope = (weight * off * y).sum(axis=-1) / spread
    return Line(
        slope=np.asarray(slope),
        intercept=np.asarray(height - slope * middle),
        slope_se=np.asarray(np.sqrt(1.0 / spread)),
        intercept_se=np.asarray(np.sqrt(1.0 / total + middle**2 / spread)),
    )


def _bend(x: NDArray[np.float64], y: NDArray[np.float64], weight: NDArray[np.float64]) -> float:
    """Return the bend of points in units of its own standard error; below nought: downwards."""
    scaled = (x - x.mean()) / np.ptp(x)
    columns = np.vander(scaled, 3) * np.sqrt(weight)[:, None]
    normal = columns.T @ columns
    fitted = np.linalg.solve(normal, columns.T @ (np.sqrt(weight) * y))
    return float(fitted[0] / np.sqrt(np.linalg.inv(normal)[0, 0]))


def patlak(
    study: Renogram,
    kidney: NDArray[np.float64],
    kidney_variance: NDArray[np.float64],
    blood: NDArray[np.float64],
    blood_variance: NDArray[np.float64],
    rules: Rules,
) -> Uptake | str:
    """Return the line of a kidney, or why there is none.

    Parameters
    ----------
    study : Renogram
        For its frames.
    kidney, blood : ndarray of float64, shape (1 + draws, frames)
        Counts per second, corrected.
    kidney_variance, blood_variance : ndarray of float64, shape (frames,)
        By counting, of row 0.
    rules : Rules
        Window, and when it shrinks: a bend downwards that counting does not explain means that
        tracer already leaves the kidney, and the last frame is dropped.

    References
    ----------
    Rutland 1979; Patlak, Blasberg and Fenstermacher 1983.
    """
    starts = study.starts_s - study.given_s
    after = starts + study.durations_s > 0
    begun = float(starts[after][0])
    if begun > number(rules, "patlak-window", "first_frame_s"):
        return f"frames begin {begun:.0f} s after the tracer: the blood's integral lacks its start"
    row = rules.rows["patlak-window"]
    ends = starts + study.durations_s
    inside = np.flatnonzero((starts >= row["from_s"] - 1e-6) & (ends <= row["to_s"] + 1e-6))
    if inside.size < row["least_frames"]:
        return f"only {inside.size} whole frames from {row['from_s']:g} to {row['to_s']:g} s"
    if (blood[0, inside] <= 3.0 * np.sqrt(blood_variance[inside])).any():
        return "the blood curve is lost in the noise"
    total = np.zeros_like(blood)
    total[:, after] = running_integral(blood[:, after], starts[after], study.durations_s[after])
    safe = np.where(blood > 0, blood, np.nan)
    x, y = total / safe, kidney / safe
    used = inside
    while True:
        weight = _weights(x[0], y[0], kidney_variance, blood_variance, blood[0], used)
        bend = _bend(x[0, used], y[0, used], weight)
        if bend > ndtri(row["bend_p"] / 2) or used.size <= row["least_frames"]:
            break
        used = used[:-1]
    lines = line(x[:, used], y[:, used], weight)
    misfit = float(
        (weight * (y[0, used] - lines.slope[0] * x[0, used] - lines.intercept[0]) ** 2).sum()
    )
    free = used.size - 2
    mask = np.zeros(starts.size, dtype=bool)
    mask[used] = True
    found = Patlak(
        x_s=x[0],
        y=y[0],
        y_sd=np.sqrt(kidney_variance) / safe[0],
        used=mask,
        window_s=(float(starts[used[0]]), float(ends[used[-1]])),
        slope=float(lines.slope[0]),
        slope_se=float(lines.slope_se[0]),
        intercept=float(lines.intercept[0]),
        intercept_se=float(lines.intercept_se[0]),
        lack_of_fit=float(chdtrc(free, misfit)),
        curvature=float(2 * ndtr(-abs(bend))),
        shrunk=used.size < inside.size,
    )
    return Uptake(found, lines.slope, lines.intercept, max(1.0, float(np.sqrt(misfit / free))))


def _weights(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    kidney_variance: NDArray[np.float64],
    blood_variance: NDArray[np.float64],
    blood: NDArray[np.float64],
    used: NDArray[np.intp],
) -> NDArray[np.float64]:
    """Return one over the variance of each point's distance from the line.

    Noise of the blood moves a point along the line but for the intercept's part, so that only that
    part counts: variance = (var kidney + intercept² var blood) / blood².
    """
    scale = blood[used] ** 2
    first = scale / np.maximum(kidney_variance[used], 1e-12)
    intercept = float(line(x[used], y[used], first).intercept)
    spread = kidney_variance[used] + intercept**2 * blood_variance[used]
    return np.asarray(scale / np.maximum(spread, 1e-12))
