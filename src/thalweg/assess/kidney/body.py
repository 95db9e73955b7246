"""Body surface, the absolute filtration rate, and Cockcroft and Gault's clearance."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.bounds import within
from thalweg.assess.kidney.checks import (
    CREATININE_MG_DL,
    HEIGHT_CM,
    WEIGHT_KG,
    is_female,
)
from thalweg.assess.kidney.ckd_epi import ADULT_YEARS
from thalweg.record.method import Method

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "ABSOLUTE_GFR",
    "COCKCROFT_GAULT",
    "MOSTELLER",
    "absolute_gfr",
    "cockcroft_gault",
    "du_bois",
    "indexed_gfr",
    "mosteller",
]

REFERENCE_SURFACE_M2 = 1.73
SURFACE_M2 = (0.05, 6.0)
RATE = (0.0, 1000.0)

MOSTELLER = Method(
    key="mosteller-1987",
    title="body surface by Mosteller's formula",
    formula="√(height in cm × weight in kg / 3600), in m²",
    valid_for="adults and children; uncertain at extremes of build and after amputation",
    sources=("mosteller-1987", "verbraecken-2006"),
)
ABSOLUTE_GFR = Method(
    key="gfr-absolute",
    title="filtration rate of this body, not per 1.73 m²",
    formula="GFR per 1.73 m² × body surface in m² / 1.73, in mL/min",
    valid_for="whoever both figures are valid for",
    sources=("kdigo-ckd-2024",),
    cautions=("For doses by mL/min only; categories and criteria use the rate per 1.73 m².",),
)
COCKCROFT_GAULT = Method(
    key="cockcroft-gault-1976",
    title="creatinine clearance by Cockcroft and Gault",
    formula=(
        "(140 − age) × weight in kg / (72 × creatinine in mg/dL) × 0.85 if female, in mL/min; "
        "actual body weight"
    ),
    valid_for="adults of 18 to 92 years, made almost wholly from men; steady creatinine",
    sources=("cockcroft-1976", "nephro-r"),
    cautions=(
        (
            "For drug doses that were set by this clearance, and for nothing else: it is not a "
            "filtration rate and is not per 1.73 m²."
        ),
        (
            "Made with older creatinine methods, which read higher than today's; on today's "
            "results it reads somewhat too high."
        ),
        "Uses actual body weight: reads too high in obesity and with oedema.",
    ),
)


def mosteller(height_cm: ArrayLike, weight_kg: ArrayLike) -> NDArray[np.float64]:
    """Return body surface by Mosteller's formula.

    Parameters
    ----------
    height_cm : array_like
        cm, 20 to 260.
    weight_kg : array_like
        kg, 0.3 to 450.

    Returns
    -------
    ndarray of float64
        m², of the broadcast shape; NaN where an array held NaN.

    Raises
    ------
    InputError
        If a value is out of range.

    References
    ----------
    Mosteller RD. N Engl J Med 1987;317:1098.
    """
    height = within("height", height_cm, HEIGHT_CM, "cm")
    weight = within("weight", weight_kg, WEIGHT_KG, "kg")
    return np.asarray(np.sqrt(height * weight / 3600.0))


def du_bois(height_cm: ArrayLike, weight_kg: ArrayLike) -> NDArray[np.float64]:
    """Return body surface by the formula of Du Bois and Du Bois, for comparison.

    Parameters
    ----------
    height_cm, weight_kg
        As in `mosteller`.

    Returns
    -------
    ndarray of float64
        m².

    Raises
    ------
    InputError
        If a value is out of range.

    References
    ----------
    Du Bois D, Du Bois EF. Arch Intern Med 1916;17:863-71.
    """
    height = within("height", height_cm, HEIGHT_CM, "cm")
    weight = within("weight", weight_kg, WEIGHT_KG, "kg")
    return np.asarray(0.007184 * height**0.725 * weight**0.425)


def absolute_gfr(gfr_per_173: ArrayLike, surface_m2: ArrayLike) -> NDArray[np.float64]:
    """Return the filtration rate of the body itself from that per 1.73 m².

    Parameters
    ----------
    gfr_per_173 : array_like
        mL/min per 1.73 m², 0 to 1000.
    surface_m2 : array_like
        m², 0.05 to 6.

    Returns
    -------
    ndarray of float64
        mL/min.

    Raises
    ------
    InputError
        If a value is out of range.
    """
    rate = within("filtration rate", gfr_per_173, RATE, "mL/min/1.73 m²")
    surface = within("body surface", surface_m2, SURFACE_M2, "m²")
    return np.asarray(rate * surface / REFERENCE_SURFACE_M2)


def indexed_gfr(gfr_ml_min: ArrayLike, surface_m2: ArrayLike) -> NDArray[np.float64]:
    """Return the filtration rate per 1.73 m² from that of the body; undoes `absolute_gfr`.

    Parameters
    ----------
    gfr_ml_min : array_like
        mL/min, 0 to 1000.
    surface_m2 : array_like
        m², 0.05 to 6.

    Returns
    -------
    ndarray of float64
        mL/min per 1.73 m².

    Raises
    ------
    InputError
        If a value is out of range.
    """
    rate = within("filtration rate", gfr_ml_min, RATE, "mL/min")
    surface = within("body surface", surface_m2, SURFACE_M2, "m²")
    return np.asarray(rate * REFERENCE_SURFACE_M2 / surface)


def cockcroft_gault(
    creatinine_mg_dl: ArrayLike, weight_kg: ArrayLike, age_years: ArrayLike, sex: ArrayLike
) -> NDArray[np.float64]:
    """Return Cockcroft and Gault's creatinine clearance, for drug doses only.

    Parameters
    ----------
    creatinine_mg_dl : array_like
        mg/dL, 0.05 to 34.
    weight_kg : array_like
        Actual body weight, kg, 0.3 to 450.
    age_years : array_like
        18 to 120 (the authors' people were 18 to 92).
    sex : array_like of str
        ``"female"`` or ``"male"``.

    Returns
    -------
    ndarray of float64
        mL/min, absolute: not per 1.73 m².

    Raises
    ------
    InputError
        If a value is out of range.

    References
    ----------
    Cockcroft DW, Gault MH. Nephron 1976;16:31-41.
    """
    female = is_female(sex)
    creatinine = within("creatinine", creatinine_mg_dl, CREATININE_MG_DL, "mg/dL")
    weight = within("weight", weight_kg, WEIGHT_KG, "kg")
    age = within("age", age_years, ADULT_YEARS, "years")
    excreted = (140.0 - age) * weight / (72.0 * creatinine)
    return np.asarray(excreted * np.where(female, 0.85, 1.0))
