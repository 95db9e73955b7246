"""Estimated glomerular filtration rate of adults: the CKD-EPI equations of 2012 and 2021."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.bounds import within
from thalweg.assess.kidney.checks import CREATININE_MG_DL, CYSTATIN_C_MG_L, is_female
from thalweg.record.method import Method

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "ADULT_YEARS",
    "CKD_EPI_2012_CYSTATIN",
    "CKD_EPI_2021_CREATININE",
    "CKD_EPI_2021_CREATININE_CYSTATIN",
    "STEADY",
    "ckd_epi_2012_cystatin",
    "ckd_epi_2021_creatinine",
    "ckd_epi_2021_creatinine_cystatin",
]

ADULT_YEARS = (18.0, 120.0)

STEADY = (
    "Holds only while the kidneys are steady: not while creatinine or cystatin C rises or falls, "
    "as in acute kidney injury, and not on dialysis."
)
_MUSCLE = "Creatinine comes from muscle: where muscle is lost the estimate reads too high."
_OTHER_CYSTATIN = (
    "Cystatin C also rises with inflammation, obesity, thyroid disease and corticosteroids: the "
    "estimate then reads too low."
)

CKD_EPI_2021_CREATININE = Method(
    key="ckd-epi-2021-creatinine",
    title="CKD-EPI 2021 creatinine equation",
    formula=(
        "142 × min(Scr/κ, 1)^α × max(Scr/κ, 1)^−1.200 × 0.9938^age × 1.012 if female; "
        "κ 0.7 female, 0.9 male; α −0.241 female, −0.302 male; Scr in mg/dL, age in years; "
        "mL/min per 1.73 m²"
    ),
    valid_for="adults from 18 years; creatinine by a method traceable to isotope dilution",
    sources=("inker-2021", "nkf-2021", "niddk-gfr-adults"),
    cautions=(
        (
            "In validation at least 85 % of estimates lay within 30 % of the measured rate, so up "
            "to about one in seven is further off; no 95 % interval is published. On average 3.9 "
            "mL/min/1.73 m² too high for people who are not Black and 3.6 too low for Black people."
        ),
        STEADY,
        _MUSCLE,
    ),
)
CKD_EPI_2012_CYSTATIN = Method(
    key="ckd-epi-2012-cystatin",
    title="CKD-EPI 2012 cystatin C equation",
    formula=(
        "133 × min(Scys/0.8, 1)^−0.499 × max(Scys/0.8, 1)^−1.328 × 0.996^age × 0.932 if female; "
        "Scys in mg/L, age in years; mL/min per 1.73 m²"
    ),
    valid_for="adults from 18 years; cystatin C calibrated to ERM-DA471/IFCC",
    sources=("inker-2012", "nephro-r"),
    cautions=(
        (
            "In validation about one estimate in seven lay more than 30 % from the measured rate "
            "(figure from memory); no 95 % interval is published."
        ),
        STEADY,
        _OTHER_CYSTATIN,
    ),
)
CKD_EPI_2021_CREATININE_CYSTATIN = Method(
    key="ckd-epi-2021-creatinine-cystatin",
    title="CKD-EPI 2021 creatinine and cystatin C equation",
    formula=(
        "135 × min(Scr/κ, 1)^α × max(Scr/κ, 1)^−0.544 × min(Scys/0.8, 1)^−0.323 × "
        "max(Scys/0.8, 1)^−0.778 × 0.9961^age × 0.963 if female; κ 0.7 female, 0.9 male; "
        "α −0.219 female, −0.144 male; Scr in mg/dL, Scys in mg/L, age in years; "
        "mL/min per 1.73 m²"
    ),
    valid_for=(
        "adults from 18 years; creatinine traceable to isotope dilution, cystatin C calibrated "
        "to ERM-DA471/IFCC, both from the same time"
    ),
    sources=("inker-2021", "nephro-r", "niddk-gfr-adults"),
    cautions=(
        (
            "In validation more accurate than creatinine alone; still, up to about one estimate in "
            "seven may lie more than 30 % from the measured rate; no 95 % interval is published."
        ),
        STEADY,
        _MUSCLE,
        _OTHER_CYSTATIN,
    ),
)


def _spline(
    ratio: NDArray[np.float64], below: NDArray[np.float64] | float, above: float
) -> NDArray[np.float64]:
    """Return the two-slope factor of the equations: one power below a ratio of 1, one above.

    The published form, min(ratio, 1)^below × max(ratio, 1)^above, has a factor of exactly 1 on
    either side, so that one power gives the very same number.
    """
    return np.asarray(ratio ** np.where(ratio < 1.0, below, above))


def ckd_epi_2021_creatinine(
    creatinine_mg_dl: ArrayLike, age_years: ArrayLike, sex: ArrayLike
) -> NDArray[np.float64]:
    """Return the CKD-EPI 2021 estimate from creatinine, without race.

    Parameters
    ----------
    creatinine_mg_dl : array_like
        Serum or plasma creatinine, mg/dL, 0.05 to 34.
    age_years : array_like
        18 to 120.
    sex : array_like of str
        ``"female"`` or ``"male"``. All arguments broadcast against each other.

    Returns
    -------
    ndarray of float64
        mL/min per 1.73 m², of the broadcast shape (zero-dimensional for scalars); NaN where an
        array held NaN.

    Raises
    ------
    InputError
        If a value is out of range.

    References
    ----------
    Inker LA et al. N Engl J Med 2021;385:1737-49; coefficients as on the National Kidney
    Foundation's page of the equation.
    """
    female = is_female(sex)
    creatinine = within("creatinine", creatinine_mg_dl, CREATININE_MG_DL, "mg/dL")
    age = within("age", age_years, ADULT_YEARS, "years")
    ratio = creatinine / np.where(female, 0.7, 0.9)
    spline = _spline(ratio, np.where(female, -0.241, -0.302), -1.200)
    return np.asarray(142.0 * spline * 0.9938**age * np.where(female, 1.012, 1.0))


def ckd_epi_2012_cystatin(
    cystatin_c_mg_l: ArrayLike, age_years: ArrayLike, sex: ArrayLike
) -> NDArray[np.float64]:
    """Return the CKD-EPI 2012 estimate from cystatin C.

    Parameters
    ----------
    cystatin_c_mg_l : array_like
        Serum or plasma cystatin C, mg/L, 0.1 to 15.
    age_years, sex
        As in `ckd_epi_2021_creatinine`.

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
    Inker LA et al. N Engl J Med 2012;367:20-9.
    """
    female = is_female(sex)
    cystatin = within("cystatin C", cystatin_c_mg_l, CYSTATIN_C_MG_L, "mg/L")
    age = within("age", age_years, ADULT_YEARS, "years")
    spline = _spline(cystatin / 0.8, -0.499, -1.328)
    return np.asarray(133.0 * spline * 0.996**age * np.where(female, 0.932, 1.0))


def ckd_epi_2021_creatinine_cystatin(
    creatinine_mg_dl: ArrayLike,
    cystatin_c_mg_l: ArrayLike,
    age_years: ArrayLike,
    sex: ArrayLike,
) -> NDArray[np.float64]:
    """Return the CKD-EPI 2021 estimate from creatinine and cystatin C together, without race.

    Parameters
    ----------
    creatinine_mg_dl, age_years, sex
        As in `ckd_epi_2021_creatinine`.
    cystatin_c_mg_l
        As in `ckd_epi_2012_cystatin`.

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
    Inker LA et al. N Engl J Med 2021;385:1737-49.
    """
    female = is_female(sex)
    creatinine = within("creatinine", creatinine_mg_dl, CREATININE_MG_DL, "mg/dL")
    cystatin = within("cystatin C", cystatin_c_mg_l, CYSTATIN_C_MG_L, "mg/L")
    age = within("age", age_years, ADULT_YEARS, "years")
    by_creatinine = _spline(
        creatinine / np.where(female, 0.7, 0.9), np.where(female, -0.219, -0.144), -0.544
    )
    by_cystatin = _spline(cystatin / 0.8, -0.323, -0.778)
    scale = 135.0 * np.where(female, 0.963, 1.0)
    return np.asarray(scale * by_creatinine * by_cystatin * 0.9961**age)
