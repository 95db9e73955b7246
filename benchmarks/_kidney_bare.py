"""The formulas of kidneys and blood chemistry as a statistician would type them over columns.

Each is the published expression in numpy with the range check that any honest table needs, written
in the plainest way: no unit, no refusal in words, no care for what is missing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Column = NDArray[np.float64]
    Sex = NDArray[np.str_]


def kept(values: Column, low: float, high: float) -> Column:
    """Return the values, all of them within the bounds."""
    if not np.all((values >= low) & (values <= high)):
        raise ValueError(values)
    return values


def women(sex: Sex) -> NDArray[np.bool_]:
    """Return where the word is female; any third word is refused."""
    female = np.asarray(sex == "female")
    if not np.all(female | (sex == "male")):
        raise ValueError(sex)
    return female


def creatinine_2021(creatinine: Column, age: Column, sex: Sex) -> Column:
    """Return CKD-EPI 2021 by creatinine."""
    female = women(sex)
    ratio = kept(creatinine, 0.05, 34) / np.where(female, 0.7, 0.9)
    low = np.minimum(ratio, 1.0) ** np.where(female, -0.241, -0.302)
    scale = 142.0 * 0.9938 ** kept(age, 18, 120) * np.where(female, 1.012, 1.0)
    return np.asarray(low * np.maximum(ratio, 1.0) ** -1.2 * scale)


def cystatin_2012(cystatin: Column, age: Column, sex: Sex) -> Column:
    """Return CKD-EPI 2012 by cystatin C."""
    ratio = kept(cystatin, 0.1, 15) / 0.8
    factor = np.minimum(ratio, 1.0) ** -0.499 * np.maximum(ratio, 1.0) ** -1.328
    older = 0.996 ** kept(age, 18, 120)
    return np.asarray(133.0 * factor * older * np.where(women(sex), 0.932, 1.0))


def both_2021(creatinine: Column, cystatin: Column, age: Column, sex: Sex) -> Column:
    """Return CKD-EPI 2021 by both markers."""
    female = women(sex)
    first = kept(creatinine, 0.05, 34) / np.where(female, 0.7, 0.9)
    second = kept(cystatin, 0.1, 15) / 0.8
    by_first = np.minimum(first, 1.0) ** np.where(female, -0.219, -0.144)
    by_first *= np.maximum(first, 1.0) ** -0.544
    by_second = np.minimum(second, 1.0) ** -0.323 * np.maximum(second, 1.0) ** -0.778
    scale = 135.0 * 0.9961 ** kept(age, 18, 120) * np.where(female, 0.963, 1.0)
    return np.asarray(by_first * by_second * scale)


def schwartz(creatinine: Column, height: Column, age: Column) -> Column:
    """Return the bedside Schwartz estimate."""
    kept(age, 1, 17)
    return 0.413 * kept(height, 20, 260) / kept(creatinine, 0.05, 34)


def u25_creatinine(creatinine: Column, height: Column, age: Column, sex: Sex) -> Column:
    """Return CKiD U25 by creatinine."""
    female = women(sex)
    away = kept(age, 1, 25) - 12.0
    rise = np.where(away < 0, 1.008, np.where(female, 1.023, 1.045))
    growing = np.where(female, 36.1, 39.0) * rise**away
    k = np.where(age >= 18, np.where(female, 41.4, 50.8), growing)
    return np.asarray(k * kept(height, 20, 260) / 100.0 / kept(creatinine, 0.05, 34))


def u25_cystatin(cystatin: Column, age: Column, sex: Sex) -> Column:
    """Return CKiD U25 by cystatin C."""
    female = women(sex)
    away = kept(age, 1, 25) - np.where(female, 12.0, 15.0)
    rise = np.where(female, np.where(away < 0, 1.004, 0.974), np.where(away < 0, 1.011, 0.960))
    growing = np.where(female, 79.9, 87.2) * rise**away
    return np.where(age >= 18, np.where(female, 68.3, 77.1), growing) / kept(cystatin, 0.1, 15)


def clearance(creatinine: Column, weight: Column, age: Column, sex: Sex) -> Column:
    """Return Cockcroft and Gault's clearance."""
    excreted = (140.0 - kept(age, 18, 120)) * kept(weight, 0.3, 450)
    return excreted / (72.0 * kept(creatinine, 0.05, 34)) * np.where(women(sex), 0.85, 1.0)


