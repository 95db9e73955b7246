"""Frames and windows: how much of each frame lies in a window, means, running integrals."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.assess.renogram.result import Window
    from thalweg.record.renogram import Renogram

__all__ = ["continuous_until", "mean_rate", "overlap_s", "running_integral", "why_not"]


def overlap_s(study: Renogram, window: Window) -> NDArray[np.float64]:
    """Return for how many seconds each frame lies in a window; shape (frames,).

    Parameters
    ----------
    study : Renogram
    window : Window
        Seconds after the tracer.
    """
    starts = study.starts_s - study.given_s
    ends = np.minimum(starts + study.durations_s, window[1])
    return np.asarray(np.maximum(ends - np.maximum(starts, window[0]), 0.0))


def why_not(study: Renogram, window: Window, least_covered: float, longest_s: float) -> str:
    """Return why a window cannot be measured, or an empty string.

    Parameters
    ----------
    study : Renogram
    window : Window
    least_covered : float
        Part of the window that frames must cover, 0 to 1.
    longest_s : float
        The longest frame that may be shared out over the window.
    """
    seconds = overlap_s(study, window)
    length = window[1] - window[0]
    named = f"{window[0]:g} to {window[1]:g} s"
    if seconds.sum() < least_covered * length:
        return f"frames cover {seconds.sum():.0f} of the {length:.0f} s from {named}"
    longest = float(study.durations_s[seconds > 0].max())
    if longest > longest_s * (1 + 1e-9):
        return f"a frame of {longest:g} s is longer than {longest_s:g} s, within {named}"
    return ""


def mean_rate(rate: NDArray[np.float64], seconds: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the mean of rates weighted by overlap; shape (..., frames) to (...)."""
    return np.asarray(rate @ seconds / seconds.sum())


def running_integral(
    rate: NDArray[np.float64], starts_s: NDArray[np.float64], durations_s: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the integral of a rate from the first frame's start to each frame's middle.

    Parameters
    ----------
    rate : ndarray of float64, shape (..., frames)
        Counts per second.
    starts_s, durations_s : ndarray of float64, shape (frames,)

    Returns
    -------
    ndarray of float64, shape (..., frames)
        Counts. A pause between frames is bridged by the mean of its neighbours; within a frame the
        rate is taken as straight between the halves of its neighbours' difference.
    """
    whole = rate * durations_s
    pause = np.maximum(starts_s[1:] - starts_s[:-1] - durations_s[:-1], 0.0)
    bridged = 0.5 * (rate[..., 1:] + rate[..., :-1]) * pause
    before = np.zeros_like(rate)
    before[..., 1:] = np.cumsum(whole[..., :-1] + bridged, axis=-1)
    # Half of a frame holds less than half of its counts where the rate rises within it.
    slope = np.gradient(rate, starts_s + 0.5 * durations_s, axis=-1)
    return np.asarray(before + 0.5 * whole - slope * durations_s**2 / 8.0)


def continuous_until(study: Renogram, longest_pause_s: float, emptied_s: float | None) -> float:
    """Return when the continuous study ends, in seconds after the tracer.

    It ends at the first pause longer than `longest_pause_s` after the tracer, or when the bladder
    was emptied.
    """
    starts = study.starts_s - study.given_s
    ends = starts + study.durations_s
    pauses = (starts[1:] - ends[:-1] > longest_pause_s) & (ends[:-1] > 0)
    end = float(ends[:-1][pauses][0]) if pauses.any() else float(ends[-1])
    return end if emptied_s is None else min(end, emptied_s)
