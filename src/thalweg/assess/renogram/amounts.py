"""How much is left: residual activity against the second minute, and output efficiency."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.renogram.estimates import Z, from_draws
from thalweg.assess.renogram.frames import mean_rate, overlap_s, running_integral, why_not
from thalweg.assess.renogram.result import Efficiency, Residual
from thalweg.errors import InputError
from thalweg.record.method import Method

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from thalweg.assess.renogram.patlak import Uptake
    from thalweg.assess.renogram.result import Window
    from thalweg.evidence.protocol import Rules
    from thalweg.record.renogram import Renogram

__all__ = [
    "OUTPUT_EFFICIENCY",
    "RESIDUAL",
    "efficiencies_of",
    "efficiency_percent",
    "no_output",
    "residual_ratio",
    "residuals_of",
]

RESIDUAL = Method(
    key="renogram-residual-activity",
    title="normalised residual activity (NORA)",
    formula="counts of one minute (at 20 min, at the end after furosemide, after emptying) / "
    "counts from 60 to 120 s, both less background",
    valid_for="Tc-99m MAG3; does not depend on the other kidney, does depend on total function",
    sources=("piepsz-2002", "piepsz-2011", "nimmon-2004"),
    cautions=(
        (
            "Published 90th percentiles come from curves without background taken off; taking it "
            "off from round the kidney lowers the figure by about a third. A high residual does "
            "not by itself prove obstruction."
        ),
    ),
)
OUTPUT_EFFICIENCY = Method(
    key="renogram-output-efficiency",
    title="output efficiency",
    formula="100 × (R0 − R) / R0 in %; R: kidney less its own blood; R0: integral of the blood "
    "curve × the Rutland–Patlak slope, what the kidney would hold had nothing left it",
    valid_for="a Rutland–Patlak line that fits; depends less on total function than a residual",
    sources=("chaiwatanarat-1993", "nimmon-2004", "piepsz-2011", "thalweg-engineering"),
    cautions=(
        (
            "Rests on the blood curve: tissue seen with it, or a dose given partly beside the "
            "vein, distorts it. The limits are from memory: verify."
        ),
    ),
)
MINUTE_S = 60.0
LONGEST_FRAME_S = 120.0
LEAST_COVERED = 0.9


def residual_ratio(late: ArrayLike, early: ArrayLike) -> NDArray[np.float64]:
    """Return normalised residual activity: counts of a late minute over those of the second.

    Parameters
    ----------
    late, early : array_like
        Counts in frames of the same total length, background taken off; `early` above 0.

    Raises
    ------
    InputError
        If there was no early activity.

    References
    ----------
    Piepsz 2002.
    """
    first = np.asarray(early, dtype=np.float64)
    if not (first > 0).all():
        raise InputError(
            "no activity above background in the second minute: a residual has no meaning",
            mend="check regions and background",
        )
    return np.asarray(np.asarray(late, dtype=np.float64) / first)


def efficiency_percent(no_output_counts: ArrayLike, counts: ArrayLike) -> NDArray[np.float64]:
    """Return what has left the kidney of what it took up, in per cent.

    Parameters
    ----------
    no_output_counts : array_like
        What the kidney would hold had nothing left it, above 0.
    counts : array_like
        What it holds, in the same unit.

    Raises
    ------
    InputError
        If the first is not above 0.

    References
    ----------
    Chaiwatanarat 1993.
    """
    whole = np.asarray(no_output_counts, dtype=np.float64)
    if not (whole > 0).all():
        raise InputError("nothing was taken up: no output efficiency", mend="check the regions")
    return np.asarray(100.0 * (whole - np.asarray(counts, dtype=np.float64)) / whole)


def _moments(
    study: Renogram, ends_s: float, furosemide_s: float | None, emptied_s: float | None
) -> list[tuple[str, str, Window]]:
    """Return name, key in the rules, and window of each moment that the study may hold."""
    found: list[tuple[str, str, Window]] = [("20 min", "at_20_min", (1170.0, 1230.0))]
    if ends_s < 1230.0:
        # A study of exactly 20 minutes has no minute about its end.
        found = [("20 min", "at_20_min", (1140.0, 1200.0))]
    if furosemide_s is not None:
        found.append(("end of furosemide", "end_of_furosemide", (ends_s - MINUTE_S, ends_s)))
    if emptied_s is not None:
        last = float(study.starts_s[-1] + study.durations_s[-1] - study.given_s)
        found.append(("after emptying", "after_emptying", (max(last - MINUTE_S, emptied_s), last)))
    return found


def residuals_of(
    study: Renogram,
    rates: NDArray[np.float64],
    ends_s: float,
    emptied_s: float | None,
    rules: Rules,
) -> tuple[tuple[Residual, ...], tuple[str, ...]]:
    """Return the residuals that a study allows, and why others are lacking.

    Parameters
    ----------
    study : Renogram
    rates : ndarray of float64, shape (1 + draws, frames)
    ends_s : float
        End of the continuous study.
    emptied_s : float, optional
        When bladder or reservoir was emptied.
    rules : Rules
    """
    uptake = (60.0, 120.0)
    lacking = why_not(study, uptake, LEAST_COVERED, MINUTE_S)
    if lacking:
        return (), (f"No residual activity: {lacking}.",)
    early = mean_rate(rates, overlap_s(study, uptake))
    if early[0] <= Z * early[1:].std(ddof=1):
        return (), ("No residual activity: uptake cannot be told from background.",)
    found, said = [], []
    for moment, key, window in _moments(study, ends_s, study.furosemide_s, emptied_s):
        lacking = why_not(study, window, LEAST_COVERED, LONGEST_FRAME_S)
        if lacking or window[1] - window[0] < 0.5 * MINUTE_S:
            said.append(f"No residual at {moment}: {lacking or 'too few frames'}.")
            continue
        late = mean_rate(rates, overlap_s(study, window))
        ratio = np.where(early > 0, late / np.where(early > 0, early, 1.0), np.nan)
        found.append(
            Residual(
                moment=moment,
                at_s=0.5 * (window[0] + window[1]),
                ratio=from_draws(ratio, least=0.0),
                normal=float(rules.rows["residual-low"][key]),
                dilated=float(rules.rows["residual-high"][key]),
            )
        )
    return tuple(found), tuple(said)


def no_output(
    study: Renogram, blood: NDArray[np.float64], uptake: Uptake
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return what the kidney would hold had nothing left it, and the blood within it.

    Returns
    -------
    two ndarrays of float64, shape (1 + draws, frames)
        Counts per second; the first nought before the tracer.
    """
    starts = study.starts_s - study.given_s
    after = starts + study.durations_s > 0
    total = np.zeros_like(blood)
    total[:, after] = running_integral(blood[:, after], starts[after], study.durations_s[after])
    return uptake.slopes[:, None] * total, uptake.intercepts[:, None] * blood


