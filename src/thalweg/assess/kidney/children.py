"""Estimated glomerular filtration rate of children and young adults: Schwartz, CKiD U25."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.bounds import within
from thalweg.assess.kidney.checks import (
    CREATININE_MG_DL,
    CYSTATIN_C_MG_L,
    HEIGHT_CM,
    is_female,
)
from thalweg.assess.kidney.ckd_epi import STEADY
from thalweg.record.method import Method

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "CKID_U25_CREATININE",
    "CKID_U25_CYSTATIN",
    "CKID_U25_MEAN",
    "SCHWARTZ_2009",
    "SCHWARTZ_YEARS",
    "U25_YEARS",
    "ckid_u25_creatinine",
    "ckid_u25_cystatin",
    "ckid_u25_mean",
    "schwartz_2009",
]

# "Ages 1 to 16" are completed years: up to the day before the seventeenth birthday.
SCHWARTZ_YEARS = (1.0, float(np.nextafter(17.0, 0.0)))
U25_YEARS = (1.0, 25.0)

_FOUNDED_ON_DISEASE = (
    "Made from children and young adults with kidney disease: less certain where the kidneys are "
    "healthy. No 95 % interval is published."
)
_CHILD_MUSCLE = (
    "Creatinine comes from muscle: with little muscle, as in a child who does not walk, the "
    "estimate reads too high."
)
_CALIBRATED = "Cystatin C must be calibrated to ERM-DA471/IFCC; ask the laboratory if not sure."

SCHWARTZ_2009 = Method(
    key="schwartz-2009-bedside",
    title="bedside Schwartz equation, 2009",
    formula="0.413 × height in cm / creatinine in mg/dL; mL/min per 1.73 m²",
    valid_for="children of 1 to 16 completed years; creatinine traceable to isotope dilution",
    sources=("schwartz-2009",),
    cautions=(_FOUNDED_ON_DISEASE, STEADY, _CHILD_MUSCLE),
)
CKID_U25_CREATININE = Method(
    key="ckid-u25-creatinine",
    title="CKiD U25 creatinine equation",
    formula=(
        "K × height in m / creatinine in mg/dL; K male 39.0 × 1.008^(age−12) under 12 years, "
        "39.0 × 1.045^(age−12) under 18, then 50.8; female 36.1 × 1.008^(age−12), "
        "36.1 × 1.023^(age−12), then 41.4; mL/min per 1.73 m²"
    ),
    valid_for="ages 1 to 25 years; creatinine traceable to isotope dilution",
    sources=("pierce-2021", "ckid-u25-programs"),
    cautions=(_FOUNDED_ON_DISEASE, STEADY, _CHILD_MUSCLE),
)
CKID_U25_CYSTATIN = Method(
    key="ckid-u25-cystatin",
    title="CKiD U25 cystatin C equation",
    formula=(
        "K / cystatin C in mg/L; K male 87.2 × 1.011^(age−15) under 15 years, "
        "87.2 × 0.960^(age−15) under 18, then 77.1; female 79.9 × 1.004^(age−12) under 12, "
        "79.9 × 0.974^(age−12) under 18, then 68.3; mL/min per 1.73 m²"
    ),
    valid_for="ages 1 to 25 years; cystatin C calibrated to ERM-DA471/IFCC",
    sources=("pierce-2021", "ckid-u25-programs"),
    cautions=(_FOUNDED_ON_DISEASE, STEADY, _CALIBRATED),
)
CKID_U25_MEAN = Method(
    key="ckid-u25-mean",
    title="mean of the two CKiD U25 equations",
    formula="(U25 creatinine + U25 cystatin C) / 2; mL/min per 1.73 m²",
    valid_for="ages 1 to 25 years; both results from the same time",
    sources=("pierce-2021", "ckid-u25-programs"),
)


def schwartz_2009(
    creatinine_mg_dl: ArrayLike, height_cm: ArrayLike, age_years: ArrayLike
) -> NDArray[np.float64]:
    """Return the bedside Schwartz estimate.

    Parameters
    ----------
    creatinine_mg_dl : array_like
        mg/dL, 0.05 to 34.
    height_cm : array_like
        Standing height or length, cm, 20 to 260.
    age_years : array_like
        1 to below 17; does not enter the formula, only its validity.

    Returns
    -------
    ndarray of float64
        mL/min per 1.73 m², of the broadcast shape; NaN where an array held NaN.

    Raises
    ------
    InputError
        If a value is out of range.

    References
    ----------
    Schwartz GJ et al. J Am Soc Nephrol 2009;20:629-37, abstract.
    """
    age = within("age", age_years, SCHWARTZ_YEARS, "years")
    creatinine = within("creatinine", creatinine_mg_dl, CREATININE_MG_DL, "mg/dL")
    height = within("height", height_cm, HEIGHT_CM, "cm")
    rate = 0.413 * height / creatinine
    unknown = np.isnan(age)
    return np.asarray(np.where(unknown, np.nan, rate) if unknown.any() else _as_wide(rate, age))


def _as_wide(rate: NDArray[np.float64], age: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a rate in the shape that it and the ages broadcast to."""
    wide = np.broadcast_shapes(rate.shape, age.shape)
    return rate if rate.shape == wide else np.broadcast_to(rate, wide).copy()


