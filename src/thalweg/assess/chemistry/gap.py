"""The gaps: ions that were not measured, in blood and in urine."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.bounds import within
from thalweg.record.method import Method

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "ALBUMIN_CORRECTED_GAP",
    "ANION_GAP",
    "ANION_GAP_WITH_POTASSIUM",
    "DELTA_RATIO",
    "URINE_ANION_GAP",
    "albumin_corrected_gap",
    "anion_gap",
    "delta_ratio",
    "urine_anion_gap",
]

SODIUM = (90.0, 200.0)
POTASSIUM = (1.0, 12.0)
CHLORIDE = (50.0, 160.0)
BICARBONATE = (1.0, 75.0)
ALBUMIN_G_L = (5.0, 80.0)
GAP = (-120.0, 160.0)
URINE = (0.0, 500.0)
MMOL_L = "mmol/L"

_ELECTRODES = (
    "The reference range belongs to the laboratory's method: 8 to 16 mmol/L with the older flame "
    "photometry, 3 to 11 with ion-selective electrodes. Put your laboratory's own in place of ours."
)
ANION_GAP = Method(
    key="anion-gap",
    title="anion gap, without potassium",
    formula="sodium − (chloride + bicarbonate), mmol/L",
    valid_for="ions of one sample, measured by one laboratory",
    sources=("emmett-narins-1977", "lolekha-2001-gap", "morimatsu-2003-gap"),
    cautions=(_ELECTRODES,),
)
ANION_GAP_WITH_POTASSIUM = Method(
    key="anion-gap-with-potassium",
    title="anion gap, with potassium",
    formula="sodium + potassium − (chloride + bicarbonate), mmol/L",
    valid_for="ions of one sample; some 4 mmol/L higher than the gap without potassium",
    sources=("emmett-narins-1977",),
    cautions=("Compare it only with a range that counts potassium; ours do not.",),
)
ALBUMIN_CORRECTED_GAP = Method(
    key="anion-gap-albumin-corrected",
    title="anion gap corrected for albumin",
    formula="anion gap without potassium + 0.25 × (40 − albumin in g/L), mmol/L",
    valid_for="adults; made from 9 well and 152 critically ill people",
    sources=("figge-1998",),
)
DELTA_RATIO = Method(
    key="delta-ratio",
    title="rise of the anion gap against fall of bicarbonate",
    formula="(corrected anion gap − usual gap) / (usual bicarbonate − bicarbonate)",
    valid_for="a raised gap and a lowered bicarbonate; undefined where bicarbonate is not lowered",
    sources=("brandis-acid-base", "delta-baseline-2023"),
    cautions=(
        (
            "The ratio leans on two usual values that nobody knows of this person: with each one's "
            "own earlier values it averaged 1.2 where average values gave 1.6 to 1.8."
        ),
    ),
)
URINE_ANION_GAP = Method(
    key="urine-anion-gap",
    title="anion gap of the urine",
    formula="urine sodium + urine potassium − urine chloride, mmol/L",
    valid_for=(
        "urine that has touched no bowel, in a normal-gap acidosis: negative where the kidneys "
        "answer with ammonium (loss from the gut), positive where they do not (renal tubules)"
    ),
    sources=("batlle-1988", "kraut-madias-2012"),
)


def anion_gap(
    sodium: ArrayLike,
    chloride: ArrayLike,
    bicarbonate: ArrayLike,
    potassium: ArrayLike | None = None,
) -> NDArray[np.float64]:
    """Return the anion gap of blood, with potassium only where it is given.

    Parameters
    ----------
    sodium, chloride, bicarbonate : array_like
        mmol/L, 90 to 200, 50 to 160, 1 to 75.
    potassium : array_like, optional
        mmol/L, 1 to 12.

    Returns
    -------
    ndarray of float64
        mmol/L, of the broadcast shape; may be negative; NaN where an array held NaN.

    Raises
    ------
    InputError
        If a value is out of range.

    References
    ----------
    Emmett M, Narins RG. Medicine 1977;56:38-54.
    """
    cations = within("sodium", sodium, SODIUM, MMOL_L)
    if potassium is not None:
        cations = cations + within("potassium", potassium, POTASSIUM, MMOL_L)
    anions = within("chloride", chloride, CHLORIDE, MMOL_L) + within(
        "bicarbonate", bicarbonate, BICARBONATE, MMOL_L
    )
    return np.asarray(cations - anions)


def albumin_corrected_gap(
    gap: ArrayLike, albumin_g_l: ArrayLike, usual_g_l: float = 40.0
) -> NDArray[np.float64]:
    """Return the anion gap as it would be at the usual albumin.

    Parameters
    ----------
    gap : array_like
        Without potassium, mmol/L.
    albumin_g_l : array_like
        g/L, 5 to 80.
    usual_g_l : float
        The albumin corrected to, g/L.

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
    Figge J, Jabor A, Kazda A, Fencl V. Crit Care Med 1998;26:1807-10.
    """
    measured = within("anion gap", gap, GAP, MMOL_L)
    albumin = within("albumin", albumin_g_l, ALBUMIN_G_L, "g/L")
    usual = within("usual albumin", usual_g_l, ALBUMIN_G_L, "g/L")
    return np.asarray(measured + 0.25 * (usual - albumin))


def delta_ratio(
    corrected_gap: ArrayLike,
    bicarbonate: ArrayLike,
    usual_gap: float = 12.0,
    usual_bicarbonate: float = 24.0,
) -> NDArray[np.float64]:
    """Return the rise of the gap over the fall of bicarbonate.

    Parameters
    ----------
    corrected_gap : array_like
        mmol/L.
    bicarbonate : array_like
        mmol/L, 1 to 75.
    usual_gap, usual_bicarbonate : float
        mmol/L.

    Returns
    -------
    ndarray of float64
        Dimensionless; NaN where bicarbonate has not fallen, for there is then nothing to divide by.

    Raises
    ------
    InputError
        If a value is out of range.

    References
    ----------
    Bands of the ratio: Brandis K. Acid-base physiology, section 3.3.
    """
    rise = within("anion gap", corrected_gap, GAP, MMOL_L) - usual_gap
    fall = usual_bicarbonate - within("bicarbonate", bicarbonate, BICARBONATE, MMOL_L)
    fallen = fall > 0
    ratio = np.divide(rise, np.where(fallen, fall, 1.0))
    return np.asarray(np.where(fallen, ratio, np.nan))


def urine_anion_gap(
    sodium: ArrayLike, potassium: ArrayLike, chloride: ArrayLike
) -> NDArray[np.float64]:
    """Return the anion gap of urine.

    Parameters
    ----------
    sodium, potassium, chloride : array_like
        In urine, mmol/L, 0 to 500.

    Returns
    -------
    ndarray of float64
        mmol/L, positive or negative.

    Raises
    ------
    InputError
        If a value is out of range.

    References
    ----------
    Batlle DC, Hizon M, Cohen E, et al. N Engl J Med 1988;318:594-9.
    """
    cations = within("urine sodium", sodium, URINE, MMOL_L) + within(
        "urine potassium", potassium, URINE, MMOL_L
    )
    return np.asarray(cations - within("urine chloride", chloride, URINE, MMOL_L))