def efficiencies_of(
    study: Renogram,
    rates: NDArray[np.float64],
    held: NDArray[np.float64],
    own_blood: NDArray[np.float64],
    minutes: tuple[float, ...],
    ends_s: float,
) -> tuple[Efficiency, ...]:
    """Return output efficiency at some minutes, where frames exist.

    Parameters
    ----------
    study : Renogram
    rates, held, own_blood : ndarray of float64, shape (1 + draws, frames)
        The kidney, what it would hold without output, and the blood within it.
    minutes : tuple of float
    ends_s : float
        End of the continuous study.
    """
    found = []
    for minute in minutes:
        at = 60.0 * minute
        window = (at - 30.0, at + 30.0) if ends_s >= at + 30.0 else (at - 60.0, at)
        if why_not(study, window, LEAST_COVERED, LONGEST_FRAME_S) or window[1] > ends_s + 1e-6:
            continue
        seconds = overlap_s(study, window)
        whole = mean_rate(held, seconds)
        if whole[0] <= Z * whole[1:].std(ddof=1):
            continue
        kept = mean_rate(rates - own_blood, seconds)
        percent = np.where(
            whole > 0, 100.0 * (whole - kept) / np.where(whole > 0, whole, 1), np.nan
        )
        found.append(Efficiency(0.5 * (window[0] + window[1]), from_draws(percent)))
    return tuple(found)