def surface(height: Column, weight: Column) -> Column:
    """Return body surface by Mosteller."""
    return np.asarray(np.sqrt(kept(height, 20, 260) * kept(weight, 0.3, 450) / 3600.0))


def absolute(rate: Column, area: Column) -> Column:
    """Return the rate of the body from that per 1.73 m²."""
    return kept(rate, 0, 1000) * kept(area, 0.05, 6) / 1.73


def category(rate: Column) -> NDArray[np.str_]:
    """Return the G category of the rate as reported."""
    whole = np.floor(kept(rate, 0, 1000) + 0.5)
    names = np.array(["G5", "G4", "G3b", "G3a", "G2", "G1"])
    return np.asarray(names[np.digitize(whole, [15, 30, 45, 60, 90])])


def albuminuria(ratio: Column) -> NDArray[np.str_]:
    """Return the A category of ratios in mg/g."""
    kept(ratio, 0, 100_000)
    return np.where(ratio < 30, "A1", np.where(ratio <= 300, "A2", "A3"))


def failure(age: Column, sex: Sex, rate: Column, ratio: Column) -> Column:
    """Return the risk of kidney failure in five years, North America."""
    score = (
        -0.2201 * (kept(age, 18, 120) / 10.0 - 7.036)
        + 0.2467 * (np.where(women(sex), 0.0, 1.0) - 0.5642)
        - 0.5567 * (kept(rate, 0, 60) / 5.0 - 7.222)
        + 0.4510 * (np.log(kept(ratio, 0.1, 50_000)) - 5.137)
    )
    return np.asarray(1.0 - 0.9240 ** np.exp(score))


def urea_ratio(urea_nitrogen: Column, creatinine: Column) -> Column:
    """Return urea nitrogen over creatinine."""
    return kept(urea_nitrogen, 0.5, 340) / kept(creatinine, 0.05, 34)


def gap(sodium: Column, chloride: Column, bicarbonate: Column) -> Column:
    """Return the anion gap."""
    return kept(sodium, 90, 200) - (kept(chloride, 50, 160) + kept(bicarbonate, 1, 75))


def corrected(plain: Column, albumin: Column) -> Column:
    """Return the gap corrected for albumin."""
    return kept(plain, -120, 160) + 0.25 * (40.0 - kept(albumin, 5, 80))


def delta(gap_corrected: Column, bicarbonate: Column) -> Column:
    """Return the delta ratio, NaN where bicarbonate has not fallen."""
    fall = 24.0 - kept(bicarbonate, 1, 75)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(fall > 0, (kept(gap_corrected, -120, 160) - 12.0) / fall, np.nan)


def from_gas(ph: Column, pco2: Column) -> Column:
    """Return bicarbonate from pH and carbon dioxide."""
    return np.asarray(0.0307 * kept(pco2, 5, 220) * 10.0 ** (kept(ph, 6.6, 7.9) - 6.105))


def excess_fluid(ph: Column, bicarbonate: Column) -> Column:
    """Return the base excess of extracellular fluid."""
    return kept(bicarbonate, 1, 75) - 24.8 + 16.2 * (kept(ph, 6.6, 7.9) - 7.4)


def excess_blood(ph: Column, pco2: Column, haemoglobin: Column) -> Column:
    """Return the base excess of fully saturated blood."""
    away = kept(ph, 6.6, 7.9) - 7.4
    base = 0.0304 * kept(pco2, 5, 220) * 10.0 ** (ph - 6.1) - 24.26
    slope = (9.5 + 1.63 * kept(haemoglobin, 1.5, 28)) * away
    return (1.0 - 0.0143 * haemoglobin) * (base + slope)


def winters(bicarbonate: Column) -> Column:
    """Return the carbon dioxide expected in metabolic acidosis."""
    return 1.5 * kept(bicarbonate, 1, 75) + 8.0


def deficit(bicarbonate: Column, weight: Column) -> Column:
    """Return the size of the bicarbonate deficit."""
    fall = np.maximum(24.0 - kept(bicarbonate, 1, 75), 0.0)
    return 0.5 * kept(weight, 0.3, 450) * fall


def calcium(total: Column, albumin: Column) -> Column:
    """Return calcium adjusted for albumin."""
    return kept(total, 0.5, 6) + 0.02 * (40.0 - kept(albumin, 5, 80))


def osmolality(sodium: Column, glucose: Column, urea: Column) -> Column:
    """Return calculated osmolality."""
    return 2.0 * kept(sodium, 90, 200) + kept(glucose, 0.3, 110) + kept(urea, 0.2, 120)
