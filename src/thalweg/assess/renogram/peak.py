"""When a kidney's curve was highest."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.renogram.estimates import from_draws
from thalweg.assess.renogram.result import Peak
from thalweg.record.method import Method

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.assess.renogram.smooth import Smoother

__all__ = ["TIME_TO_PEAK", "peak_of"]

TIME_TO_PEAK = Method(
    key="renogram-time-to-peak",
    title="time to peak",
    formula="time of the greatest value of the curve, less background, smoothed by local cubic "
    "regression; interval from 400 draws of the counts",
    valid_for="a curve that turns before it ends; the blood's own first minute is left out",
    sources=("thalweg-engineering",),
    cautions=("Dehydration and urine in a wide pelvis make the peak late without obstruction.",),
)
AT_THE_END = 0.97
"""A top this near the end, as part of the time, is no top: the curve still rises. Ours."""


def peak_of(
    smooth: Smoother,
    curves: NDArray[np.float64],
    narrow: Smoother,
    rate: NDArray[np.float64],
    sd: NDArray[np.float64],
) -> Peak:
    """Return the peak of a kidney's curve.

    Parameters
    ----------
    smooth : Smoother
    curves : ndarray of float64, shape (1 + draws, grid)
        What it makes of the rates of the study and its draws.
    narrow : Smoother
        With a narrower window: how far the top moves between both is part of its doubt.
    rate, sd : ndarray of float64, shape (frames,)
        Counts per second of the study, and their standard deviation by counting.
    """
    top = int(np.argmax(curves[0]))
    height = float(curves[0, top])
    noise = float(np.sqrt((smooth.matrix[top] ** 2) @ sd**2))
    if height < 3.0 * noise:
        return Peak(None, None, "No top stands out of the noise.")
    span = smooth.time_s[-1] - smooth.time_s[0]
    if smooth.time_s[top] > smooth.time_s[0] + AT_THE_END * span:
        return Peak(None, height, "The curve still rose when the study ended: no peak.")
    tops = smooth.time_s[np.argmax(curves, axis=1)]
    other = float(narrow.time_s[np.argmax(narrow(rate))])
    # The top is found on a grid; half its step is as much again as the doubt of rounding.
    step = float(smooth.time_s[1] - smooth.time_s[0])
    extra = float(np.hypot(0.7 * abs(other - tops[0]), step / 2.0))
    return Peak(from_draws(tops, extra_sd=extra, least=0.0), height, "")
