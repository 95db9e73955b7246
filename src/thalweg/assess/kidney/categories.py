"""KDIGO categories of filtration rate (G) and albuminuria (A)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, cast

import numpy as np

from thalweg.assess.bounds import within
from thalweg.errors import InputError
from thalweg.record.method import Method

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "ALBUMINURIA_CATEGORY",
    "CATEGORY_YEARS",
    "GFR_CATEGORY",
    "albuminuria_categories",
    "albuminuria_category",
    "gfr_category",
    "reported",
]

# Lower ends, in mL/min/1.73 m², of G4, G3b, G3a, G2 and G1.
_G_FROM = (15.0, 30.0, 45.0, 60.0, 90.0)
_G_NAMES = np.array(["G5", "G4", "G3b", "G3a", "G2", "G1"])
# Below the first A1, up to and with the second A2. Each unit has round thresholds of its own:
# 3 mg/mmol is 26.5 mg/g, so a ratio must be judged in the unit it was reported in.
_A_NAMES = np.array(["A1", "A2", "A3"])
_A_THRESHOLDS = {"mg/g": (30.0, 300.0), "mg/mmol": (3.0, 30.0)}
CATEGORY_YEARS = 2.0

GFR_CATEGORY = Method(
    key="kdigo-gfr-category",
    title="KDIGO category of filtration rate",
    formula=(
        "of the rate rounded to a whole number, halves upwards: G1 ≥90, G2 60–89, G3a 45–59, "
        "G3b 30–44, G4 15–29, G5 <15 mL/min per 1.73 m²"
    ),
    valid_for="from 2 years of age; the kidneys steady",
    sources=("kdigo-ckd-2012", "kdigo-ckd-2024"),
    cautions=(
        (
            "One result is a category, not a diagnosis: chronic kidney disease needs more than 3 "
            "months, and in G1 and G2 another sign of damage."
        ),
    ),
)
ALBUMINURIA_CATEGORY = Method(
    key="kdigo-albuminuria-category",
    title="KDIGO category of albuminuria",
    formula=(
        "in the unit reported: A1 <30 mg/g (<3 mg/mmol), A2 30–300 mg/g (3–30 mg/mmol), "
        "A3 >300 mg/g (>30 mg/mmol)"
    ),
    valid_for="urine from the kidneys that has touched no bowel; no infection, no blood",
    sources=("kdigo-ckd-2012", "kdigo-ckd-2024", "proteinuria-diversion-utrecht"),
    cautions=(
        (
            "Urine albumin varies from day to day and rises with infection, blood, stents and "
            "fever: repeat before acting on it."
        ),
    ),
)


def reported(gfr_per_173: ArrayLike) -> NDArray[np.float64]:
    """Return a filtration rate as a laboratory reports it: a whole number, halves upwards.

    Parameters
    ----------
    gfr_per_173 : array_like
        mL/min per 1.73 m², 0 to 1000.

    Raises
    ------
    InputError
        If a value is out of range.
    """
    rate = within("filtration rate", gfr_per_173, (0.0, 1000.0), "mL/min/1.73 m²")
    return np.asarray(np.floor(rate + 0.5))


def gfr_category(gfr_per_173: ArrayLike, *, rounded: bool = True) -> NDArray[np.str_]:
    """Return the KDIGO G category, ``"G1"`` to ``"G5"``.

    The printed categories (60–89, 45–59) leave no room for 59.6: they are categories of the
    whole-number rate that KDIGO has laboratories report. So 59.6 is 60 and G2.

    Parameters
    ----------
    gfr_per_173 : array_like
        mL/min per 1.73 m², 0 to 1000; no NaN, for which there is no category.
    rounded : bool
        False judges the unrounded rate, to see whether rounding decided.

    Returns
    -------
    ndarray of str
        Of the shape of the input.

    Raises
    ------
    InputError
        If a value is out of range or missing.

    References
    ----------
    KDIGO 2012, recommendation 1.2.3; KDIGO 2024 keeps it.
    """
    whole = reported(gfr_per_173)
    if np.isnan(whole).any():
        raise InputError("a missing filtration rate has no category", mend="leave it out")
    rate = whole if rounded else np.asarray(gfr_per_173, dtype=np.float64)
    return np.asarray(_G_NAMES[np.searchsorted(_G_FROM, rate, side="right")])


def albuminuria_categories(ratio: ArrayLike, unit: str) -> NDArray[np.str_]:
    """Return the KDIGO A category of urine albumin to creatinine ratios, all in one unit.

    Parameters
    ----------
    ratio : array_like
        In `unit`, 0 to 100 000; no NaN, for which there is no category.
    unit : str
        ``"mg/g"`` or ``"mg/mmol"``: the unit the laboratory reported.

    Returns
    -------
    ndarray of str
        ``"A1"``, ``"A2"`` or ``"A3"``, of the shape of the input.

    Raises
    ------
    InputError
        If a ratio is negative, missing or not a number, or the unit another one.

    References
    ----------
    KDIGO 2012, recommendation 1.2.4; KDIGO 2024 keeps it.
    """
    if unit not in _A_THRESHOLDS:
        raise InputError(
            f"albumin to creatinine ratio in {unit!r} has no category",
            mend="give it in mg/g or mg/mmol",
        )
    value = within("albumin to creatinine ratio", ratio, (0.0, 100_000.0), unit)
    if np.isnan(value).any():
        raise InputError("a missing ratio has no category", mend="leave it out")
    low, high = _A_THRESHOLDS[unit]
    return np.asarray(_A_NAMES[(value >= low).astype(np.intp) + (value > high)])


def albuminuria_category(ratio: float, unit: str) -> Literal["A1", "A2", "A3"]:
    """Return the KDIGO A category of one ratio; as `albuminuria_categories`."""
    return cast("Literal['A1', 'A2', 'A3']", str(albuminuria_categories(ratio, unit)))
