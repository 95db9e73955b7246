"""Blood gas: bicarbonate and base excess from pH and carbon dioxide."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.bounds import within
from thalweg.record.method import Method

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "BASE_EXCESS_BLOOD",
    "BASE_EXCESS_FLUID",
    "BICARBONATE_FROM_GAS",
    "base_excess_blood",
    "base_excess_fluid",
    "bicarbonate_from_gas",
]

PH = (6.6, 7.9)
PCO2_MMHG = (5.0, 220.0)
HAEMOGLOBIN_G_DL = (1.5, 28.0)
SOLUBILITY = 0.0307
PK = 6.105

BICARBONATE_FROM_GAS = Method(
    key="bicarbonate-from-gas",
    title="bicarbonate from pH and carbon dioxide",
    formula="0.0307 × pCO2 in mmHg × 10^(pH − 6.105), mmol/L",
    valid_for="blood at 37 °C, arterial or venous",
    sources=("nccls-gas-formulas", "kim-total-co2-2015"),
)
BASE_EXCESS_FLUID = Method(
    key="base-excess-extracellular",
    title="base excess of the extracellular fluid",
    formula="bicarbonate − 24.8 + 16.2 × (pH − 7.40), mmol/L",
    valid_for="blood at 37 °C; does not need haemoglobin",
    sources=("nccls-gas-formulas",),
)
BASE_EXCESS_BLOOD = Method(
    key="base-excess-blood",
    title="base excess of blood (Van Slyke equation in Zander's form)",
    formula=(
        "(1 − 0.0143 Hb) × [0.0304 × pCO2 × 10^(pH − 6.1) − 24.26 + (9.5 + 1.63 Hb)(pH − 7.4)] − "
        "0.2 × Hb × (1 − saturation); Hb in g/dL, pCO2 in mmHg; mmol/L"
    ),
    valid_for="blood at 37 °C, arterial or venous; within 1 mmol/L of the reference set",
    sources=("lang-zander-2002",),
)


def bicarbonate_from_gas(ph: ArrayLike, pco2_mmhg: ArrayLike) -> NDArray[np.float64]:
    """Return bicarbonate by the equation of Henderson and Hasselbalch.

    Parameters
    ----------
    ph : array_like
        6.6 to 7.9.
    pco2_mmhg : array_like
        mmHg, 5 to 220.

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
    National Committee for Clinical Laboratory Standards, 1994: solubility 0.0307, pK 6.105.
    """
    acidity = within("pH", ph, PH, "pH")
    pressure = within("carbon dioxide", pco2_mmhg, PCO2_MMHG, "mmHg")
    return np.asarray(SOLUBILITY * pressure * 10.0 ** (acidity - PK))


def base_excess_fluid(ph: ArrayLike, bicarbonate: ArrayLike) -> NDArray[np.float64]:
    """Return the base excess of the extracellular fluid, also called standard base excess.

    Parameters
    ----------
    ph : array_like
        6.6 to 7.9.
    bicarbonate : array_like
        mmol/L, 1 to 75.

    Returns
    -------
    ndarray of float64
        mmol/L; negative is a deficit.

    Raises
    ------
    InputError
        If a value is out of range.
    """
    acidity = within("pH", ph, PH, "pH")
    base = within("bicarbonate", bicarbonate, (1.0, 75.0), "mmol/L")
    return np.asarray(base - 24.8 + 16.2 * (acidity - 7.40))


def base_excess_blood(
    ph: ArrayLike,
    pco2_mmhg: ArrayLike,
    haemoglobin_g_dl: ArrayLike,
    saturation: ArrayLike = 1.0,
) -> NDArray[np.float64]:
    """Return the base excess of blood by Zander's form of the Van Slyke equation.

    Parameters
    ----------
    ph : array_like
        6.6 to 7.9.
    pco2_mmhg : array_like
        mmHg, 5 to 220.
    haemoglobin_g_dl : array_like
        g/dL, 1.5 to 28.
    saturation : array_like
        Of oxygen, 0 to 1.

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
    Lang W, Zander R. Clin Chem Lab Med 2002;40:404-10, last equation of the abstract.
    """
    acidity = within("pH", ph, PH, "pH")
    pressure = within("carbon dioxide", pco2_mmhg, PCO2_MMHG, "mmHg")
    haemoglobin = within("haemoglobin", haemoglobin_g_dl, HAEMOGLOBIN_G_DL, "g/dL")
    oxygen = within("oxygen saturation", saturation, (0.0, 1.0), "of 1")
    distance = 0.0304 * pressure * 10.0 ** (acidity - 6.1) - 24.26
    slope = (9.5 + 1.63 * haemoglobin) * (acidity - 7.4)
    return np.asarray(
        (1 - 0.0143 * haemoglobin) * (distance + slope) - 0.2 * haemoglobin * (1 - oxygen)
    )
