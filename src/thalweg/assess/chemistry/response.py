"""What breathing and the kidneys answer to a disturbance that stands alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.bounds import within
from thalweg.record.method import Method

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "ALKALOSIS_SPREAD_MMHG",
    "RESPIRATORY_SPREAD",
    "RESPONSE_TO_ALKALOSIS",
    "RESPONSE_TO_BREATHING",
    "WINTERS",
    "WINTERS_SPREAD_MMHG",
    "bicarbonate_explained",
    "pco2_in_alkalosis",
    "winters_pco2",
]

BICARBONATE = (1.0, 75.0)
PCO2_MMHG = (5.0, 220.0)
WINTERS_SPREAD_MMHG = 2.0
ALKALOSIS_SPREAD_MMHG = 5.0
# Ours: the rules of thumb give a line; laboratory and rounding spread it by about this much.
RESPIRATORY_SPREAD = 2.0

_STEADY = (
    "Holds for a disturbance that has lasted 12 to 24 hours and stands alone; pCO2 from an artery."
)
WINTERS = Method(
    key="winters",
    title="carbon dioxide expected in metabolic acidosis",
    formula="1.5 × bicarbonate + 8 ± 2, mmHg",
    valid_for="metabolic acidosis with lungs that can answer; made from 60 untreated people",
    sources=("albert-winters-1967", "berend-acid-base-2014"),
    cautions=(_STEADY,),
)
RESPONSE_TO_ALKALOSIS = Method(
    key="response-to-metabolic-alkalosis",
    title="carbon dioxide expected in metabolic alkalosis",
    formula="40 + 0.7 × (bicarbonate − 24) ± 5, mmHg",
    valid_for="metabolic alkalosis; the answer varies, and seldom goes above 55 mmHg",
    sources=("berend-acid-base-2014", "metabolic-alkalosis-secondary"),
    cautions=(_STEADY,),
)
RESPONSE_TO_BREATHING = Method(
    key="response-to-breathing",
    title="bicarbonate that the carbon dioxide alone explains",
    formula=(
        "24 + 0.1 (within hours) to 0.35 (after days) × (pCO2 − 40) where pCO2 is high; 24 − 0.2 "
        "to 0.5 × (40 − pCO2) where low; ± 2, mmol/L"
    ),
    valid_for="a respiratory disturbance that stands alone",
    sources=("narins-emmett-table-2005", "berend-acid-base-2014"),
    cautions=(_STEADY,),
)


def winters_pco2(bicarbonate: ArrayLike) -> NDArray[np.float64]:
    """Return the arterial carbon dioxide expected in a simple metabolic acidosis.

    Parameters
    ----------
    bicarbonate : array_like
        mmol/L, 1 to 75.

    Returns
    -------
    ndarray of float64
        mmHg, the middle of a band of ± 2.

    Raises
    ------
    InputError
        If a value is out of range.

    References
    ----------
    Albert MS, Dell RB, Winters RW. Ann Intern Med 1967;66:312-22.
    """
    return np.asarray(1.5 * within("bicarbonate", bicarbonate, BICARBONATE, "mmol/L") + 8.0)


def pco2_in_alkalosis(bicarbonate: ArrayLike) -> NDArray[np.float64]:
    """Return the arterial carbon dioxide expected in a simple metabolic alkalosis.

    Parameters
    ----------
    bicarbonate : array_like
        mmol/L, 1 to 75.

    Returns
    -------
    ndarray of float64
        mmHg, the middle of a band of ± 5.

    Raises
    ------
    InputError
        If a value is out of range.

    References
    ----------
    Berend K, de Vries APJ, Gans ROB. N Engl J Med 2014;371:1434-45.
    """
    base = within("bicarbonate", bicarbonate, BICARBONATE, "mmol/L")
    return np.asarray(40.0 + 0.7 * (base - 24.0))


def bicarbonate_explained(
    pco2_mmhg: ArrayLike,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the bicarbonate that carbon dioxide alone explains, from hours to days.

    Parameters
    ----------
    pco2_mmhg : array_like
        Arterial, mmHg, 5 to 220.

    Returns
    -------
    tuple of ndarray
        Least and greatest, mmol/L; no less than 1.

    Raises
    ------
    InputError
        If a value is out of range.

    References
    ----------
    Slopes of Narins RG, Emmett M. Medicine 1980;59:161-87, as tabled in Hong Kong Practitioner
    2005;27:295.
    """
    away = within("carbon dioxide", pco2_mmhg, PCO2_MMHG, "mmHg") - 40.0
    soon = 24.0 + np.where(away > 0, 0.1, 0.2) * away
    late = 24.0 + np.where(away > 0, 0.35, 0.5) * away
    low = np.maximum(np.minimum(soon, late) - RESPIRATORY_SPREAD, 1.0)
    return np.asarray(low), np.asarray(np.maximum(soon, late) + RESPIRATORY_SPREAD)
