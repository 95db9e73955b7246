"""How large a deficit is, calcium beside its albumin, and osmolality."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.bounds import within
from thalweg.record.method import Method

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "ADJUSTED_CALCIUM",
    "BASE_DEFICIT",
    "BICARBONATE_DEFICIT",
    "OSMOLALITY",
    "OSMOLAL_GAP",
    "adjusted_calcium",
    "base_deficit",
    "bicarbonate_deficit",
    "bicarbonate_space",
    "calculated_osmolality",
]

BICARBONATE = (1.0, 75.0)
WEIGHT_KG = (0.3, 450.0)
SHARE = (0.1, 3.0)

_NO_DOSE = (
    "An estimate of size and never a dose: how much is given, of what, how fast and with what "
    "potassium is a clinical decision, taken stepwise against repeated blood gases."
)
BICARBONATE_DEFICIT = Method(
    key="bicarbonate-deficit",
    title="size of the bicarbonate deficit",
    formula=(
        "share of body weight × weight in kg × (target − bicarbonate), mmol; share 0.5, shown as a "
        "range from 0.4 to the greater of 0.6 and 0.4 + 2.6/bicarbonate"
    ),
    valid_for="a steady metabolic acidosis; loss that goes on is not in it",
    sources=("garella-1973", "fernandez-1989", "bicarbonate-space-children-2006"),
    cautions=(_NO_DOSE,),
)
BASE_DEFICIT = Method(
    key="base-deficit",
    title="size of the base deficit",
    formula="0.3 × weight in kg × base deficit, mmol",
    valid_for="a steady metabolic acidosis; the share of 0.3 is German practice",
    sources=("base-deficit-practice",),
    cautions=(_NO_DOSE,),
)
ADJUSTED_CALCIUM = Method(
    key="calcium-adjusted",
    title="total calcium adjusted for albumin",
    formula="total calcium + 0.02 × (40 − albumin in g/L), mmol/L",
    valid_for="people with normal acid-base; made from a hospital's results",
    sources=("payne-1973", "clase-calcium-2000", "lian-calcium-2018"),
    cautions=(
        (
            "The adjustment agreed with ionised calcium no better, in kidney disease worse, than "
            "total calcium as it stands: measure ionised calcium before acting."
        ),
    ),
)
OSMOLALITY = Method(
    key="osmolality-calculated",
    title="osmolality calculated",
    formula="2 × sodium + glucose + urea, all mmol/L; mOsm/kg",
    valid_for="screening; one of some 36 formulas, which differ by several mOsm/kg",
    sources=("fazekas-osmolality-2013",),
)
OSMOLAL_GAP = Method(
    key="osmolal-gap",
    title="osmolal gap",
    formula="measured osmolality − calculated osmolality, mOsm/kg",
    valid_for="looking for alcohols and other small molecules; normally below about 10",
    sources=("fazekas-osmolality-2013",),
    cautions=("A normal gap does not exclude poisoning.",),
)


def bicarbonate_space(bicarbonate: ArrayLike) -> NDArray[np.float64]:
    """Return the share of body weight in which bicarbonate seems to spread.

    Parameters
    ----------
    bicarbonate : array_like
        mmol/L, 1 to 75.

    Returns
    -------
    ndarray of float64
        Litres per kilogram; grows as bicarbonate falls.

    Raises
    ------
    InputError
        If a value is out of range.

    References
    ----------
    Fernandez PC, Cohen RM, Feldman GM. Kidney Int 1989;36:747-52: 0.4 + 2.6/bicarbonate.
    """
    return np.asarray(0.4 + 2.6 / within("bicarbonate", bicarbonate, BICARBONATE, "mmol/L"))


def bicarbonate_deficit(
    bicarbonate: ArrayLike,
    weight_kg: ArrayLike,
    target: ArrayLike = 24.0,
    share: ArrayLike = 0.5,
) -> NDArray[np.float64]:
    """Return the size of a bicarbonate deficit.

    Parameters
    ----------
    bicarbonate, target : array_like
        mmol/L, 1 to 75.
    weight_kg : array_like
        kg, 0.3 to 450.
    share : array_like
        Litres of bicarbonate space per kilogram, 0.1 to 3.

    Returns
    -------
    ndarray of float64
        mmol; 0 where bicarbonate is not below the target.

    Raises
    ------
    InputError
        If a value is out of range.

    References
    ----------
    Garella S, Dana CL, Chazan JA. N Engl J Med 1973;289:121-6.
    """
    goal = within("target", target, BICARBONATE, "mmol/L")
    base = within("bicarbonate", bicarbonate, BICARBONATE, "mmol/L")
    weight = within("weight", weight_kg, WEIGHT_KG, "kg")
    space = within("bicarbonate space", share, SHARE, "L/kg")
    return np.asarray(np.maximum(goal - base, 0.0) * weight * space)


def base_deficit(
    base_excess: ArrayLike, weight_kg: ArrayLike, share: ArrayLike = 0.3
) -> NDArray[np.float64]:
    """Return the size of a base deficit.

    Parameters
    ----------
    base_excess : array_like
        mmol/L, −40 to 40.
    weight_kg : array_like
        kg, 0.3 to 450.
    share : array_like
        Litres per kilogram, 0.1 to 3.

    Returns
    -------
    ndarray of float64
        mmol; 0 where there is no deficit.

    Raises
    ------
    InputError
        If a value is out of range.
    """
    excess = within("base excess", base_excess, (-40.0, 40.0), "mmol/L")
    weight = within("weight", weight_kg, WEIGHT_KG, "kg")
    space = within("share of weight", share, SHARE, "L/kg")
    return np.asarray(space * weight * np.maximum(-excess, 0.0))


def adjusted_calcium(calcium_mmol_l: ArrayLike, albumin_g_l: ArrayLike) -> NDArray[np.float64]:
    """Return total calcium adjusted for albumin.

    Parameters
    ----------
    calcium_mmol_l : array_like
        Total, mmol/L, 0.5 to 6.
    albumin_g_l : array_like
        g/L, 5 to 80.

    Returns
    -------
    ndarray of float64
        mmol/L.

    Raises
    ------
    InputError
        If a value is out of range.

    References
    ----------
    Payne RB, Little AJ, Williams RB, Milner JR. Br Med J 1973;4:643-6.
    """
    calcium = within("calcium", calcium_mmol_l, (0.5, 6.0), "mmol/L")
    albumin = within("albumin", albumin_g_l, (5.0, 80.0), "g/L")
    return np.asarray(calcium + 0.02 * (40.0 - albumin))


def calculated_osmolality(
    sodium: ArrayLike, glucose: ArrayLike, urea: ArrayLike
) -> NDArray[np.float64]:
    """Return the osmolality that sodium salts, glucose and urea make up.

    Parameters
    ----------
    sodium, glucose, urea : array_like
        mmol/L, 90 to 200, 0.3 to 110, 0.2 to 120.

    Returns
    -------
    ndarray of float64
        mOsm/kg.

    Raises
    ------
    InputError
        If a value is out of range.
    """
    salts = within("sodium", sodium, (90.0, 200.0), "mmol/L")
    sugar = within("glucose", glucose, (0.3, 110.0), "mmol/L")
    return np.asarray(2.0 * salts + sugar + within("urea", urea, (0.2, 120.0), "mmol/L"))
