"""KDIGO stages of acute kidney injury by creatinine, for one series or a registry of them."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.injury.windows import NONE, first_in_window, least_since
from thalweg.assess.rules import kidney_rules, number
from thalweg.errors import InputError
from thalweg.record.method import Method

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from thalweg.evidence.protocol import Rules

__all__ = ["INJURY_BY_CREATININE", "CreatinineStages", "creatinine_stages", "nanomoles"]

# KDIGO's own pairs (0.3 mg/dL and 26.5, 4.0 mg/dL and 353.6 µmol/L) go by 88.4; a result with two
# decimals in mg/dL is then a whole number of nmol/L, and ratios such as 1.35 : 0.9 stay exact.
_NANOMOLES = {"umol/L": Decimal(1000), "mmol/L": Decimal(1_000_000), "mg/dL": Decimal(88_400)}
_DAY = 24 * 60

INJURY_BY_CREATININE = Method(
    key="kdigo-aki-creatinine",
    title="stage of acute kidney injury by creatinine (KDIGO)",
    formula=(
        "stage 1: at least 26.5 µmol/L (0.3 mg/dL) more within 48 h, or 1.5 to 1.9 times the "
        "baseline within 7 days; stage 2: 2.0 to 2.9 times; stage 3: 3 times, or at least "
        "353.6 µmol/L (4.0 mg/dL) by an acute rise, or a filtration rate below 35 under 18 years "
        "by an acute rise, or renal replacement; compared in whole nmol/L at 88.4 µmol/L per mg/dL"
    ),
    valid_for="people not on long-term dialysis; results from one laboratory",
    sources=("kdigo-aki-2012",),
    cautions=(
        (
            "After a diversion a rise of creatinine is an obstructed, kinked or leaking ureter "
            "until shown otherwise; urine leaking into the belly, and bowel in the urinary tract, "
            "raise creatinine by reabsorption without injury."
        ),
    ),
)


@dataclass(frozen=True, eq=False)
class CreatinineStages:
    """What a series of creatinine says, result by result.

    Parameters
    ----------
    least, most : ndarray of int8, shape (n,)
        The stage, 0 to 3, that is shown, and the greatest that the gaps in the series leave
        possible; equal where nothing is open.
    reference : ndarray of int64, shape (n,)
        What the ratio was taken to, nmol/L; 0 where there was nothing to compare with.
    from_baseline : ndarray of bool, shape (n,)
        Whether that was the given baseline; otherwise the lowest of the 7 days before.
    """

    least: NDArray[np.int8]
    most: NDArray[np.int8]
    reference: NDArray[np.int64]
    from_baseline: NDArray[np.bool_]


def nanomoles(value: Decimal, unit: str) -> int:
    """Return a creatinine in whole nmol/L, by the factor of 88.4 that KDIGO's thresholds use.

    Raises
    ------
    InputError
        If the unit is not one of creatinine's.
    """
    if unit not in _NANOMOLES:
        raise InputError(f"creatinine cannot be in {unit!r}", mend="give it in µmol/L or mg/dL")
    return int((value * _NANOMOLES[unit]).to_integral_value(ROUND_HALF_UP))


def _whole(what: str, values: ArrayLike, like: NDArray[np.int64] | None) -> NDArray[np.int64]:
    given = np.asarray(values)
    if given.size and not np.issubdtype(given.dtype, np.integer):
        raise InputError(f"{what} must be whole numbers", mend="round them first")
    whole = given.astype(np.int64)
    if whole.ndim != 1 or (like is not None and whole.shape != like.shape):
        raise InputError(f"{what} must be one value a result", mend="give arrays of one length")
    return whole


def creatinine_stages(
    minutes: ArrayLike,
    nmol_l: ArrayLike,
    *,
    person: ArrayLike | None = None,
    baseline_nmol_l: ArrayLike | None = None,
    child_gfr: ArrayLike | None = None,
    rules: Rules | None = None,
) -> CreatinineStages:
    """Return the stage at every result of one series, or of a registry of series end to end.

    Parameters
    ----------
    minutes : array_like of int, shape (n,)
        Times in minutes from any origin, rising within a person.
    nmol_l : array_like of int, shape (n,)
        Creatinine in whole nmol/L, above 0.
    person : array_like of int, shape (n,), optional
        Rising numbers; one person where left out.
    baseline_nmol_l : array_like of int, shape (n,), optional
        The baseline that holds at each result; 0 where none does and the lowest result of the 7
        days before is taken.
    child_gfr : array_like of float, shape (n,), optional
        For results under 18 years the filtration rate, mL/min/1.73 m², NaN where it is not known;
        infinite for adults.
    rules : Rules, optional
        Thresholds; default: ours.

    Returns
    -------
    CreatinineStages

    Raises
    ------
    InputError
        If shapes differ, values are not whole, times fall, or a creatinine is not above 0.

    References
    ----------
    KDIGO Clinical Practice Guideline for Acute Kidney Injury, Kidney Int Suppl 2012;2:19, table 2.
    """
    rules = rules or kidney_rules()
    time, value, who = _series(minutes, nmol_l, person)
    nothing = np.zeros(time.shape, dtype=np.int64)
    baseline = nothing if baseline_nmol_l is None else _whole("baselines", baseline_nmol_l, time)
    days = int(number(rules, "injury-ratio", "days") * _DAY)
    short = int(number(rules, "injury-rise", "hours") * 60)
    in_short = least_since(value, first_in_window(time, who, short))
    in_days = least_since(value, first_in_window(time, who, days))
    reference = np.where(baseline > 0, baseline, np.where(in_days == NONE, 0, in_days))
    step = round(number(rules, "injury-rise", "umol_l") * 1000)
    rose = (in_short != NONE) & (value - np.where(in_short == NONE, value, in_short) >= step)
    stage = rose.astype(np.int8)
    for grade in (1, 2, 3):
        times = Fraction(str(number(rules, "injury-ratio", f"stage_{grade}")))
        grown = (reference > 0) & (times.denominator * value >= times.numerator * reference)
        stage[grown] = np.maximum(stage[grown], grade)
    acute = stage > 0
    high = round(number(rules, "injury-creatinine-stage-3", "umol_l") * 1000)
    stage[acute & (value >= high)] = 3
    most = stage.copy()
    # A rise seen only over more than 48 h may have come within 48 h: nobody looked.
    unseen = (stage == 0) & (in_short == NONE) & (reference > 0) & (value - reference >= step)
    most[unseen] = np.where(value[unseen] >= high, 3, 1)
    most[reference == 0] = 3
    if child_gfr is not None:
        rate = np.asarray(child_gfr, dtype=np.float64)
        stage[acute & (rate < number(rules, "injury-child", "gfr_below"))] = 3
        most = np.maximum(most, stage)
        most[acute & np.isnan(rate)] = 3
    return CreatinineStages(stage, most, reference, baseline > 0)


def _series(
    minutes: ArrayLike, nmol_l: ArrayLike, person: ArrayLike | None
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    time = _whole("times", minutes, None)
    value = _whole("creatinines", nmol_l, time)
    who = np.zeros(time.shape, dtype=np.int64)
    if person is not None:
        who = _whole("persons", person, time)
    falls = np.diff(who) < 0
    if np.any(falls | ((np.diff(who) == 0) & (np.diff(time) < 0))):
        raise InputError("the series is not in order", mend="sort it by person and time")
    if np.any(value <= 0):
        raise InputError("a creatinine is not above 0", mend="leave that result out")
    return time, value, who - (who[0] if who.size else 0)