def _k_creatinine(age: NDArray[np.float64], female: NDArray[np.bool_]) -> NDArray[np.float64]:
    at_twelve = np.where(female, 36.1, 39.0)
    rise = np.where(age < 12.0, 1.008, np.where(female, 1.023, 1.045))
    grown = np.where(female, 41.4, 50.8)
    return np.asarray(np.where(age >= 18.0, grown, at_twelve * rise ** (age - 12.0)))


def _k_cystatin(age: NDArray[np.float64], female: NDArray[np.bool_]) -> NDArray[np.float64]:
    bend = np.where(female, 12.0, 15.0)
    young, older = np.where(female, 1.004, 1.011), np.where(female, 0.974, 0.960)
    rise = np.where(age < bend, young, older)
    growing = np.where(female, 79.9, 87.2) * rise ** (age - bend)
    return np.asarray(np.where(age >= 18.0, np.where(female, 68.3, 77.1), growing))


def ckid_u25_creatinine(
    creatinine_mg_dl: ArrayLike, height_cm: ArrayLike, age_years: ArrayLike, sex: ArrayLike
) -> NDArray[np.float64]:
    """Return the CKiD U25 estimate from creatinine.

    Parameters
    ----------
    creatinine_mg_dl : array_like
        mg/dL, 0.05 to 34.
    height_cm : array_like
        cm, 20 to 260 (the published constant takes metres; this function converts).
    age_years : array_like
        1 to 25.
    sex : array_like of str
        ``"female"`` or ``"male"``.

    Returns
    -------
    ndarray of float64
        mL/min per 1.73 m², of the broadcast shape; NaN where an array held NaN.

    Raises
    ------
    InputError
        If a value is out of range.

    References
    ----------
    Pierce CB et al. Kidney Int 2021;99:948-56; coefficients as in the study group's programs.
    """
    female = is_female(sex)
    age = within("age", age_years, U25_YEARS, "years")
    creatinine = within("creatinine", creatinine_mg_dl, CREATININE_MG_DL, "mg/dL")
    height_m = within("height", height_cm, HEIGHT_CM, "cm") / 100.0
    return np.asarray(_k_creatinine(age, female) * height_m / creatinine)


def ckid_u25_cystatin(
    cystatin_c_mg_l: ArrayLike, age_years: ArrayLike, sex: ArrayLike
) -> NDArray[np.float64]:
    """Return the CKiD U25 estimate from cystatin C.

    Parameters
    ----------
    cystatin_c_mg_l : array_like
        mg/L, 0.1 to 15, calibrated to ERM-DA471/IFCC.
    age_years, sex
        As in `ckid_u25_creatinine`.

    Returns
    -------
    ndarray of float64
        mL/min per 1.73 m².

    Raises
    ------
    InputError
        If a value is out of range.

    References
    ----------
    Pierce CB et al. Kidney Int 2021;99:948-56; coefficients as in the study group's programs.
    """
    female = is_female(sex)
    age = within("age", age_years, U25_YEARS, "years")
    cystatin = within("cystatin C", cystatin_c_mg_l, CYSTATIN_C_MG_L, "mg/L")
    return np.asarray(_k_cystatin(age, female) / cystatin)


def ckid_u25_mean(by_creatinine: ArrayLike, by_cystatin: ArrayLike) -> NDArray[np.float64]:
    """Return the mean of the two U25 estimates, as their authors combine them.

    Parameters
    ----------
    by_creatinine, by_cystatin : array_like
        Results of `ckid_u25_creatinine` and `ckid_u25_cystatin`, mL/min per 1.73 m².

    Returns
    -------
    ndarray of float64
        mL/min per 1.73 m².
    """
    pair = np.broadcast_arrays(
        np.asarray(by_creatinine, dtype=np.float64), np.asarray(by_cystatin, dtype=np.float64)
    )
    return np.asarray((pair[0] + pair[1]) / 2.0)
